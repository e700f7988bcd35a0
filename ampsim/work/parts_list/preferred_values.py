"""The nearest preferred value of a part, and the series it belongs to."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ...base.e_series import preferred_values

SERIES = ("E6", "E12", "E24")


@dataclass(frozen=True)
class Preferred:
    """The nearest preferred value [SI unit], the coarsest series that has it, and how far the value asked lies off.

    `off` is asked / preferred - 1; nought when the value belongs to the series.
    """

    series: str
    value: float
    off: float


def nearest_preferred(value: float) -> Preferred:
    """The nearest value of the E24 series by ratio [ohm, F or H], and the coarsest series that has it (IEC 60063).

    Examples
    --------
    >>> nearest_preferred(47e3).series, nearest_preferred(120e-12).series, nearest_preferred(9.0e3).value
    ('E6', 'E12', 9100.0)
    """
    known = preferred_values("E24", value / 2.0, value * 2.0)
    best = min(known, key=lambda each: abs(math.log(each / value)))
    series = next(name for name in SERIES if preferred_values(name, best, best))
    off = value / best - 1.0
    return Preferred(series, best, 0.0 if abs(off) < 1e-9 else off)


def nearest_track(value: float) -> Preferred:
    """The same for a pot's track [ohm], which also comes in steps of 1, 2, 2.5 and 5 (common practice, no source)."""
    digits = float(f"{value:.6e}".split("e")[0])
    return Preferred("1-2-5", value, 0.0) if digits in (1.0, 2.0, 2.5, 5.0) else nearest_preferred(value)
