"""Where values over level reach a limit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def first_crossing(levels: Array, values: Array, limit: float) -> float:
    """Level [V peak] at which values over level first reach a limit [unit of the values] from below.

    Between two levels it lies on the monotone cubic through all known points, over the logarithm of level (Fritsch
    and Carlson, SIAM J. Numer. Anal. 17(2), 1980; from memory). Values that are NaN are left out. 0 where the first
    value is above the limit already, infinite where none reaches it.
    """
    from scipy.interpolate import PchipInterpolator
    from scipy.optimize import brentq

    known = np.isfinite(values)
    x, y = np.log(levels[known]), values[known]
    if not y.size or (y < limit).all():
        return float("inf")
    above = int(np.argmax(y >= limit))
    if above == 0:
        return 0.0
    # One over a slope that is next to nothing overflows to infinity, which is what the mean of slopes then needs.
    with np.errstate(over="ignore"):
        curve = PchipInterpolator(x, y)
    start, end = x[above - 1], x[above]
    # The ends lie on different sides of the limit, so there is a root, also where it is an end itself but for rounding.
    if curve(end) <= limit:
        return float(np.exp(end))
    return float(np.exp(brentq(lambda at: float(curve(at)) - limit, start, end, xtol=1e-13)))


def crossing_steps(levels: Array, values: Array, limit: float) -> list[tuple[float, float]]:
    """The step [V peak] in which values first reach a limit; none where they do not, or did before it."""
    known = np.isfinite(values)
    x, y = levels[known], values[known]
    above = int(np.argmax(y >= limit)) if (y >= limit).any() else 0
    return [(float(x[above - 1]), float(x[above]))] if above else []


def value_at(levels: Array, values: Array, level: float) -> float:
    """Value at a level [V peak], on the same curve as `first_crossing`; NaN beyond the ladder."""
    from scipy.interpolate import PchipInterpolator

    known = np.isfinite(values)
    if not 0.0 < level < np.inf or known.sum() < 2:
        return float("nan")
    return float(PchipInterpolator(np.log(levels[known]), values[known], extrapolate=False)(np.log(level)))
