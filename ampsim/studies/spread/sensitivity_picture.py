"""Which parts matter: bars, the longest first."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from ...base.errors import DescriptionError
from ...base.wording import in_decibels, signed
from ...measures.labels import records
from ...pictures import style
from ...pictures.axes import tidy
from ...pictures.canvas import Picture, start_picture
from ...pictures.text_widths import text_width
from .sensitivity import PER_VALVE

_MOST = 15
_ROW = 0.21  # inches
_UP, _DOWN = style.MODDED_BAR, style.STOCK_BAR


def describe_sensitivity(table: pd.DataFrame, most: int = _MOST) -> str:
    """The bars of `sensitivity_picture` in words and numbers, one paragraph."""
    rows = [f"{_label(row)}: {in_decibels(row['change [dB]'], sign=True)}" for row in _rows(table, most)]
    return f"What the gain does when one thing grows, the most telling first. {'; '.join(rows)}."


@style.picture_settings()
def sensitivity_picture(table: pd.DataFrame, title: str, subtitle: str, most: int = _MOST) -> Picture:
    """Draw how much the gain changes for ten percent of each part and one standard deviation of each valve.

    Parameters
    ----------
    table : pandas.DataFrame
        Of `measures.sensitivity_table`.
    title, subtitle : str
        What amp, where and in which band.
    most : int
        Bars at most.

    Raises
    ------
    DescriptionError
        For an empty table.
    """
    rows = _rows(table, most)
    if not rows:
        raise DescriptionError("no part to draw")
    labels = [_label(row) for row in rows]
    left = max(text_width(label, style.TEXT_SIZE) for label in labels) + 0.3
    keys = [("gain rises", _UP), ("gain falls", _DOWN)]
    below = (0.1, _ROW * len(rows), 0.56)
    picture, top = start_picture(title, subtitle, describe_sensitivity(table, most), below, keys, left)
    top -= 0.1
    axes = picture.box(left, top - _ROW * len(rows), style.PAGE_WIDTH - 0.75, top)
    sizes = np.array([abs(row["change [dB]"]) for row in rows])
    tidy(axes, "", [sizes], 1.0)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xlim(0.0, max(1.02 * float(sizes.max()), 0.1))
    axes.set_yticks(range(len(rows)), labels)
    axes.grid(False, axis="y")
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel("size of the change of gain [dB]", fontsize=style.TEXT_SIZE, color=style.INK, labelpad=4)
    for place, (row, size) in enumerate(zip(rows, sizes, strict=True)):
        look = _UP if row["change [dB]"] > 0.0 else _DOWN
        axes.barh(place, size, 0.62, facecolor=look.face, edgecolor=look.edge, hatch=look.hatch or None, linewidth=0.8)
        written = signed(row["change [dB]"], 2)
        axes.annotate(written, (size, place), (4, 0), textcoords="offset points", va="center", fontsize=style.TEXT_SIZE)
    return picture


def _rows(table: pd.DataFrame, most: int) -> list[dict[str, Any]]:
    return records(table.head(most))


def _label(row: dict[str, Any]) -> str:
    return f"{row['part']}, {'1 sd' if row['for'] == PER_VALVE else row['for']}"
