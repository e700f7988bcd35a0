"""Sheets drawn to size: shapes at places in mm from the upper left corner of the paper, and their PDF."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

from ...base.errors import DescriptionError, nearest, shown
from ...base.files import write_whole
from ...base.wording import plain
from .pdf import typeset

SIZES = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height of each paper, upright [mm]."""


@dataclass(frozen=True)
class Line:
    """A line from one place to another [mm]; `pen` is its width [mm]."""

    x1: float
    y1: float
    x2: float
    y2: float
    colour: str = "ink"
    pen: float = 0.15
    dash: str = "solid"
    kind: str = "line"


@dataclass(frozen=True)
class Circle:
    """A circle round a place [mm], its `diameter` [mm] to the middle of the pen."""

    x: float
    y: float
    diameter: float
    colour: str = "ink"
    pen: float = 0.15
    dash: str = "solid"
    kind: str = "circle"


@dataclass(frozen=True)
class Box:
    """A rectangle, its upper left corner at a place [mm]."""

    x: float
    y: float
    wide: float
    high: float
    colour: str = "ink"
    pen: float = 0.15
    dash: str = "solid"
    kind: str = "box"


@dataclass(frozen=True)
class Text:
    """A text within a rectangle [mm].

    On one line: where it is too long its letters get smaller, from `size` to `least` [pt], then its end is left out.
    With `wraps`, for words of our own, on as many lines as there is room for.
    """

    x: float
    y: float
    wide: float
    high: float
    text: str
    size: float = 8.0
    least: float = 5.0
    side: str = "left"
    weight: str = "regular"
    colour: str = "ink"
    wraps: bool = False
    kind: str = "text"


Shape = Line | Circle | Box | Text


@dataclass
class Sheet:
    """One sheet of paper, `wide` and `high` [mm], and what is drawn on it."""

    wide: float
    high: float
    shapes: list[Shape] = field(default_factory=list)

    def add(self, *shapes: Shape) -> None:
        """Draw more on it."""
        self.shapes.extend(shapes)


def paper_size(paper: str, sideways: bool = False) -> tuple[float, float]:
    """Width and height of a paper [mm], upright or `sideways`.

    Raises
    ------
    DescriptionError
        For another paper.
    """
    if paper not in SIZES:
        raise DescriptionError(f"{shown(paper)} is no paper known here{nearest(paper, SIZES)}")
    wide, high = SIZES[paper]
    return (high, wide) if sideways else (wide, high)


def sheets_pdf(title: str, sheets: Sequence[Sheet]) -> bytes:
    """The PDF of sheets; every text in it is a text, without what does not print.

    Raises
    ------
    DescriptionError
        When it cannot be made.
    """
    drawn = [{"wide": each.wide, "high": each.high, "shapes": [_given(one) for one in each.shapes]} for each in sheets]
    return typeset("sheets.typ", {"title": plain(title), "sheets": drawn})


def write_sheets(title: str, sheets: Sequence[Sheet], path: str | Path) -> Path:
    """Write sheets as a PDF.

    Raises
    ------
    DescriptionError
        When it cannot be made or written; an older file then stays as it was.
    """
    return write_whole(Path(path), sheets_pdf(title, sheets))


def _given(shape: Shape) -> dict[str, object]:
    given = asdict(shape)
    return given | {"text": plain(shape.text)} if isinstance(shape, Text) else given
