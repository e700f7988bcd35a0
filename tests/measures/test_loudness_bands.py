"""Loudness and sharpness against those of an open library, MoSQITo, for the same sounds."""

from __future__ import annotations

import numpy as np
import pytest
from mosqito.sq_metrics import loudness_zwst_freq, sharpness_din_from_loudness

from ampsim.measures.loudness import GRID, guitar_spectrum, loudness


@pytest.mark.parametrize("level", [40.0, 55.0, 70.0, 100.0])
def test_sounds_are_as_loud_and_sharp_as_the_library_says(level: float) -> None:
    lot = np.random.default_rng(round(level))
    tilt = 10.0 ** (lot.uniform(-6.0, 6.0, 4) * np.log2(np.maximum(GRID, 20.0) / 1000.0)[:, np.newaxis] / 20.0)
    shapes = np.column_stack([np.sqrt(guitar_spectrum())[:, np.newaxis] * tilt, lot.random(GRID.size), tilt[:, :1]])
    pressure = 2e-5 * 10.0 ** (level / 20.0) * shapes / np.sqrt(np.sum(shapes**2, axis=0))
    sone, specific, _ = loudness_zwst_freq(pressure, GRID)
    found = loudness(pressure)
    assert found[0] == pytest.approx(sone, rel=1e-3, abs=1e-3)  # its last digit
    assert found[1] == pytest.approx(sharpness_din_from_loudness(sone, specific), rel=1e-3, abs=1e-3)
