"""Cells of a CSV that stay data in every spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from .wording import one_line

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def safe_cell(text: str) -> str:
    """A text on one line that no spreadsheet takes for a formula: one that would be gets an apostrophe before it."""
    line = one_line(text)
    return f"'{line}" if line.lstrip().startswith(_FORMULA) else line


def csv_text(rows: Iterable[Sequence[str]], separator: str = ",") -> str:
    """Rows of cells as CSV; cells are written as they are, so texts of others go through `safe_cell` before."""
    sheet = io.StringIO()
    csv.writer(sheet, delimiter=separator, lineterminator="\n").writerows(rows)
    return sheet.getvalue()
