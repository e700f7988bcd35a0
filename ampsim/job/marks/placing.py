"""Where the labels of arrows go on a photo: near their tips, over no other label and no other tip."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...pictures.text_widths import text_width

Array = NDArray[np.float64]
Truths = NDArray[np.bool_]
_SIZES = (0.034, 0.028, 0.023, 0.019, 0.016, 0.013)  # of letters, as a share of the photo's middle side
_RINGS = (1.9, 2.8, 4.0, 5.5, 7.5, 10.0, 14.0)  # from tip to label, in sizes
_TURNS, _GRID = 16, 26
_AIR = 0.3  # sizes that stay free round a label
_SHORTEST = 1.4  # sizes of an arrow
_POINTS = 72.0  # to an inch
# What a place costs besides its distance from the tip in sizes.
_OVER_LABEL, _OVER_TIP, _CROSSED = 1e6, 1e3, 30.0


@dataclass(frozen=True)
class Tag:
    """A label with its arrow, in pixels of the photo: the label's middle and size, its letters, the arrow's tip."""

    words: str
    x: float
    y: float
    wide: float
    high: float
    letters: float
    tip: tuple[float, float]

    def covers(self, other: Tag) -> bool:
        """Whether two labels touch."""
        return abs(self.x - other.x) < (self.wide + other.wide) / 2 and abs(self.y - other.y) < self._reach(other)

    def _reach(self, other: Tag) -> float:
        return (self.high + other.high) / 2


def place_tags(labels: Sequence[str], tips: Sequence[tuple[float, float]], wide: float, high: float) -> list[Tag]:
    """Give each label a place on a photo; letters become smaller where there is no room.

    Parameters
    ----------
    labels : sequence of str
    tips : sequence of (float, float)
        Where each points, as fractions [ratio] of width and height.
    wide, high : float
        Size of the photo [pixels].
    """
    found: list[Tag] = []
    for share in _SIZES:
        found = _attempt(labels, [(x * wide, y * high) for x, y in tips], wide, high, share * math.sqrt(wide * high))
        if not any(one.covers(other) for place, one in enumerate(found) for other in found[:place]):
            break
    return found


def _attempt(
    labels: Sequence[str], tips: Sequence[tuple[float, float]], wide: float, high: float, size: float
) -> list[Tag]:
    placed: list[Tag] = []
    for words, tip in zip(labels, tips, strict=True):
        box = (min(text_width(words, size, bold=True) * _POINTS + size, wide), min(1.5 * size, high))
        middles = _middles(tip, box, wide, high, size)
        costs = np.hypot(middles[:, 0] - tip[0], middles[:, 1] - tip[1]) / size
        costs = costs + _cover_costs(middles, box, size, placed, tips) + _line_costs(middles, tip, box, placed)
        x, y = middles[int(np.argmin(costs))]
        placed.append(Tag(words, float(x), float(y), *box, size, tip))
    return placed


def _middles(tip: tuple[float, float], box: tuple[float, float], wide: float, high: float, size: float) -> Array:
    """Where the middle of a label may be: in rings round its tip, then anywhere; always within the photo."""
    turns = np.arange(_TURNS) * 2 * np.pi / _TURNS - np.pi / 4  # up and to the right first
    rings = np.concatenate(
        [
            np.stack([tip[0] + np.cos(turns) * (ring * size + box[0] / 2), tip[1] + np.sin(turns) * ring * size], 1)
            for ring in _RINGS
        ]
    )
    across, down = np.meshgrid(np.linspace(0.0, wide, _GRID), np.linspace(0.0, high, _GRID))
    found = np.concatenate([rings, np.stack([across.ravel(), down.ravel()], 1)])
    margins = np.array(box) / 2
    within = np.clip(found, margins, np.array([wide, high]) - margins)
    beyond = np.maximum(np.abs(within - tip) - margins, 0.0)
    apart = np.hypot(beyond[:, 0], beyond[:, 1])
    return np.asarray(within[apart >= min(_SHORTEST * size, float(apart.max()))])


def _cover_costs(
    middles: Array, box: tuple[float, float], size: float, placed: Sequence[Tag], tips: Sequence[tuple[float, float]]
) -> Array:
    costs = np.zeros(len(middles))
    for each in placed:
        both = (box[0] + each.wide + 2 * _AIR * size, box[1] + each.high + 2 * _AIR * size)
        costs += _OVER_LABEL * _within(middles - (each.x, each.y), both)
    for tip in tips:
        costs += _OVER_TIP * _within(middles - tip, (box[0] + 2 * _AIR * size, box[1] + 2 * _AIR * size))
    return costs


def _line_costs(middles: Array, tip: tuple[float, float], box: tuple[float, float], placed: Sequence[Tag]) -> Array:
    """Arrows that cross one another, or run under a label."""
    costs = np.zeros(len(middles))
    along = np.linspace(0.0, 1.0, 9)[1:, None, None]
    points = np.array(tip) + along * (middles - tip)
    for each in placed:
        costs += _CROSSED * _cross(np.array(tip), middles, np.array(each.tip), np.array([each.x, each.y]))
        costs += _CROSSED * _within(points - (each.x, each.y), (each.wide, each.high)).any(axis=0)
        line = np.array(each.tip) + along[:, 0] * (np.array([each.x, each.y]) - each.tip)
        # The label now being placed, over an arrow that is there.
        costs += _CROSSED * _within(middles[:, None, :] - line[None], box).any(axis=1)
    return costs


def _within(offsets: Array, box: tuple[float, float]) -> Truths:
    """Which offsets from the middle of a box lie in it."""
    return np.asarray((np.abs(offsets[..., 0]) < box[0] / 2) & (np.abs(offsets[..., 1]) < box[1] / 2))


def _cross(start: Array, ends: Array, first: Array, last: Array) -> Truths:
    def side(a: Array, b: Array, c: Array) -> Array:
        one, two = b - a, c - a
        return np.asarray(one[..., 0] * two[..., 1] - one[..., 1] * two[..., 0], dtype=np.float64)

    apart = side(start, ends, first) * side(start, ends, last) < 0
    return np.asarray(apart & (side(first, last, start) * side(first, last, ends) < 0))
