"""Smooth curves through points, in numpy alone: importing a library for them takes longer than what they are asked."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]
_NOTHING = 1e-18  # of a slope, what another far away has to do with it


def cubic(x: Array, y: Array, at: Array) -> Array:
    """Values of the cubic spline through points, whose first and last two pieces are one cubic each ("not a knot").

    Parameters
    ----------
    x : array
        Places of the points, rising [any unit].
    y : array
        Their values [any unit]; shape (..., points).
    at : array
        Where the spline is asked for [unit of `x`]; any shape. Beyond the points the outermost cubics go on.

    Returns
    -------
    array
        Shape (..., *shape of `at`).
    """
    x, y, at = (np.asarray(each, dtype=float) for each in (x, y, at))
    steps = np.diff(x)
    rises = np.diff(y) / steps
    slopes = _slopes(steps, rises)
    k = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    h, t = steps[k], at - x[k]
    d, s0, s1 = rises[..., k], slopes[..., k], slopes[..., k + 1]
    c3 = (s0 + s1 - 2.0 * d) / h
    c2 = (d - s0) / h - c3
    return y[..., k] + t * (s0 + t * (c2 + t * c3 / h))


def _slopes(h: Array, d: Array) -> Array:
    """Slopes at the points, of the steps between them and of the rises along each; the ends follow from the others."""
    count = h.size + 1
    if count == 2:
        return np.repeat(d, 2, axis=-1)
    if count == 3:
        bend = (d[..., 1] - d[..., 0]) / (h[0] + h[1])
        return np.stack([d[..., 0] - bend * h[0], d[..., 0] + bend * h[0], d[..., 1] + bend * h[1]], axis=-1)
    below, above, diagonal = h[1:].copy(), h[:-1].copy(), 2.0 * (h[:-1] + h[1:])
    right = 3.0 * (h[1:] * d[..., :-1] + h[:-1] * d[..., 1:])
    ends = [_end(h[0], h[1], d[..., 0], d[..., 1]), _end(h[-1], h[-2], d[..., -1], d[..., -2])]
    # Of the ends h1 s0 + (h0 + h1) s1 = e0 holds, and the same from the other: taken away from their neighbours.
    diagonal[0] -= h[0] + h[1]
    diagonal[-1] -= h[-1] + h[-2]
    right[..., 0] -= ends[0]
    right[..., -1] -= ends[1]
    inner = _tridiagonal(below, diagonal, above, right)
    first = (ends[0] - (h[0] + h[1]) * inner[..., 0]) / h[1]
    last = (ends[1] - (h[-1] + h[-2]) * inner[..., -1]) / h[-2]
    return np.concatenate([first[..., None], inner, last[..., None]], axis=-1)


def _end(h0: float, h1: float, d0: Array, d1: Array) -> Array:
    return ((h0 + 2.0 * (h0 + h1)) * h1 * d0 + h0 * h0 * d1) / (h0 + h1)


def _tridiagonal(below: Array, diagonal: Array, above: Array, right: Array) -> Array:
    """Solve equations between neighbours: those are eliminated, then the next but one, and so on (cyclic reduction)."""
    low, up, right = below / diagonal, above / diagonal, right / diagonal
    low[0] = up[-1] = 0.0
    far = 1
    while far < right.shape[-1] and max(np.abs(low).max(), np.abs(up).max()) > 0.0:
        before, after = slice(None, -far), slice(far, None)
        by = np.ones_like(low)
        by[after] -= low[after] * up[before]
        by[before] -= up[before] * low[after]
        new = right.copy()
        new[..., after] -= low[after] * right[..., before]
        new[..., before] -= up[before] * right[..., after]
        lower, upper = np.zeros_like(low), np.zeros_like(up)
        lower[after] = -low[after] * low[before]
        upper[before] = -up[before] * up[after]
        low, up, right = lower / by, upper / by, new / by
        low[np.abs(low) < _NOTHING] = 0.0
        up[np.abs(up) < _NOTHING] = 0.0
        far *= 2
    return right
