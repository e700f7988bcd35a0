"""Tables of text that fit a width: heads and cells on several lines, names that many rows share above them."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

WIDTH = 100
_GAP = "  "
_LEAST_TEXT = 12  # columns that words are broken to at most


@dataclass(frozen=True)
class Column:
    """One column: its head, its cells, whether they are numbers."""

    head: str
    cells: tuple[str, ...]
    numeric: bool

    @property
    def body(self) -> int:
        """Columns of a terminal that its cells take on one line."""
        return max((text_width(cell) for cell in self.cells), default=0)

    @property
    def whole(self) -> int:
        """Columns of a terminal that head and cells take on one line."""
        return max(self.body, text_width(self.head))

    @property
    def above_unit(self) -> int:
        """Columns of a terminal that its head takes with the unit on a line of its own."""
        return max(text_width(each) for each in self.head.replace(" [", "\n[").split("\n"))

    @property
    def least(self) -> int:
        """The narrowest it may be."""
        words = max((text_width(word) for word in self.head.split()), default=0)
        return max(words, self.body if self.numeric else min(self.body, _LEAST_TEXT))


def lay_out(columns: Sequence[Column], width: int = WIDTH) -> str:
    """Columns as plain text: texts to the left, numbers to the right, a rule under the heads.

    A table that is too wide says texts that all rows share above it, breaks its heads and texts over several lines,
    puts what its first columns say above the rows that say it, and as a last resort goes on below itself.

    Parameters
    ----------
    columns : sequence of Column
        All with the same number of cells.
    width : int
        Signs that a line may have.
    """
    if not columns:
        return ""
    if _total([each.whole for each in columns]) <= width:
        return "\n".join(_table(columns, [each.whole for each in columns], ["" for _ in columns[0].cells]))
    if not columns[0].cells:
        return "\n".join(_broken(", ".join(each.head for each in columns), width))
    shared = [each for each in columns if _shared(each)]
    above = [line for each in shared for line in _broken(f"{each.head}: {each.cells[0]}", width)]
    kept = [each for each in columns if each not in shared] or list(columns)
    leading = _leading(kept, width)
    named = [[f"{each.head}: {cell}" for cell in each.cells] for each in kept[:leading]]
    titles = [", ".join(row) for row in zip(*named, strict=True)]
    titles = titles or ["" for _ in kept[0].cells]
    blocks = [_table(each, _widths(each, width), titles, width) for each in _chunks(kept[leading:], width)]
    return "\n".join([*above, *(line for number, block in enumerate(blocks) for line in ([""] * (number > 0)) + block)])


def text_width(text: str) -> int:
    """Columns of a terminal: wide signs take two, combining ones none."""
    return sum(
        0 if unicodedata.combining(sign) else 2 if unicodedata.east_asian_width(sign) in "WF" else 1 for sign in text
    )


def _shared(column: Column) -> bool:
    """Whether a text of more than a word is the same in all of several rows."""
    return not column.numeric and len(column.cells) > 1 and len(set(column.cells)) == 1 and column.body > _LEAST_TEXT


def _total(widths: Sequence[int]) -> int:
    return sum(widths) + len(_GAP) * (len(widths) - 1)


def _leading(columns: Sequence[Column], width: int) -> int:
    """How many columns of text stand above the rows, so that the others fit."""
    texts = next((number for number, each in enumerate(columns) if each.numeric), len(columns) - 1)
    for leading in range(min(texts, len(columns) - 1) + 1):
        if _total([each.least for each in columns[leading:]]) <= width:
            return leading
    return 0


def _chunks(columns: Sequence[Column], width: int) -> list[list[Column]]:
    """The columns in tables that fit, each with the texts that lead the first."""
    texts = next((number for number, each in enumerate(columns) if each.numeric), len(columns))
    chunks, now = [], list(columns[:texts])
    for column in columns[texts:]:
        if len(now) > texts and _total([each.least for each in (*now, column)]) > width:
            chunks.append(now)
            now = list(columns[:texts])
        now.append(column)
    return [*chunks, now]


def _widths(columns: Sequence[Column], width: int) -> list[int]:
    """Widths that fit: heads are broken before their units, then anywhere, and then the widest texts."""
    with_units_below = [max(each.body, each.above_unit) for each in columns]
    if _total(with_units_below) <= width:
        return with_units_below
    widths = [max(each.body, each.least) for each in columns]
    while _total(widths) > width:
        free = [number for number, each in enumerate(columns) if widths[number] > each.least]
        if not free:
            break
        widths[max(free, key=lambda number: widths[number])] -= 1
    # What is left over, heads take, so that few are broken.
    for number, column in enumerate(columns):
        spare = width - _total(widths)
        widths[number] += max(min(column.whole - widths[number], spare), 0)
    return widths


def _table(columns: Sequence[Column], widths: Sequence[int], titles: Sequence[str], width: int = WIDTH) -> list[str]:
    """Heads, rule and rows; a title stands above the rows that it is the same for."""
    lines = [*_row([each.head for each in columns], columns, widths, heads=True), _GAP.join("-" * n for n in widths)]
    before = ""
    for number, title in enumerate(titles):
        if title != before:
            lines += _broken(title, width)
            before = title
        lines += _row([each.cells[number] for each in columns], columns, widths)
    return lines


def _row(cells: Sequence[str], columns: Sequence[Column], widths: Sequence[int], heads: bool = False) -> list[str]:
    """One row, on as many lines as its longest cell needs; heads stand on the rule."""
    broken = [_broken(cell, size) for cell, size in zip(cells, widths, strict=True)]
    deep = max(map(len, broken))
    padded = [
        [_padded(line, size, column.numeric) for line in _filled(lines, deep, heads)]
        for lines, size, column in zip(broken, widths, columns, strict=True)
    ]
    return [_GAP.join(line).rstrip() for line in zip(*padded, strict=True)]


def _filled(lines: list[str], deep: int, heads: bool) -> list[str]:
    blank = [""] * (deep - len(lines))
    return [*blank, *lines] if heads else [*lines, *blank]


def _broken(text: str, width: int) -> list[str]:
    """A text in lines that fit; blanks stay as they are where it fits on one."""
    if text_width(text) <= width:
        return [text]
    narrow = max(width // 2, 1) if text_width(text) > len(text) else width
    return textwrap.wrap(text, narrow, break_on_hyphens=False) or [""]


def _padded(cell: str, width: int, numeric: bool) -> str:
    gap = " " * (width - text_width(cell))
    return gap + cell if numeric else cell + gap
