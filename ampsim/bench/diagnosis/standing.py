"""How a reading stands to those of a healthy amp, and the words for it, shorter ones for pictures."""

from __future__ import annotations

from enum import StrEnum

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ...base.wording import minus

EDGE, FAR = 2.0, 3.0
"""Standard deviations from which a reading is at the edge, and from which it matters (own choice)."""
_COUNTED = 99.5  # standard deviations from which they are no longer counted
_TIMES = " \u00d7"
_LEAST_VOLTS = 0.005  # V, half of what a usual meter shows


class Standing(StrEnum):
    """How far a reading lies from that of a healthy amp."""

    WITHIN = "within tolerance"
    AT_THE_EDGE = "at the edge"
    MATTERS = "matters"


def standing(deviations: float) -> Standing:
    """How a reading stands that lies so many standard deviations from a healthy one [ratio]."""
    size = abs(deviations)
    return Standing.WITHIN if size <= EDGE else Standing.AT_THE_EDGE if size <= FAR else Standing.MATTERS


def deviations_of(table: pd.DataFrame) -> NDArray[np.float64]:
    """Standard deviations [ratio] by which the readings of a `voltage_table` lie apart from a healthy amp's."""
    return np.asarray(table["difference [V]"].to_numpy(float) / table["usual +/- [V]"].to_numpy(float))


def verdict_words(deviations: float) -> str:
    """Standing of a reading [ratio]: "within tolerance", "at the edge, low", "matters: high, 7 times the spread"."""
    found = standing(deviations)
    if found is Standing.WITHIN:
        return str(found)
    if found is Standing.AT_THE_EDGE:
        return f"{found}, {_way(deviations)}"
    return f"{found}: {_way(deviations)}, {_size(deviations, ' times the spread')}"


def brief_words(deviations: float) -> str:
    """The same in short [ratio]: "within", "edge, low", "high, 7" and a multiplication sign."""
    found = standing(deviations)
    if found is Standing.WITHIN:
        return "within"
    if found is Standing.AT_THE_EDGE:
        return f"edge, {_way(deviations)}"
    return f"{_way(deviations)}, {_size(deviations, _TIMES)}"


def _way(deviations: float) -> str:
    return "high" if deviations > 0.0 else "low"


def _size(deviations: float, times: str) -> str:
    size = abs(deviations)
    return f"{size:.0f}{times}" if size < _COUNTED else "far out"


def reading_words(volts: float) -> str:
    """A reading [V] as it is written, without its unit; nought where a usual meter shows nothing."""
    return minus(f"{volts:.4g}") if abs(volts) >= _LEAST_VOLTS else "0"
