"""Samples at the uneven times of a transient, taken at others."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def resample(time: NDArray[Any], rows: NDArray[Any], grid: NDArray[Any]) -> NDArray[Any]:
    """Rows of samples at ngspice's own times [s], taken at the times of a grid [s]; shape (rows, grid points)."""
    # ngspice steps unevenly; a cubic through its own points keeps harmonics below -75 dB where a line does not.
    from scipy.interpolate import CubicSpline

    keep = np.concatenate(([True], np.diff(time) > 0.0))
    return np.asarray(CubicSpline(time[keep], rows[:, keep], axis=1)(grid))
