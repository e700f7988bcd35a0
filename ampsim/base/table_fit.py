"""Tables that fit the paper with every word and number whole: the size of their letters, and columns apart."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import pandas as pd

from .tables import table_cells

WIDTH = 500.0  # points between the margins of the narrower paper, A4, and a little to spare


@dataclass(frozen=True)
class Look:
    """A class of the style sheet, its letters and its padding on both sides of a cell [pt]."""

    name: str
    letters: float
    padding: float


LOOKS = (Look("narrow", 8.5, 8.0), Look("middle", 7.5, 8.0), Look("wide", 6.8, 5.0))
"""From the largest; as ``sheet.css`` has them."""
_COMFORT = 10.0  # letters' heights to which a column of texts is not pressed where there is another way
_NARROW_SIGNS, _WIDE_SIGNS = frozenset(" .,:;'!|()[]/iljtfrI-"), frozenset("mwMW%@")
_LETTERS = 0x2FF  # signs beyond may be as wide as they are high
_BREAKS = re.compile(r"\s+|(?<=-)")


def fit_table(rows: pd.DataFrame) -> list[tuple[Look, pd.DataFrame]]:
    """The table in the largest letters in which it fits; where it does not, its columns in parts that do.

    Each part repeats the first column, by which a row is known.
    """
    columns, numeric = table_cells(rows)
    for look in LOOKS:
        if sum(_wanted(column, number, look) for column, number in zip(columns, numeric, strict=True)) <= WIDTH:
            return [(look, rows)]
    least = LOOKS[-1]
    if sum(_needed(column, least) for column in columns) <= WIDTH:
        return [(least, rows)]
    return [(look, rows.iloc[:, part]) for part in _parts(columns) for look in [_look(columns, part)]]


def _parts(columns: Sequence[Sequence[str]]) -> Iterator[list[int]]:
    """Places of columns that fit side by side in the middle size, the first in each part."""
    look = LOOKS[1]
    part, taken = [0], _needed(columns[0], look)
    for place in range(1, len(columns)):
        width = _needed(columns[place], look)
        if len(part) > 1 and taken + width > WIDTH:
            yield part
            part, taken = [0], _needed(columns[0], look)
        part, taken = [*part, place], taken + width
    yield part


def _look(columns: Sequence[Sequence[str]], part: Sequence[int]) -> Look:
    fitting = [look for look in LOOKS if sum(_needed(columns[place], look) for place in part) <= WIDTH]
    return fitting[0] if fitting else LOOKS[-1]


def _needed(column: Sequence[str], look: Look) -> float:
    """The least width of a column [pt]: that of its longest word."""
    return look.letters * max(_ems(word) for cell in column for word in _BREAKS.split(cell)) + look.padding


def _wanted(column: Sequence[str], numeric: bool, look: Look) -> float:
    """The width [pt] below which a column of texts would have a word or two to a line."""
    longest = max(_ems(cell) for cell in column[1:]) if len(column) > 1 else 0.0
    comfort = 0.0 if numeric else look.letters * min(longest, _COMFORT) + look.padding
    return max(_needed(column, look), comfort)


@lru_cache(maxsize=4096)
def _ems(text: str) -> float:
    """About how wide a text is, in letters' heights of a wide sans serif; half bold, as heads are."""
    return sum(map(_em, text))


def _em(sign: str) -> float:
    if sign in _NARROW_SIGNS:
        return 0.42
    return 1.0 if sign in _WIDE_SIGNS or ord(sign) > _LETTERS else 0.67
