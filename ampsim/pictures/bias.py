"""Where the valves idle: a table with a bar of plate dissipation for each, and a verdict in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
import xarray as xr

from ..base.wording import round_column
from ..measures.bias import READINGS, BiasState, bias_table, judged_bias_table
from ..measures.labels import select
from . import captions, style
from .canvas import Picture, start_picture
from .text_widths import text_width, wrap_text

_TEXTS = ("valve", "type", "variant", "position")
_NUMBERS = (*READINGS, "limit [W]")
_EDGE, _GAP, _HEAD, _LINE = 0.25, 0.14, 0.44, 0.135  # inches
_BAR, _BAR_WORDS, _VERDICT, _WIDEST_TEXT = 0.6, 0.42, 1.75, 1.0
_BAR_FULL = 1.25  # times the limit, at the right end of a bar


@dataclass(frozen=True)
class _Column:
    name: str
    cells: list[list[str]]
    numeric: bool
    left: float
    width: float


def describe_bias(response: xr.Dataset) -> str:
    """`bias_picture` in words and numbers, one paragraph."""
    table = bias_table(response)
    sentences = [f"Valves of {captions.amp_name(response)} at rest."]
    for row in table.to_dict("records"):
        sentences.append(
            f"{row['valve']} ({row['type']}), {row['variant']}, {row['position']}: plate {row['plate [V]']:.3g} V, "
            f"cathode {row['cathode [V]']:.3g} V, {row['plate [mA]']:.3g} mA, {row['plate [W]']:.3g} W; "
            f"{row['verdict']}."
        )
    return " ".join(sentences)


@style.picture_settings()
def bias_picture(
    response: xr.Dataset,
    positions: Sequence[str] | None = None,
    variants: Sequence[str] | None = None,
    title: str | None = None,
) -> Picture:
    """Draw the table of operating points: volts, milliamperes, plate dissipation against its limit, verdict.

    A row to each valve at each position; where a valve idles alike in all variants one row stands for them.

    Parameters
    ----------
    response : xarray.Dataset
        An operating point.
    positions, variants : sequence of str
        Default all.
    title : str
        Default: the amp.

    Raises
    ------
    DescriptionError
        For unknown names or another kind of response.
    """
    chosen = select(response, variants, positions)
    table = _merge(judged_bias_table(chosen)).sort_values("valve", kind="stable", ignore_index=True)
    columns = _columns(table)
    bar = columns[-1].left + columns[-1].width + _GAP
    verdict = bar + _BAR + _BAR_WORDS + _GAP
    width = max(style.PAGE_WIDTH, verdict + _VERDICT + _EDGE)
    over = [state == BiasState.OVER for state in table["state"]]
    verdicts = [_break_lines(*pair, width - _EDGE - verdict) for pair in zip(table["verdict"], over, strict=True)]
    heights = [0.08 + _LINE * max(len(lines), _lines(columns, row)) for row, lines in enumerate(verdicts)]
    heading = title or f"{captions.amp_name(response)}: where the valves idle"
    subtitle = _subtitle(table)
    below = (_HEAD, sum(heights), 0.15)
    picture, top = start_picture(heading, subtitle, describe_bias(chosen), below, left=_EDGE, width=width)
    y = top - _HEAD
    _draw_heads(picture, columns, bar, verdict, y)
    tops = [y - sum(heights[:row]) for row in range(len(heights) + 1)]
    for row, (top, bottom) in enumerate(pairwise(tops)):
        middle = 0.5 * (top + bottom)
        _draw_cells(picture, columns, row, middle)
        _draw_bar(picture, bar, middle, float(table["of limit [%]"][row]), row)
        picture.stack(verdict, middle, verdicts[row], style.SMALL_SIZE, weight="bold" if over[row] else "normal")
        same = row + 1 < len(table) and table["valve"][row] == table["valve"][row + 1]
        picture.rule([_EDGE, width - _EDGE], [bottom] * 2, style.Look(style.FAINT_GRID if same else style.GRID, 0.8))
    _draw_limit(picture, bar, tops[0], tops[-1])
    return picture


def _merge(table: pd.DataFrame) -> pd.DataFrame:
    """One row instead of several where a valve idles alike, to 0.1 %, in all variants at a position."""
    numbers = [*_NUMBERS, "of limit [%]"]
    kept = []
    for _, rows in table.groupby(["position", "valve"], sort=False):
        first = rows[numbers].iloc[0].to_numpy(float)
        alike = np.allclose(rows[numbers].to_numpy(float), first, rtol=1e-3, atol=1e-3, equal_nan=True)
        whole = alike and rows["verdict"].nunique() == 1 and len(rows) == table["variant"].nunique()
        kept.append(rows.head(1).assign(variant="all variants") if whole and len(rows) > 1 else rows)
    return pd.concat(kept)


def _break_lines(verdict: str, bold: bool, room: float) -> list[str]:
    """Every finding of a verdict on lines of its own."""
    return [line for each in verdict.split("; ") for line in wrap_text(each, room, style.SMALL_SIZE, bold)]


def _columns(table: pd.DataFrame) -> list[_Column]:
    """The columns that tell something, laid out from the left."""
    columns: list[_Column] = []
    left = _EDGE
    for name in (*_TEXTS, *_NUMBERS):
        if (name in ("variant", "position") and table[name].nunique() == 1) or bool(table[name].isna().all()):
            continue
        numeric = name in _NUMBERS
        cells = _number_cells(table, name) if numeric else _text_cells(table, name)
        lines = [*_head(name), *(line for cell in cells for line in cell)]
        width = max(text_width(line, style.SMALL_SIZE) for line in lines)
        columns.append(_Column(name, cells, numeric, left, width))
        left += width + _GAP
    return columns


def _number_cells(table: pd.DataFrame, name: str) -> list[list[str]]:
    return [[cell] for cell in round_column(table[name].tolist())]


def _text_cells(table: pd.DataFrame, name: str) -> list[list[str]]:
    """Broken into lines; valve and type only on the first row of each valve."""
    cells = [wrap_text(str(text), _WIDEST_TEXT, style.SMALL_SIZE) for text in table[name]]
    if name in ("valve", "type"):
        repeated = table["valve"].eq(table["valve"].shift())
        return [[""] if again else cell for again, cell in zip(repeated, cells, strict=True)]
    return cells


def _lines(columns: Sequence[_Column], row: int) -> int:
    return max(len(column.cells[row]) for column in columns)


def _head(name: str) -> list[str]:
    return name.replace("[", "").replace("]", "").split(" ") if "[" in name else [name]


def _subtitle(table: pd.DataFrame) -> str:
    said = [f"limits: {', '.join(sorted(set(table['kind of limit'])))}", "volts against ground"]
    said += [str(table[name].iloc[0]) for name in ("position", "variant") if table[name].nunique() == 1]
    return "; ".join(said)


def _draw_heads(picture: Picture, columns: Sequence[_Column], bar: float, verdict: float, y: float) -> None:
    named = [(_place(column), _head(column.name), _side(column)) for column in columns]
    named += [(bar, ["of the limit", "%"], "left"), (verdict, ["verdict"], "left")]
    for x, lines, side in named:
        middle = y + 0.06 + 0.5 * _LINE * len(lines)
        picture.stack(x, middle, lines, style.SMALL_SIZE, color=style.QUIET, ha=side)
    picture.rule([_EDGE, picture.width - _EDGE], [y, y], style.Look(style.QUIET, 0.8))


def _place(column: _Column) -> float:
    return column.left + column.width if column.numeric else column.left


def _side(column: _Column) -> str:
    return "right" if column.numeric else "left"


def _draw_cells(picture: Picture, columns: Sequence[_Column], row: int, middle: float) -> None:
    for column in columns:
        weight = "bold" if column.name == "valve" else "normal"
        picture.stack(_place(column), middle, column.cells[row], style.SMALL_SIZE, ha=_side(column), weight=weight)


def _draw_bar(picture: Picture, left: float, middle: float, percent: float, row: int) -> None:
    """Dissipation against its limit; what is over the limit is hatched, and the number stands beside it."""
    if math.isnan(percent):
        picture.stack(left, middle, ["no limit known"], style.SMALL_SIZE, color=style.QUIET)
        return
    full = _BAR / _BAR_FULL
    within, over = min(percent / 100.0, 1.0), min(max(percent / 100.0 - 1.0, 0.0), _BAR_FULL - 1.0)
    picture.block(left, middle - 0.04, within * full, 0.08, style.Bar(style.STOCK, style.STOCK), gid=f"bar-{row}")
    if over:
        hatched = style.Bar("white", style.MODDED, "//////")
        picture.block(left + full, middle - 0.04, over * full, 0.08, hatched, gid=f"over-{row}")
    weight = "bold" if over else "normal"
    picture.stack(left + _BAR + _BAR_WORDS, middle, [f"{percent:.0f}"], style.SMALL_SIZE, ha="right", weight=weight)


def _draw_limit(picture: Picture, left: float, top: float, bottom: float) -> None:
    at = left + _BAR / _BAR_FULL
    picture.rule([at, at], [top, bottom], style.Look(style.INK, 0.8, (2.0, 2.0)))
