"""Labels to print for the amp and for the bag of what came out of it, on label sheets or one to a page."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ...base.errors import DescriptionError, nearest, shown
from ...base.wording import plain
from ...work.new_parts import new_mods
from ...work.old_parts import OldPart, old_parts
from ..record.data import Record
from ..record.frozen import Opened
from .sheets import Box, Sheet, Text, paper_size, write_sheets


@dataclass(frozen=True)
class LabelSize:
    """Labels on a sheet: the paper, their width and height, how many stand beside and below one another.

    `apart` is from the left edge of one to that of the next [mm]; they stand in the middle of the paper. Sizes are
    those that label sheets are sold in: common practice, no source.
    """

    paper: str
    wide: float
    high: float
    columns: int
    rows: int
    apart: float

    def places(self) -> Iterator[tuple[float, float]]:
        """The upper left corner of each label [mm], row by row."""
        wide, high = paper_size(self.paper)
        left = (wide - (self.columns - 1) * self.apart - self.wide) / 2
        top = (high - self.rows * self.high) / 2
        for row in range(self.rows):
            for column in range(self.columns):
                yield left + column * self.apart, top + row * self.high


SIZES = {
    "105x74": LabelSize("A4", 105.0, 74.0, 2, 4, 105.0),
    "105x57": LabelSize("A4", 105.0, 57.0, 2, 5, 105.0),
    "99x68": LabelSize("A4", 99.1, 67.7, 2, 4, 101.6),
    "70x37": LabelSize("A4", 70.0, 37.0, 3, 8, 70.0),
    "64x38": LabelSize("A4", 63.5, 38.1, 3, 7, 66.0),
    "102x51": LabelSize("Letter", 101.6, 50.8, 2, 5, 106.36),
    "102x85": LabelSize("Letter", 101.6, 84.67, 2, 3, 106.36),
    "67x25": LabelSize("Letter", 66.68, 25.4, 3, 10, 69.85),
    "page": LabelSize("A4", 190.0, 130.0, 1, 1, 190.0),
    "page Letter": LabelSize("Letter", 190.0, 130.0, 1, 1, 190.0),
}
"""Sizes in mm, width by height; "page" is one to a sheet of plain paper, with an outline to cut along."""
_EDGE = 3.5  # mm of a label that stay free: printers and sheets are not that exact
_LOWEST, _TALLEST = 37.0, 60.0  # mm


@dataclass(frozen=True)
class Label:
    """One label: its heading, lines below it, and rows: a line, and what to beware of ("" for nothing)."""

    heading: str
    lines: tuple[str, ...]
    rows: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Labels:
    """The labels of a job, for the amp and for the bag, and what was left out because it holds the owner's name."""

    amp: Label
    bag: Label | None
    left_out: tuple[str, ...]


def job_labels(
    record: Record,
    found: Opened,
    *,
    mark: str = "",
    with_owner: bool = False,
    date: datetime.date | None = None,
) -> Labels:
    """Gather what the labels of a job say.

    Parameters
    ----------
    record : Record
    found : Opened
        What `open_job` gives.
    mark : str
        What the shop calls the job.
    with_owner : bool
        Print the owner's name; else no line that has it is printed.
    date : datetime.date
        Default today.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    out = old_parts(found.stock, found.modded)
    mods = ", ".join(each.name for each in new_mods(found.stock, found.modded))
    day = str(date or datetime.date.today())
    said = {
        "mark": mark,
        "amp": found.stock.name,
        "serial number": f"serial number {record.serial}" if record.serial else "",
        "mods": f"changed: {mods}" if mods else "",
    }
    hidden = [] if with_owner else [name for name, text in said.items() if names_owner(text, record.owner)]
    kept = {name: "" if name in hidden else text for name, text in said.items()}
    owner = f"for {record.owner}" if with_owner and record.owner else ""
    heading = kept["mark"] or kept["amp"] or "amp"
    shared = [kept["amp"] if kept["mark"] else "", kept["serial number"], owner, day]
    told = (kept["mods"], "Lethal volts inside, also unplugged.")
    amp = Label(heading, tuple(filter(None, shared)), (told,))
    bag = Label(heading, tuple(filter(None, shared)), tuple(map(_row, out))) if out else None
    return Labels(amp, bag, tuple(hidden))


def _row(part: OldPart) -> tuple[str, str]:
    return part.words, part.caution


def names_owner(text: str, owner: str) -> bool:
    """Whether a text has a word of the owner's name, one of three letters or more."""
    words = {each for each in re.split(r"[\W_]+", plain(owner).casefold()) if len(each) > 2}
    return bool(words & set(re.split(r"[\W_]+", plain(text).casefold())))


def label_sheets(labels: Labels, size: str, first: int = 1) -> list[Sheet]:
    """The sheets with the labels.

    Parameters
    ----------
    labels : Labels
    size : str
        One of `SIZES`.
    first : int
        The first label of the first sheet that is still there, from 1.

    Raises
    ------
    DescriptionError
        For another size, or a sheet that has not so many labels.
    """
    if size not in SIZES:
        raise DescriptionError(f"{shown(size)} is no size of labels known here{nearest(size, SIZES)}")
    kind = SIZES[size]
    places = list(kind.places())
    if not 1 <= first <= len(places):
        raise DescriptionError(f"--first: {first}; a sheet of {size} has labels 1 to {len(places)}")
    drawn = [*_pieces(labels.amp, kind, ""), *(_pieces(labels.bag, kind, "old parts") if labels.bag else ())]
    sheets: list[Sheet] = []
    for number, texts in enumerate(drawn, first - 1):
        at = number % len(places)
        if at == 0 or not sheets:
            sheets.append(Sheet(*paper_size(kind.paper)))
        x, y = places[at]
        if len(places) == 1:
            sheets[-1].add(Box(x, y, kind.wide, kind.high, "pale", 0.15, "dashed"))
        sheets[-1].add(*(_moved(each, x, y) for each in texts))
    return sheets


def write_labels(labels: Labels, path: str | Path, size: str, first: int = 1) -> Path:
    """Write the labels as a PDF to be printed at 100 %.

    Parameters
    ----------
    labels : Labels
    path : str or Path
    size, first
        As those of `label_sheets`.

    Raises
    ------
    DescriptionError
        As `label_sheets`; when it cannot be made or written.
    """
    return write_sheets("Labels", label_sheets(labels, size, first), path)


def _pieces(label: Label, kind: LabelSize, what: str) -> Iterator[list[Text]]:
    """The label on as many labels as its rows need, each with the heading."""
    scale = min(max(kind.high, _LOWEST), _TALLEST if kind.rows > 1 else 2 * _TALLEST) / 50.0
    line, wide = 3.9 * scale, kind.wide - 2 * _EDGE
    # On the smallest the heading's lines stand in one.
    lines = [", ".join(label.lines)] if kind.high < 30.0 else list(label.lines)
    head, room = 6.0 * scale, kind.high - 2 * _EDGE
    fits = max(int((room - head - line * len(lines)) / line), 2)
    groups = list(_grouped(label.rows, fits))
    for number, rows in enumerate(groups, 1):
        of = f" {number} of {len(groups)}" if len(groups) > 1 else ""
        texts = [
            Text(_EDGE, _EDGE, wide * (0.7 if what else 1.0), head, label.heading, 11.0 * scale, 5.0, weight="bold")
        ]
        if what:
            texts.append(Text(_EDGE + wide * 0.7, _EDGE, wide * 0.3, head, f"{what}{of}", 8.0 * scale, 4.5, "right"))
        y = _EDGE + head
        for words in lines:
            texts.append(Text(_EDGE, y, wide, line, words, 8.0 * scale, 4.5, colour="quiet"))
            y += line
        for words, caution in rows:
            if words:
                texts.append(Text(_EDGE, y, wide, line, words, 8.0 * scale, 4.5))
                y += line
            if caution:
                texts.append(Text(_EDGE, y, wide, line, caution, 8.0 * scale, 3.5, weight="bold", colour="rust"))
                y += line
        yield texts


def _grouped(rows: Sequence[tuple[str, str]], fits: int) -> Iterator[list[tuple[str, str]]]:
    """Rows for one label after the other; what to beware of stays with its part."""
    group: list[tuple[str, str]] = []
    taken = 0
    for row in rows:
        needs = sum(map(bool, row))
        if group and taken + needs > fits:
            yield group
            group, taken = [], 0
        group.append(row)
        taken += needs
    yield group


def _moved(text: Text, x: float, y: float) -> Text:
    return replace(text, x=text.x + x, y=text.y + y)
