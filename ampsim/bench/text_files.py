"""Foreign text files of columns: their lines, in whatever code they were written, and the cells of a line; bounded."""

from __future__ import annotations

import csv

from ..base.errors import DescriptionError, shown

MOST_BYTES, MOST_LINES = 10_000_000, 200_000
_LONGEST_LINE = 2000
_COMMENTS = ("#", "%", "!", "*", "/")


def text_lines(data: bytes, name: str) -> list[str]:
    """The lines of a foreign text in whatever code it was written; bounded.

    Raises
    ------
    DescriptionError
        Names file, line and what is too much.
    """
    if len(data) > MOST_BYTES:
        raise DescriptionError(f"{name}: more than {MOST_BYTES:,} bytes")
    lines = decode_text(data, name).splitlines()
    if len(lines) > MOST_LINES:
        raise DescriptionError(f"{name}: {len(lines):,} lines; at most {MOST_LINES:,} are read")
    for number, line in enumerate(lines, 1):
        if len(line) > _LONGEST_LINE:
            raise DescriptionError(f"{name}: line {number} has {len(line):,} characters; at most {_LONGEST_LINE:,}")
        # A row with such digits would pass for a heading.
        other = next((sign for sign in line if sign.isdecimal() and not sign.isascii()), "")
        if other and not line.lstrip().startswith(_COMMENTS):
            raise DescriptionError(f"{name}: line {number}: {shown(other)} is not a number that is read; write 0 to 9")
    return lines


def decode_text(data: bytes, name: str) -> str:
    """A foreign text: UTF-8, UTF-16 with its mark, else Windows-1252, as programs that write such files do.

    That is common practice.

    Raises
    ------
    DescriptionError
        For what is no text, with the line.
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = data.decode("utf-16", "replace")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.decode("cp1252", "replace")
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise DescriptionError(f"{name}: not a text: line {line} holds a zero byte")
    return text


def split_cells(line: str, separator: str, least: int = 0) -> list[str]:
    """The cells of a line without blanks around them; empty ones at its end are none, but for the first `least`."""
    cells = [cell.strip() for cell in next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])]
    while len(cells) > least and not cells[-1]:
        cells.pop()
    return cells
