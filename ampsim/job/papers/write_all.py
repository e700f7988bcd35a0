"""Every paper of a job at once, into its folder; what they share is worked out once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from os.path import relpath
from pathlib import Path
from urllib.parse import quote

from ...base.errors import DescriptionError
from ...base.files import write_whole
from ...base.notebook import say
from ...bench.proof.sheet import ProofSheet
from ...library.files import shelf
from ...studies.audition_request import Audition
from ..howto.content import howto_of
from ..howto.listing import publish_list
from ..howto.public import public_job
from ..howto.write import write_howto
from ..page.photos import PagePhotos
from ..page.wished import wishes_of
from ..quote.shop_sheet import FILE as SHOP
from ..quote.shop_sheet import shop_sheet
from ..record.data import Record
from ..record.frozen import open_job
from ..record.paths import path_inside
from ..record.reading import job_file
from .bench_plan import bench_plan
from .bill_paper import quote_html
from .drilling import drilling_sheet, write_drilling
from .drilling_request import BESIDE
from .exercise import exercise
from .handover import CHECKED, gather_handover
from .labels import SIZES, job_labels, write_labels
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
    howto: bool = False,
) -> Papers:
    """Write the shop's record, the owner's page, the parts list, the exercise and its answers, and what is worked by.

    That is plan and labels; the drilling sheet, where something goes through the panel; the last quote, where the job
    has one and the shop's sheet is on the shelf.

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
    howto : bool
        Write the how-to as well; what is published with it is printed first.

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
        *_work_sheets(record, folder, place, paper),
        *_quote(record, audition.stock.name, place, paper),
        *(_howto(record, folder, place, paper) if howto else ()),
    ]
    return Papers(written)


def _work_sheets(record: Record, folder: str | Path, place: Path, paper: str) -> Iterator[Path]:
    """The plan, and what is printed to size beside it."""
    opened = open_job(record, folder)
    plan = bench_plan(record, opened, folder, place / "plan.html", paper)
    yield from (plan, write_pdf(plan, paper=paper, appendix=True))
    drilling = drilling_sheet(record, opened, folder)
    if not drilling.empty:
        yield write_drilling(drilling, place / BESIDE, paper)
    mark = job_file(folder).parent.resolve().name
    size = next(name for name, each in SIZES.items() if each.paper == paper)
    yield write_labels(job_labels(record, opened, mark=mark), place / "labels.pdf", size)


def _quote(record: Record, amp: str, place: Path, paper: str) -> Iterator[Path]:
    """The last quote, as it was kept, under the shop's own head."""
    home = shelf()
    if record.quotes and home and home.joinpath(SHOP).is_file():
        page = write_whole(place / "quote.html", quote_html(record.quotes[-1], record, amp, shop_sheet(), paper))
        yield from (page, write_pdf(page, paper=paper))


def _howto(record: Record, folder: str | Path, place: Path, paper: str) -> Iterator[Path]:
    """The how-to, once it was listed what is in it."""
    public, page = public_job(record, folder), place / "howto.html"
    made = howto_of(public)
    say(publish_list(public, made, page))
    written = write_howto(made, folder, page, paper)
    yield from (written.page, write_pdf(written.page, paper=paper), written.text)


def _make_folder(folder: Path) -> Path:
    try:
        folder.mkdir(exist_ok=True)
    except OSError as problem:
        raise DescriptionError(f"{folder}: cannot be made: {problem.strerror}") from None
    return folder
