"""Deciding what is done: values that meet the owner's wishes, how it sounds, what it does besides."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ....base.caution import CAUTION
from ....base.errors import DescriptionError, nearest, shown
from ....pictures.canvas import save_picture
from ....studies.search.picture import corridor_picture, trade_picture
from .common import PAPERS, PICTURES, Steps, audition_of, opened, place, said, to_option

if TYPE_CHECKING:
    from ....job.record.frozen import Opened
    from ....studies.audition import Audition
    from ....studies.search.wishes import WishList


def add(steps: Steps) -> None:
    """Add the steps of deciding."""
    steps.group("deciding with the owner")
    find_values = steps.step("find", "part values that meet the wishes of a wish file of the job", _find)
    find_values.add_argument("file", nargs="?", default="", help="which wish file, where several are tied to wishes")
    to_option(find_values, "folder for the pictures", "pictures")
    audition = steps.step("audition", "stock against modded: tables, and pictures of every view", _audition)
    to_option(audition, "folder for the pictures", "pictures")
    sheet = steps.step("consequences", "what the mods do besides tone, as one HTML file", _consequences)
    sheet.add_argument("--topic", action="append", help="one topic only, such as ratings; repeatable")
    to_option(sheet, "the file", "papers/consequences.html")


def tell_values(wanted: WishList, folder: Path | None = None) -> None:
    """Print what `finder.find` finds, and leave its pictures in a folder (default: "found-" and the wishes' name)."""
    from ....base.files import file_word
    from ....studies.search.search import find_values
    from ....studies.search.text import find_text

    found = find_values(wanted)
    print(find_text(found))
    folder = folder or Path("found-" + file_word(wanted.name))
    drawn = {"corridor": corridor_picture(found)}
    if len(wanted.wishes) > 1:
        drawn["trade"] = trade_picture(found)
    for name, picture in drawn.items():
        save_picture(picture, folder / name)
    print(f"Pictures (PNG and SVG) are in the folder {folder}: {', '.join(drawn)}\n\n{CAUTION}")


def tell_consequences(job: Audition, topics: Sequence[str] | None, path: Path | None = None) -> None:
    """Print the sheet of consequences and write it as one HTML file."""
    from ....studies.sheet.page import write_sheet
    from ....studies.sheet.sheet import consequences, examine

    found = consequences(examine(job.stock, job.modded), topics, said)
    written = write_sheet(found, path)
    print(f"{found.text}\n\nThe sheet with its pictures is {written}\n\n{CAUTION}")


def _find(options: argparse.Namespace) -> None:
    tell_values(_wishes(opened(options)[1], options.file), place(options, PICTURES))


def _wishes(found: Opened, file: str) -> WishList:
    """The wish file of the job that was named, or its only one."""
    known, name = found.wishes, Path(file).name.removesuffix(".toml")
    if not known:
        raise DescriptionError('job.toml: wishes: none is tied to a wish file; "take" one in, then "wish ... --file"')
    if not name and len(known) == 1:
        return next(iter(known.values()))
    if name not in known:
        what = shown(file) if file else "which wish file"
        raise DescriptionError(f"{what}: not a wish file that a wish of this job is tied to{nearest(name, known)}")
    return known[name]


def _audition(options: argparse.Namespace) -> None:
    from ....studies.audition import audition

    job = audition_of(options.folder)[1]
    print(audition(job, place(options, PICTURES), said).text)


def _consequences(options: argparse.Namespace) -> None:
    job = audition_of(options.folder)[1]
    tell_consequences(job, options.topic, place(options, f"{PAPERS}/consequences.html"))
