"""Where values over level reach a limit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
_HALVINGS = 60


def first_crossing(levels: Array, values: Array, limit: float) -> float:
    """Level [V peak] at which values over level first reach a limit [unit of the values] from below.

    Between two levels it lies on the monotone cubic through all known points, over the logarithm of level (Fritsch
    and Carlson, SIAM J. Numer. Anal. 17(2), 1980; from memory). Values that are NaN are left out. 0 where the first
    value is above the limit already, infinite where none reaches it.
    """
    known = np.isfinite(values)
    x, y = np.log(levels[known]), values[known]
    if not y.size or (y < limit).all():
        return float("inf")
    above = int(np.argmax(y >= limit))
    if above == 0:
        return 0.0
    piece, low, high = _piece(x, y, above - 1), 0.0, 1.0
    # The ends lie on different sides of the limit, so there is a root, also where it is an end itself but for rounding.
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if _along(piece, middle) >= limit else (middle, high)
    return float(np.exp(x[above - 1] + high * (x[above] - x[above - 1])))


def crossing_steps(levels: Array, values: Array, limit: float) -> list[tuple[float, float]]:
    """The step [V peak] in which values first reach a limit; none where they do not, or did before it."""
    known = np.isfinite(values)
    x, y = levels[known], values[known]
    above = int(np.argmax(y >= limit)) if (y >= limit).any() else 0
    return [(float(x[above - 1]), float(x[above]))] if above else []


def value_at(levels: Array, values: Array, level: float) -> float:
    """Value at a level [V peak], on the same curve as `first_crossing`; NaN beyond the ladder."""
    known = np.isfinite(values)
    if not 0.0 < level < np.inf or known.sum() < 2:
        return float("nan")
    x, at = np.log(levels[known]), float(np.log(level))
    if not x[0] <= at <= x[-1]:
        return float("nan")
    k = min(int(np.searchsorted(x, at, side="right")) - 1, x.size - 2)
    return _along(_piece(x, values[known], k), float((at - x[k]) / (x[k + 1] - x[k])))


def _piece(x: Array, y: Array, k: int) -> tuple[float, float, float, float]:
    """The monotone cubic between points k and the next: both values, and both slopes over the whole piece."""
    near = slice(max(k - 1, 0), k + 3)  # a slope hangs on the points beside its own alone, at the ends on two more
    before, after = (x[k + 1] - x[k]) * _slopes(x[near], y[near])[k - near.start :][:2]
    return float(y[k]), float(y[k + 1]), float(before), float(after)


def _along(piece: tuple[float, float, float, float], t: float) -> float:
    """A cubic's value at a share of its length [ratio]."""
    start, end, before, after = piece
    rest = 1.0 - t
    return rest * rest * ((1.0 + 2.0 * t) * start + t * before) + t * t * ((3.0 - 2.0 * t) * end - rest * after)


def _slopes(x: Array, y: Array) -> Array:
    """Slopes at points that no curve through them overshoots: harmonic means of those on both sides, 0 at a turn."""
    h, d = np.diff(x), np.diff(y) / np.diff(x)
    if h.size == 1:
        return np.repeat(d, 2)
    first, second = 2.0 * h[1:] + h[:-1], h[1:] + 2.0 * h[:-1]
    # One over a slope that is next to nothing overflows to infinity, which is what the mean of slopes then needs.
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        means = (first + second) / (first / d[:-1] + second / d[1:])
    inner = np.where(d[:-1] * np.sign(d[1:]) > 0.0, means, 0.0)
    return np.concatenate([[_end(h[0], h[1], d[0], d[1])], inner, [_end(h[-1], h[-2], d[-1], d[-2])]])


def _end(h: float, next_h: float, d: float, next_d: float) -> float:
    slope = ((2.0 * h + next_h) * d - h * next_d) / (h + next_h)
    if slope * np.sign(d) <= 0.0:
        return 0.0
    return 3.0 * d if d * np.sign(next_d) <= 0.0 and abs(slope) > 3.0 * abs(d) else slope
