"""Writing the how-to: one page, and a folder of Markdown that at any moment is all of the old or all of the new."""

from __future__ import annotations

import contextlib
import re
from dataclasses import dataclass
from pathlib import Path

from ...base.errors import DescriptionError
from ...base.files import check_name, lock_folder, printable, read_bounded, refuse_unwritable, write_whole
from ..papers.html import data_url, drawing_words, paper_html
from ..record.reading import job_file
from .content import HowTo
from .markdown import markdown_of

INDEX = "index.md"
_MARK = "<!-- Made by ampsim: it and the pictures beside it are replaced together. -->\n\n"
_OURS = re.compile(r"picture-[0-9a-f]{16}\.svg(\.[0-9a-f]{8}\.part)?|index\.md\.[0-9a-f]{8}\.part")


@dataclass(frozen=True)
class Written:
    """Where the how-to is: the page and the Markdown."""

    page: Path
    text: Path


def howto_html(howto: HowTo, paper: str = "A4") -> str:
    """The page; the same how-to gives the same text."""
    return paper_html(
        "howto.html",
        paper,
        title=howto.title,
        above=howto.above,
        intro=howto.intro,
        parts=howto.parts,
        data_url=data_url,
        drawing_words=drawing_words,
    )


def write_howto(howto: HowTo, folder: str | Path, page: str | Path, paper: str = "A4") -> Written:
    """Write the how-to: the page, and the Markdown into a folder of the same name without the ending.

    Pictures come first and the text that shows them last; files of others in that folder stay.

    Parameters
    ----------
    howto : HowTo
    folder : str or Path
        The job folder; who else writes a how-to of this job waits.
    page : str or Path
        The HTML file.
    paper : str
        "A4" or "Letter".

    Raises
    ------
    DescriptionError
        For another paper; when the folder's text is somebody else's; when something cannot be written: what was there
        is then as it was.
    """
    target = Path(page)
    check_name(target)
    if not target.suffix:
        raise DescriptionError(f"{printable(target)}: name the page with its ending, such as howto.html")
    place, html = target.with_suffix(""), howto_html(howto, paper)
    with lock_folder(job_file(folder).parent):
        _refuse_foreign(place)
        refuse_unwritable(place)
        _write_folder(howto, place)
        return Written(write_whole(target, html), place / INDEX)


def _refuse_foreign(place: Path) -> None:
    if place.is_symlink() or (place.exists() and not place.is_dir()):
        raise DescriptionError(f"{printable(place)}: is no folder of its own; name another page with --to")
    index = place / INDEX
    if index.exists() and not read_bounded(index, 50_000_000).startswith(_MARK.encode()):
        raise DescriptionError(f"{printable(index)}: was not made by ampsim and stays; name another page with --to")


def _write_folder(howto: HowTo, place: Path) -> None:
    text, pictures = markdown_of(howto)
    before = set(_own_files(place))
    try:
        for name, data in pictures.items():
            if not _holds(place / name, data):
                write_whole(place / name, data)
        write_whole(place / INDEX, _MARK + text)
    except DescriptionError:
        _remove(place, set(_own_files(place)) - before)
        raise
    _remove(place, set(_own_files(place)) - set(pictures))


def _own_files(place: Path) -> list[str]:
    """Names of pictures of ours, and of what a program left that was killed while it wrote."""
    return [each.name for each in place.iterdir() if _OURS.fullmatch(each.name)] if place.is_dir() else []


def _holds(path: Path, data: bytes) -> bool:
    return path.is_file() and not path.is_symlink() and path.stat().st_size == len(data) and path.read_bytes() == data


def _remove(place: Path, names: set[str]) -> None:
    for name in names:
        with contextlib.suppress(OSError):
            (place / name).unlink()
