"""Deciding what is done: values that meet the owner's wishes, how it sounds, what it does besides."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ....base.errors import DescriptionError, nearest, shown
from ..common import all_option, report_step, topic_option
from ..consequences import print_consequences
from ..find import print_values
from .common import PAPERS, PICTURES, Steps, open_record, open_record_audition, output_path, to_option

if TYPE_CHECKING:
    from ....job.record.frozen import Opened
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
    topic_option(sheet)
    all_option(sheet)
    to_option(sheet, "the file", "papers/consequences.html")


def _find(options: argparse.Namespace) -> None:
    print_values(_wishes(open_record(options)[1], options.file), output_path(options, PICTURES))


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

    asked = open_record_audition(options.folder)[1]
    print(audition(asked, output_path(options, PICTURES), report_step).text)


def _consequences(options: argparse.Namespace) -> None:
    audition = open_record_audition(options.folder)[1]
    print_consequences(audition, options.topic, output_path(options, f"{PAPERS}/consequences.html"), options.all)
