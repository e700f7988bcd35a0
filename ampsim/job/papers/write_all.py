"""Every paper of a job at once, into its folder; what they share is worked out once."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from os.path import relpath
from pathlib import Path
from urllib.parse import quote

from ...base.errors import DescriptionError
from ...base.files import write_whole
from ...bench.proof.sheet import ProofSheet
from ...studies.audition_request import Audition
from ..page.photos import PagePhotos
from ..page.wished import wishes_of
from ..record.data import Record
from ..record.paths import path_inside
from ..record.reading import job_file
from .exercise import exercise
from .handover import CHECKED, gather_handover
from .owner_page import owner_page
from .pdf import write_pdf
from .shop_record import shop_record

FOLDER = "papers"


class Papers(list[Path]):
    """What was written; a notebook shows links that open it, as long as it lies below the notebook's folder."""

    def _repr_html_(self) -> str:
        links = [
            f'<a href="{escape(quote(Path(relpath(each)).as_posix()))}" target="_blank">{escape(each.name)}</a>'
            for each in self
        ]
        return "<br>\n".join(links)


def write_papers(
    audition: Audition,
    record: Record,
    folder: str | Path,
    *,
    tested: ProofSheet | None = None,
    topics: Sequence[str] = CHECKED,
    paper: str = "A4",
) -> Papers:
    """Write the shop's record, the owner's page, the parts list, the exercise and its answers.

    Parameters
    ----------
    audition : Audition
        Of `open_audition`.
    record, folder
        The job; the papers go into "papers" in its folder.
    tested : ProofSheet
        Where it was worked out already; default: `proof_of`.
    topics : sequence of str
        What the record says of the mods besides tone; see `sheet.consequences`.
    paper : str
        "A4" or "Letter".

    Returns
    -------
    Papers
        The paths of what was written, each page as HTML and as PDF.

    Raises
    ------
    DescriptionError, EngineError
        As what is worked out and written.
    """
    place = _make_folder(path_inside(job_file(folder).parent, FOLDER))
    found = gather_handover(audition, record, folder, topics=topics, tested=tested)
    asked = exercise(audition, found.proof, found.parts, found.cautions)
    pages = [
        shop_record(found, place / "record.html", paper),
        owner_page(
            audition,
            record,
            place / "page.html",
            photos=PagePhotos(record, folder),
            wishes=wishes_of(record, folder),
        ),
        write_whole(place / "exercise.html", asked.questions_html(paper)),
        write_whole(place / "exercise-answers.html", asked.answers_html(paper)),
    ]
    written = [
        *(each for page in pages for each in (page, write_pdf(page, paper=paper))),
        found.parts.write(place / "parts.csv"),
    ]
    return Papers(written)


def _make_folder(folder: Path) -> Path:
    try:
        folder.mkdir(exist_ok=True)
    except OSError as problem:
        raise DescriptionError(f"{folder}: cannot be made: {problem.strerror}") from None
    return folder
