"""What a fit of parts to a measured sweep found: values, ranges, and what makes them doubtful, in words."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from ...base.quantities import Quantity, format_value
from ...base.wording import join_words

Array = NDArray[np.float64]
# Correlation from which on two parts cannot be told apart: our choice.
TOGETHER = 0.95
# A value with a standard deviation of this factor is not told by the sweep.
_VAGUE = 2.0
# What stays of the difference may come from other parts when it is more than this [dB].
_UNEXPLAINED_DB = 0.5


@dataclass(frozen=True)
class FittedPart:
    """One part: its value as drawn and as fitted, and the range it lies in with 68 % (one standard deviation) [SI]."""

    designator: str
    drawn: float
    value: float
    low: float
    high: float
    quantity: Quantity
    at_bound: bool

    @property
    def deviation(self) -> float:
        """One standard deviation of the logarithm of the value [log ratio]."""
        return 0.5 * math.log(self.high / self.low)

    def words(self) -> str:
        """Such as "C5 is 498p (drawn 330p), 471p to 527p"."""
        value, low, high, drawn = (
            _value_words(each, self.quantity) for each in (self.value, self.low, self.high, self.drawn)
        )
        spread = f"{low} to {high}" if self.told else "anything in its bounds"
        return f"{self.designator} is {value} (drawn {drawn}), {spread}"

    @property
    def told(self) -> bool:
        """Whether the sweep tells the value to a factor of two, one standard deviation."""
        return self.deviation < math.log(_VAGUE)


@dataclass(frozen=True)
class PartFit:
    """What a fit found.

    Attributes
    ----------
    parts
    rms_before, rms_after
        Root mean square of the difference [dB], the level free, with the values as drawn and as fitted.
    correlations
        Of each pair of parts, -1 to 1.
    runs
        Simulations it took.
    remarks
        What makes the result doubtful, in words.
    fitted, drawn
        Gain [dB] over frequency with the values found and as drawn.
    """

    parts: tuple[FittedPart, ...]
    rms_before: float
    rms_after: float
    correlations: tuple[tuple[str, str, float], ...]
    runs: int
    remarks: tuple[str, ...]
    fitted: xr.DataArray = field(repr=False, compare=False)
    drawn: xr.DataArray = field(repr=False, compare=False)

    def words(self) -> str:
        """All of it in one paragraph."""
        start, stop = (float(self.fitted["frequency"].values[place]) for place in (0, -1))
        found = "; ".join(part.words() for part in self.parts)
        left = f"difference {self.rms_before:.2f} dB as drawn, {self.rms_after:.2f} dB as fitted (root mean square, "
        return " ".join([f"{found}; {left}{start:.0f} Hz to {stop:.0f} Hz, level free).", *self.remarks])

    def table(self) -> pd.DataFrame:
        """One row per part: drawn, fitted, 68 % range, as written on a schematic."""
        rows = [
            {
                "part": part.designator,
                "drawn": _value_words(part.drawn, part.quantity),
                "fitted": _value_words(part.value, part.quantity),
                "68 % from": _value_words(part.low, part.quantity) if part.told else "not told",
                "to": _value_words(part.high, part.quantity) if part.told else "not told",
                "change [%]": 100.0 * (part.value / part.drawn - 1.0),
            }
            for part in self.parts
        ]
        return pd.DataFrame(rows)


def fit_remarks(
    parts: tuple[FittedPart, ...], pairs: tuple[tuple[str, str, float], ...], left_db: float
) -> tuple[str, ...]:
    """What makes a result doubtful: parts that cannot be told apart, vague or stopped ones, a difference that stays.

    Parameters
    ----------
    parts : tuple of FittedPart
    pairs : tuple of (part, part, correlation)
        See `correlations`.
    left_db : float
        Root mean square of the difference that stays [dB].
    """
    found = [
        f"{first} and {second} cannot be told apart by this sweep: " + _exchange_words(first, second, together)
        for first, second, together in pairs
        if abs(together) >= TOGETHER
    ]
    named = {name for first, second, together in pairs if abs(together) >= TOGETHER for name in (first, second)}
    for part in parts:
        if not part.told and part.designator not in named:
            found.append(f"This sweep does not tell the value of {part.designator}.")
        if part.at_bound:
            found.append(f"{part.designator} went to the end of its bounds: that is not where it fits best.")
    if left_db > _UNEXPLAINED_DB:
        found.append(
            f"{left_db:.1f} dB stay: something besides {join_words([part.designator for part in parts])} differs."
        )
    return tuple(found)


def _exchange_words(first: str, second: str, together: float) -> str:
    other = "less" if together < 0.0 else "more"
    return f"more of {first} with {other} of {second} looks nearly the same (correlation {together:+.3f})."


def _value_words(value: float, quantity: Quantity) -> str:
    """Three figures, as on a schematic."""
    return format_value(float(f"{value:.3g}"), quantity)


def variance_growth(residual: Array) -> float:
    """By how much the variance grows because neighbouring differences hang together [ratio]; 1 if they do not."""
    still = residual - residual.mean()
    power = float(still @ still)
    neighbours = float(still[1:] @ still[:-1]) / power if power > 0.0 else 0.0
    neighbours = min(max(neighbours, 0.0), 0.98)
    return (1.0 + neighbours) / (1.0 - neighbours)


def correlations(names: tuple[str, ...], covariance: Array) -> tuple[tuple[str, str, float], ...]:
    """Each pair of parts with its correlation [ratio], -1 to 1."""
    deviation = np.sqrt(np.diag(covariance))
    found = covariance / np.outer(deviation, deviation)
    pairs = itertools.combinations(range(len(names)), 2)
    return tuple((names[first], names[second], float(found[first, second])) for first, second in pairs)
