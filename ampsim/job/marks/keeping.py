"""Taking arrows into the job: what they may point at, the file that the page saves, and two people who place them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NoReturn

from ...base.entries import Entry
from ...base.errors import DescriptionError, nearest, shown
from ...base.files import printable, read_bounded
from ...base.wording import plain
from ...circuit.amp import Amp
from ...circuit.build import build_circuit
from ...work.steps.step import Step
from ..record.data import Mark, Record
from ..record.rows import read_marks
from ..record.saving import update_record

_MOST_BYTES = 200_000


@dataclass(frozen=True)
class Subjects:
    """What an arrow may point at: parts and places of an amp, and steps of its plan in their words."""

    names: tuple[str, ...]
    steps: tuple[str, ...] = ()

    def check(self, at: str, where: str = "") -> str:
        """What is kept of a designator, a place, "step 7", or the words of a step; `where` begins a message.

        Raises
        ------
        DescriptionError
            When the amp and its plan have no such thing; names the nearest.
        """
        kind, _, number = at.strip().partition(" ")
        if kind == "step" and number.isdecimal() and len(number) < 5 and 1 <= int(number) <= len(self.steps):
            return self.steps[int(number) - 1]
        if at.strip() in (*self.names, *self.steps):
            return at.strip()
        steps = f', nor "step 1" to "step {len(self.steps)}"' if self.steps else ""
        raise DescriptionError(f"{where}{shown(at)} is no part or place of this amp{steps}{nearest(at, self.names)}")


def mark_subjects(amp: Amp, steps: Sequence[Step] = ()) -> Subjects:
    """What an arrow on a photo of an amp may point at; parts that a mod brings come first."""
    brought = [part.designator for mod in amp.mods for part in mod.parts]
    switches = [switch.designator for switch in amp.all_switches]
    places = [place for place in build_circuit(amp).net_by_place if "@" not in place]
    names = dict.fromkeys([*brought, *switches, *amp.part_by_designator, *places])
    return Subjects(tuple(names), tuple(plain(step.do) for step in steps))


def find_photo(record: Record, asked: str) -> int:
    """Which photo of a job is meant: its number from 1, or a piece of its file's name or of what it shows.

    Raises
    ------
    DescriptionError
        When there is none, or several.
    """
    photos = record.photos
    if not photos:
        raise DescriptionError("the job has no photo yet; one is kept with: ampsim job photo FOLDER FILE --of PART")
    if asked.isdecimal() and 1 <= int(asked[:9]) <= len(photos):
        return int(asked)
    found = [n for n, each in enumerate(photos, 1) if asked in each.file or asked == each.of]
    if len(found) != 1:
        listed = "; ".join(f"{n}: {each.file}, {each.of}" for n, each in enumerate(photos, 1))
        many = f"may be {len(found)} photos" if found else "is no photo of this job"
        raise DescriptionError(f"{shown(asked)} {many}; they are: {listed[:2000]}")
    return found[0]


@dataclass(frozen=True)
class Placed:
    """Arrows as they were placed: which photo they are on, those it had before, those it is to have."""

    sha256: str
    before: tuple[Mark, ...]
    marks: tuple[Mark, ...]


def read_marks_file(file: str | Path, subjects: Subjects) -> Placed:
    """Read the file that the page for arrows saves.

    Raises
    ------
    DescriptionError
        For another file, and for arrows that are none: a place beyond the photo, a part that the amp has not.
    """
    name, data = printable(file), read_bounded(file, _MOST_BYTES)
    try:
        found = json.loads(data.decode("utf-8"), parse_constant=_refused)
    except (ValueError, RecursionError) as problem:
        raise DescriptionError(f"{name}: is not what the page for arrows saves: {plain(str(problem))[:100]}") from None
    return read_placed(found, subjects, name)


def _refused(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number")


def read_placed(found: object, subjects: Subjects, name: str) -> Placed:
    """Arrows from data that anybody may have written.

    Parameters
    ----------
    found : object
        A table of sha256, before and marks.
    subjects : Subjects
        What they may point at; those that were there before may point at what is gone.
    name : str
        What messages call it.

    Raises
    ------
    DescriptionError
        Naming the entry, the value and what would do.
    """
    top = Entry(found, name)
    digest = top.plain_text("sha256", 64, "")
    before = read_marks(Entry({"marks": top.raw("before")}, name))
    marks = read_marks(Entry({"marks": top.raw("marks")}, name))
    top.finish(" among arrows on a photo")
    checked = [
        each if each in before else replace(each, at=subjects.check(each.at, f"{name}: marks[{number}].at: "))
        for number, each in enumerate(marks, 1)
    ]
    return Placed(digest, before, tuple(dict.fromkeys(checked)))


def keep_marks(folder: str | Path, number: int, placed: Placed) -> Record:
    """Put arrows into the job as it is saved now; those that somebody else placed or took away meanwhile are kept so.

    Parameters
    ----------
    folder : str or Path
        The job folder.
    number : int
        Which photo, from 1; another where that one has moved (`placed_on`).
    placed : Placed

    Raises
    ------
    DescriptionError
        When they are for another photo, become too many, or nothing can be written.
    """

    def with_marks(record: Record) -> Record:
        place = placed_on(record, number, placed) - 1
        photo = record.photos[place]
        made = replace(photo, marks=merged_marks(placed, photo.marks))
        return replace(record, photos=(*record.photos[:place], made, *record.photos[place + 1 :]))

    return update_record(folder, with_marks)


def placed_on(record: Record, number: int, placed: Placed) -> int:
    """The number of the photo that arrows were placed on: this one, or it has moved since another was taken out.

    Raises
    ------
    DescriptionError
        When the job has no such photo.
    """
    found = [each for each, photo in enumerate(record.photos, 1) if photo.sha256 == placed.sha256]
    if found:
        return number if number in found else found[0]
    raise DescriptionError(
        f"these arrows were placed on another photo than the {len(record.photos)} of this job; nothing was "
        "changed. Where it was exchanged they are placed anew: ampsim job mark FOLDER PHOTO"
    )


def merged_marks(placed: Placed, present: Sequence[Mark]) -> tuple[Mark, ...]:
    """The arrows that were placed, with what others did to those of the job since."""
    ours = [each for each in placed.marks if each not in placed.before or each in present]
    theirs = [each for each in present if each not in placed.before and each not in ours]
    return (*ours, *theirs)
