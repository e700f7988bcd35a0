"""A wave without what is too fast for the even grid it is put on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .uneven_times import resample

Array = NDArray[np.float64]
# Points to each of a wave's own from which what is faster than half the sampling rate is taken off.
_FINER = 16


def band_limited(time: Array, wave: Array, grid: Array, cycles: int) -> Array:
    """A wave without what is too fast for a grid: spikes between its points would come out as tones not there.

    Parameters
    ----------
    time, wave : array, shape (n,)
        At ngspice's own times [s].
    grid : array, shape (m,)
        Even times [s] over whole cycles, both ends included.
    cycles : int
        How many.
    """
    count = grid.size - 1
    fine = resample(time, wave[np.newaxis], np.linspace(grid[0], grid[-1], _FINER * count + 1))[0]
    return slow_part(fine, count, cycles)


def slow_part(fine: Array, count: int, cycles: int) -> Array:
    """A wave at the points of a grid, without what is too fast for it.

    Parameters
    ----------
    fine : array
        Even samples [V] over whole cycles, both ends included: a whole number to each step of the grid.
    count : int
        Steps of the grid.
    cycles : int
        How many.
    """
    samples = fine.size - 1
    moved = float(drift(fine[:-1], cycles)[0])
    spectrum = np.fft.rfft(fine[:-1] - moved * np.arange(samples) / samples)
    slow = np.fft.irfft(spectrum[: (count + 1) // 2], count) * count / samples
    return np.asarray(np.append(slow, slow[0]) + moved * np.arange(count + 1) / count)


def drift(rows: Array, cycles: int) -> Array:
    """How far waves [V] move over all their cycles, which would look like harmonics; shape (..., 1).

    `rows` are samples, shape (..., n), of so many whole cycles, the last point left out. Of a single cycle it is 0.
    """
    # The mean of each cycle, not two instants: at the flank of a spike these say nothing.
    means = rows.reshape(*rows.shape[:-1], cycles, -1).mean(axis=-1)
    return np.asarray((means[..., -1:] - means[..., :1]) * cycles / max(cycles - 1, 1))
