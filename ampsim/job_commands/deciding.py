"""Deciding what is done: values that meet the owner's wishes, how it sounds, what it does besides."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import DescriptionError, nearest, shown
from ..safety import CAUTION
from .steps import PAPERS, PICTURES, Steps, audition_of, opened, place, said, to_option

if TYPE_CHECKING:
    from ..read_job import Job
    from ..record import Opened
    from ..wishes import WishList


def add(steps: Steps) -> None:
    """Add the steps of deciding."""
    steps.group("deciding with the owner")
    find = steps.step("find", "part values that meet the wishes of a wish file of the job", _find)
    find.add_argument("file", nargs="?", default="", help="which wish file, where several are tied to wishes")
    to_option(find, "folder for the pictures", "pictures")
    audition = steps.step("audition", "stock against modded: tables, and pictures of every view", _audition)
    to_option(audition, "folder for the pictures", "pictures")
    sheet = steps.step("consequences", "what the mods do besides tone, as one HTML file", _consequences)
    sheet.add_argument("--topic", action="append", help="one topic only, such as ratings; repeatable")
    to_option(sheet, "the file", "papers/consequences.html")


def tell_values(wanted: WishList, folder: Path | None = None) -> None:
    """Print what `finder.find` finds, and leave its pictures in a folder (default: "found-" and the wishes' name)."""
    from .. import pictures
    from ..finder import find, find_text
    from ..read_job import file_word

    found = find(wanted)
    print(find_text(found))
    folder = folder or Path("found-" + file_word(wanted.name))
    drawn = {"corridor": pictures.corridor(found)}
    if len(wanted.wishes) > 1:
        drawn["trade"] = pictures.trade(found)
    for name, picture in drawn.items():
        pictures.save(picture, folder / name)
    print(f"Pictures (PNG and SVG) are in the folder {folder}: {', '.join(drawn)}\n\n{CAUTION}")


def tell_consequences(job: Job, topics: Sequence[str] | None, path: Path | None = None) -> None:
    """Print the sheet of consequences and write it as one HTML file."""
    from ..sheet import consequences, examine, write_sheet

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
    from ..job import audition

    job = audition_of(options.folder)[1]
    print(audition(job, place(options, PICTURES), said).text)


def _consequences(options: argparse.Namespace) -> None:
    job = audition_of(options.folder)[1]
    tell_consequences(job, options.topic, place(options, f"{PAPERS}/consequences.html"))
