"""Measured volts place by place: drawing, simulation and reading side by side, and how far out each reading is."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from ...base.errors import DescriptionError
from ...base.wording import round_column
from ...pictures import style
from ...pictures.axes import tidy
from ...pictures.canvas import Picture, start_picture
from ...pictures.text_widths import text_width
from .standing import EDGE, FAR, Standing, brief_words, deviations_of, reading_words, standing

_EDGE, _GAP, _ROW, _HEAD, _FOOT = 0.25, 0.2, 0.185, 0.34, 0.56  # inches
_MOST = 6.0  # standard deviations at either end; what is further out stands there as an arrow
_BANDS = (
    ("within tolerance (ring)", style.Bar("#dedbd5", "#a9a59e")),
    ("at the edge (disc); beyond, it matters (diamond, arrow)", style.Bar(style.SHADE, "#a9a59e")),
)
_SAID, _STROKES = "volts at this supply", "; upright strokes: what the drawing says, at this supply"


def describe_volts(table: pd.DataFrame) -> str:
    """`volts` in words and numbers, one paragraph."""
    sentences = ["Volts measured against those of a healthy amp at this supply."]
    for row in table.to_dict("records"):
        drawn = "" if np.isnan(row["drawing [V]"]) else f", drawing {row['drawing [V]']:.4g} V"
        sentences.append(
            f"{row['place']}: measured {reading_words(row['measured [V]'])} V, simulated "
            f"{reading_words(row['at this supply [V]'])} V, usual deviation {row['usual +/- [V]']:.2g} V{drawn}; "
            f"{row['verdict']}."
        )
    return " ".join(sentences)


@style.picture_settings()
def volts_picture(table: pd.DataFrame, title: str) -> Picture:
    """Draw readings place by place beside what the drawing says and what a healthy amp would show.

    Parameters
    ----------
    table : pandas.DataFrame
        Of a diagnosis: place, drawing [V] (NaN where it says nothing), at this supply [V], usual +/- [V], measured
        [V], difference [V], verdict.
    title : str
        What amp, and whose readings.

    Raises
    ------
    DescriptionError
        For an empty table.
    """
    if table.empty:
        raise DescriptionError("no readings to draw")
    cells = _cells(table)
    deviations = [float(each) for each in deviations_of(table)]
    names, verdicts = [str(name) for name in table["place"]], [brief_words(each) for each in deviations]
    rights = _rights(names, cells)
    right = style.PAGE_WIDTH - max(text_width(word, style.SMALL_SIZE, bold=True) for word in verdicts) - 0.3
    said = _SAID + (_STROKES if "drawing" in cells else "")
    picture, top = start_picture(title, said, describe_volts(table), (_HEAD, _ROW * len(names), _FOOT), _BANDS, _EDGE)
    top -= _HEAD
    _write(picture, top, names, cells, rights)
    axes = picture.box(rights[-1] + 0.2, top - _ROW * len(names), right, top)
    _scale(axes, len(names))
    _marks(axes, table)
    for place, (word, each) in enumerate(zip(verdicts, deviations, strict=True)):
        weight = "bold" if standing(each) is Standing.MATTERS else "normal"
        picture.stack(right + 0.1, top - _ROW * (place + 0.5), [word], style.SMALL_SIZE, weight=weight)
    return picture


def _cells(table: pd.DataFrame) -> dict[str, list[str]]:
    """Columns of numbers by their heads."""
    drawn = table["drawing [V]"]
    middle, usual = (table[name].to_numpy(float) for name in ("at this supply [V]", "usual +/- [V]"))
    limits = [round_column([low, high]) for low, high in zip(middle - EDGE * usual, middle + EDGE * usual, strict=True)]
    columns = {
        "drawing": round_column(drawn.tolist()),
        "simulated": round_column(middle.tolist()),
        "healthy": [f"{low} to {high}" for low, high in limits],
        "measured": round_column(table["measured [V]"].tolist()),
    }
    return {head: column for head, column in columns.items() if head != "drawing" or drawn.notna().any()}


def _rights(names: list[str], cells: dict[str, list[str]]) -> list[float]:
    """Right edges of the columns of numbers [inches], the right edge of the places before them."""
    found = [_EDGE + max(text_width(name, style.TEXT_SIZE, bold=True) for name in names)]
    for head, column in cells.items():
        widest = max(text_width(cell, style.TEXT_SIZE, bold=True) for cell in (head, *column))
        found.append(found[-1] + _GAP + widest)
    return found


def _write(picture: Picture, top: float, names: list[str], cells: dict[str, list[str]], rights: list[float]) -> None:
    for head, at in zip(cells, rights[1:], strict=True):
        picture.stack(at, top + 0.16, [head, "[V]"], style.SMALL_SIZE, ha="right", color=style.QUIET)
    for place, name in enumerate(names):
        middle = top - _ROW * (place + 0.5)
        picture.stack(_EDGE, middle, [name])
        for (head, column), at in zip(cells.items(), rights[1:], strict=True):
            weight = "bold" if head == "measured" else "normal"
            picture.stack(at, middle, [column[place]], ha="right", weight=weight)


def _scale(axes: Axes, count: int) -> None:
    tidy(axes, "", [np.zeros(1)], 1.0)
    axes.set_ylim(count - 0.5, -0.5)
    axes.set_xlim(-_MOST - 0.5, _MOST + 0.5)
    axes.set_yticks([])
    axes.set_xticks([-_MOST, -FAR, 0.0, FAR, _MOST])
    axes.spines["left"].set_visible(False)
    axes.grid(False)
    axes.set_xlabel("standard deviations", fontsize=style.TEXT_SIZE, color=style.INK, labelpad=4)
    for (_, look), size in zip(reversed(_BANDS), (FAR, EDGE), strict=True):
        axes.axvspan(-size, size, facecolor=look.face, edgecolor=look.edge, linewidth=0.6, zorder=0.5)
    axes.axvline(0.0, color=style.QUIET, linewidth=0.8, zorder=0.8)
    for low, _ in pairwise(range(count)):
        axes.axhline(low + 0.5, color=style.GRID, linewidth=0.6, zorder=0.7)


def _marks(axes: Axes, table: pd.DataFrame) -> None:
    usual = table["usual +/- [V]"].to_numpy(float)
    for place, out in enumerate(deviations_of(table)):
        mark = "o" if abs(out) <= FAR else "D"
        if abs(out) > _MOST:
            mark = ">" if out > 0.0 else "<"
        face = "white" if abs(out) <= EDGE else style.MODDED
        at = float(np.clip(out, -_MOST, _MOST))
        axes.plot([at], [place], mark, gid=f"reading-{place}", markersize=6.0, markerfacecolor=face, zorder=3.0,
                  markeredgecolor=style.MODDED, markeredgewidth=1.2, clip_on=False)  # fmt: skip
    middle, simulated = (table[name].to_numpy(float) for name in ("at this supply [V]", "simulated [V]"))
    scale = np.divide(middle, simulated, out=np.ones_like(middle), where=simulated != 0.0)
    drawn = (table["drawing [V]"].to_numpy(float) * scale - middle) / usual
    for place, out in enumerate(drawn):
        if abs(out) <= _MOST:
            axes.plot([out], [place], "|", markersize=10.0, color=style.STOCK, markeredgewidth=2.0, zorder=2.0)
