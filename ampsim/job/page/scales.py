"""The axes of the page's picture, which follow the position: gains move along, changes are drawn larger or smaller."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
FACTORS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
_TALLEST_DB, _LEAST_DB = 60.0, 18.0  # what the axis of gains may span
_CHANGE_DB, _CHANGE_STEP = 6.0, 2.0  # the further end of the axis of changes, and its ticks, at factor 1
_STEPS_DB, _MOST_STEPS = (3.0, 5.0, 10.0), 6  # between its ticks, and how many of them
_ROOM_DB = 2.0  # above the highest gain
_SHOWN_WHOLE = 0.75  # share of the positions whose curves are seen whole


@dataclass(frozen=True)
class Scales:
    """The axis of gains where the page opens, and that of changes at factor 1: ends and distance of ticks [dB]."""

    gain: tuple[float, float, float]
    change: tuple[float, float, float]

    def shift(self, gains: Array) -> float:
        """By how much the axis of gains is moved to show these gains [dB]: whole ticks."""
        _, high, step = self.gain
        return step * math.ceil((float(gains.max()) + _ROOM_DB - high) / step)

    def factor(self, change: Array) -> float:
        """How many times the axis of changes is as long as at factor 1, to hold a change [dB]."""
        low, high, _ = self.change
        fits = (each for each in FACTORS if low * each <= change.min() and change.max() <= high * each)
        return next(fits, FACTORS[-1])


def scales_for(start: Array, samples: Array) -> Scales:
    """Axes for gains of both amps [dB].

    Parameters
    ----------
    start : ndarray
        Where the page opens, shape (2, f).
    samples : ndarray
        All over the range of the controls, shape (positions, 2, f).
    """
    # Positions that take nearly all away would leave no room for the others; where the page opens nothing is cut off.
    usual = max(float(np.quantile(np.ptp(samples, axis=(1, 2)), _SHOWN_WHOLE)), _LEAST_DB)
    for step in _STEPS_DB:
        high = step * math.ceil((float(start.max()) + _ROOM_DB) / step)
        span = min(max(usual, high - float(start.min())), _TALLEST_DB)
        if span <= _MOST_STEPS * step:
            break
    change = samples[:, 1] - samples[:, 0]
    change = change[np.abs(change) < _TALLEST_DB]
    low, up = (float(change.min()), float(change.max())) if change.size else (0.0, 0.0)
    most = max(-low, up, 1e-3)
    ends = (max(-low, 0.2 * most), max(up, 0.2 * most))
    low, up = (-_CHANGE_DB * 1.05 * ends[0] / most, _CHANGE_DB * 1.05 * ends[1] / most)
    return Scales((high - step * math.ceil(span / step), high, step), (low, up, _CHANGE_STEP))


def ticks(low: float, high: float, step: float) -> list[float]:
    """Whole steps between two ends [dB]."""
    return [step * each for each in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]
