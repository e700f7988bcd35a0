"""Rows of a drawing put on one sheet: each as high up as those above it let it, the supply where there is room."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .geometry import Box, Sheet

WIDE, HIGH = 10.7, 6.75  # inches of a sheet that a drawing may take
LARGEST = 0.145  # inches to a unit at most
_GAP = 3  # units between rows, and round the supply


@dataclass(frozen=True)
class Division:
    """Rows of a drawing put together, and the inches of a unit with which they fill the sheet."""

    sheet: Sheet
    unit: float


def stacked(rows: Sequence[Sheet], strip: Sheet | None) -> Division:
    """Rows below one another, and the supply where it lets everything be largest."""
    sheet = Sheet()
    for row in rows:
        sheet = _below(sheet, row)
    if strip is None:
        return _division(sheet)
    return max((_division(each) for each in _with_strip(sheet, strip)), key=lambda each: each.unit)


def _division(sheet: Sheet) -> Division:
    left, low, right, top = sheet.bounds()
    return Division(sheet, min(WIDE / max(right - left, 1.0), HIGH / max(top - low, 1.0), LARGEST))


def _below(sheet: Sheet, row: Sheet) -> Sheet:
    """A row at the left under others, as near as it may stand."""
    if not sheet.symbols:
        return row.moved(-math.floor(row.bounds()[0]), 0)
    row = row.moved(math.floor(sheet.bounds()[0]) - math.floor(row.bounds()[0]), 0)
    over, under = _profile(_boxes(sheet), -1), _profile(_boxes(row), 1)
    drop = max((under[x] - over[near] for x in under for near in range(x - 2, x + 3) if near in over), default=0.0)
    return sheet.joined(row.moved(0, -math.ceil(drop + _GAP)))


def _boxes(sheet: Sheet) -> list[Box]:
    """All rooms taken, wires too."""
    wires = [(min(x, u), min(y, v), max(x, u), max(y, v)) for (x, y), (u, v) in sheet.wires]
    return [*wires, *(box for symbol in sheet.symbols for box in symbol.boxes), *(sign.box for sign in sheet.signs)]


def _profile(boxes: Iterable[Box], side: int) -> dict[int, float]:
    """The highest (1) or lowest (-1) edge over each unit across."""
    found: dict[int, float] = {}
    for left, low, right, top in boxes:
        for x in range(math.floor(left), math.ceil(right) + 1):
            edge = top if side > 0 else low
            found[x] = max(found.get(x, edge), edge) if side > 0 else min(found.get(x, edge), edge)
    return found


def _with_strip(sheet: Sheet, strip: Sheet) -> Iterator[Sheet]:
    """The supply below everything, right of everything, or in an empty corner."""
    yield _below(sheet, strip)
    left, low, right, top = sheet.bounds()
    own = strip.bounds()
    yield sheet.joined(strip.moved(math.ceil(right - own[0]) + _GAP, math.floor(top - own[3])))
    for more in range(0, math.ceil(own[2] - own[0]), 4):
        bounds = (left, low, right + more, top)
        room = _room(_boxes(sheet), bounds, own[2] - own[0] + 2 * _GAP, own[3] - own[1] + 2 * _GAP)
        if room is not None:
            yield sheet.joined(strip.moved(room[0] + _GAP - math.floor(own[0]), room[1] + _GAP - math.floor(own[1])))
            break


def _room(boxes: Sequence[Box], bounds: Box, wide: float, tall: float) -> tuple[int, int] | None:
    """The lower left corner of an empty room of a size, which may reach over the edge by the air round the supply."""
    left, low, right, top = (math.floor(bounds[0]) - _GAP, math.floor(bounds[1]) - _GAP,
                             math.ceil(bounds[2]) + _GAP, math.ceil(bounds[3]) + _GAP)  # fmt: skip
    taken = np.zeros((right - left, top - low), dtype=np.int64)
    for box in boxes:
        xs = slice(math.floor(box[0]) - left, math.ceil(box[2]) - left + 1)
        taken[xs, math.floor(box[1]) - low : math.ceil(box[3]) - low + 1] = 1
    total: NDArray[np.int64] = np.pad(taken.cumsum(0).cumsum(1), ((1, 0), (1, 0)))
    w, h = math.ceil(wide) + 1, math.ceil(tall) + 1
    if w > taken.shape[0] or h > taken.shape[1]:
        return None
    held = total[w:, h:] - total[:-w, h:] - total[w:, :-h] + total[:-w, :-h]
    free = np.argwhere(held == 0)
    return (int(free[0][0]) + left, int(free[0][1]) + low) if len(free) else None


__all__ = ["HIGH", "WIDE", "Division", "stacked"]
