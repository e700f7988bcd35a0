"""Samples at the uneven times of a transient, taken at others."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..base.cubic import cubic

# Samples of a window outside of which a cubic's weights are below 1e-11, and how even steps are [of the whole].
_WINDOW = 40
_EVEN = 1e-12
_FEW = 8  # of so many times as many samples a window each is quicker than one cubic through all


def resample(time: NDArray[Any], rows: NDArray[Any], grid: NDArray[Any]) -> NDArray[Any]:
    """Rows of samples at ngspice's own times [s], taken at the times of a grid [s]; shape (rows, grid points)."""
    if time.size == grid.size and np.abs(time - grid).max() < _EVEN * (time[-1] - time[0]):
        return np.asarray(rows)
    # ngspice steps unevenly; a cubic through its own points keeps harmonics below -75 dB where a line does not.
    steps = np.diff(time)
    keep = np.concatenate(([True], steps > 0.0))
    if time.size > max(_WINDOW, _FEW * grid.size) and np.ptp(steps) < _EVEN * (time[-1] - time[0]):
        return _resample_even(time, rows, grid)
    return cubic(time[keep], rows[:, keep], grid)


def _resample_even(time: NDArray[Any], rows: NDArray[Any], grid: NDArray[Any]) -> NDArray[Any]:
    """The same of even samples: what a cubic has of a sample falls off by 0.27 with each step away from it."""
    at = (grid - time[0]) * (time.size - 1) / (time[-1] - time[0])
    first = np.clip(np.floor(at).astype(int) - _WINDOW // 2, 0, time.size - _WINDOW)
    weights = cubic(np.arange(_WINDOW), np.eye(_WINDOW), at - first)
    return np.asarray(np.einsum("rgw,wg->rg", rows[:, first[:, None] + np.arange(_WINDOW)], weights))
