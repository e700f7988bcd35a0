"""A wave without what is too fast for the even grid it is put on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...measures.waveforms import drift
from ...simulation.uneven_times import resample

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
    moved = float(drift(fine[:-1], cycles)[0])
    spectrum = np.fft.rfft(fine[:-1] - moved * np.arange(_FINER * count) / (_FINER * count))
    slow = np.fft.irfft(spectrum[: (count + 1) // 2], count) / _FINER
    return np.asarray(np.append(slow, slow[0]) + moved * np.arange(count + 1) / count)
