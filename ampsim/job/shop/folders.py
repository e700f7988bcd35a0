"""The folders of a shop: which hold a job, which do not; nothing is passed over without a word."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from ...base.errors import DescriptionError
from ...base.files import printable
from ...library.loader import FILE

_DEEPEST = 4  # folders within folders: a year, a month, an owner, a job
_MOST = 100_000
_EMPTY = "no job in it"


@dataclass(frozen=True)
class Folders:
    """What was found: jobs with the stamp of their file, and what is wrong with the others, both by place."""

    jobs: dict[str, str]
    others: dict[str, str]


def look_through(shop: Path) -> Folders:
    """Look for job folders in a folder and those within it, hidden ones and links to folders left out.

    Raises
    ------
    DescriptionError
        When there is no such folder, it cannot be read, or it is a job itself.
    """
    if not shop.is_dir():
        wrong = "a file, not a folder of jobs" if shop.exists() else "there is no such folder"
        raise DescriptionError(f"{printable(shop)}: {wrong}")
    if (shop / FILE).exists():
        raise DescriptionError(f"{printable(shop)}: this is one job; name the folder in which the jobs lie")
    try:
        os.scandir(shop).close()
    except OSError as problem:
        raise DescriptionError(f"{printable(shop)}: cannot be read: {problem.strerror}") from None
    jobs: dict[str, str] = {}
    others: dict[str, str] = {}
    for each in _within(str(shop)):
        others |= _look(each, each.name, 1, jobs)
    return Folders(jobs, others)


def _within(folder: str) -> list[os.DirEntry[str]]:
    with os.scandir(folder) as entries:
        return sorted((each for each in entries if _counts(each)), key=lambda each: each.name)


def _counts(entry: os.DirEntry[str]) -> bool:
    """Folders count; those that are hidden are other programs' own, and a link may lead round in a circle."""
    return entry.is_dir(follow_symlinks=False) and not entry.name.startswith(".")


def _look(entry: os.DirEntry[str], place: str, depth: int, jobs: dict[str, str]) -> dict[str, str]:
    """Look at a folder and within it for jobs; gives what is wrong with those that are none."""
    if len(jobs) >= _MOST:
        raise DescriptionError(f"more than {_MOST:,} jobs; name a folder that holds fewer")
    try:
        stamp = _stamp(entry.path)
        if stamp:
            jobs[place] = stamp
            return {}
        inner = _within(entry.path)
    except OSError as problem:
        return {place: f"cannot be read: {problem.strerror}"}
    if inner and depth == _DEEPEST:
        return {place: f"folders deeper than {_DEEPEST} are not looked into"}
    others: dict[str, str] = {}
    before = len(jobs)
    for each in inner:
        others |= _look(each, f"{place}/{each.name}", depth + 1, jobs)
    if len(jobs) > before:
        return others
    # A folder without any job is one thing that is wrong, however many it holds.
    return {name: wrong for name, wrong in others.items() if wrong != _EMPTY} or {place: _EMPTY}


def _stamp(folder: str) -> str:
    """What changes whenever a job's file is saved: its time, size and number; "" where there is none."""
    try:
        state = os.stat(f"{folder}/{FILE}")
    except FileNotFoundError:
        return ""
    return f"{state.st_mtime_ns} {state.st_size} {state.st_ino}"
