"""Recordings made from closed forms: filters by their transfer functions, a curved line by the angle formulas."""

from __future__ import annotations

import math
import tempfile
from functools import partial
from pathlib import Path

import numpy as np

from ampsim.base.wav import write_wav
from ampsim.bench.sweeps.measured_sweep import read_recording
from ampsim.bench.sweeps.tone import SweepTone
from tests.tools.recordings import known_db, known_filter, noisy, recording
from tests.truth.claims import CLOSED, Case, Claim, Limit

RATE = 48_000
HERTZ = (40.0, 82.0, 200.0, 700.0, 3000.0, 10e3)
FILTER = "transfer function of second-order sections (definition), noise 40 dB below"
ANGLES = "angle formulas: sin^2 = (1 - cos 2x) / 2, sin^3 = (3 sin x - sin 3x) / 4"
LIMIT = Limit(0.1, "recording with 40 dB signal-to-noise: 0.1 dB from 40 Hz to 10 kHz", "dB")
CURVED = SweepTone(stop=7000.0, seconds=8.0)
SQUARE, CUBE = 0.2, 0.3


def _filter_measured(seed: int) -> dict[str, float]:
    tone = SweepTone()
    with tempfile.TemporaryDirectory() as folder:
        found = read_recording(recording(Path(folder) / "filter.wav", tone, known_filter(RATE), 40.0, seed), tone)
    log = np.log(found["frequency"].values)
    # The error itself is smooth; it is read off between points, not the gain with its resonance.
    error = found["gain_db"].values - known_db(known_filter(RATE), RATE, found["frequency"].values)
    truth = known_db(known_filter(RATE), RATE, np.array(HERTZ))
    read = truth + np.interp(np.log(HERTZ), log, error)
    return {f"at {hertz:g} Hz": float(level) for hertz, level in zip(HERTZ, read, strict=True)}


def _curved_truth() -> dict[str, float]:
    peak = 10.0 ** (CURVED.level / 20.0)
    first = 1.0 + 0.75 * CUBE * peak**2
    ratios = {"second harmonic": 0.5 * SQUARE * peak / first, "third harmonic": 0.25 * CUBE * peak**2 / first}
    return {"fundamental": 20.0 * math.log10(first)} | {name: 20.0 * math.log10(r) for name, r in ratios.items()}


def _curved_measured() -> dict[str, float]:
    sweep = CURVED.whole()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "curved.wav"
        write_wav(path, noisy(sweep + SQUARE * sweep**2 + CUBE * sweep**3, CURVED, 70.0), RATE)
        found = read_recording(path, CURVED).sel(frequency=1000.0, method="nearest")
    levels = {"second harmonic": 2, "third harmonic": 3}
    harmonics = {name: float(found["harmonic_db"].sel(order=order)) for name, order in levels.items()}
    return {"fundamental": float(found["gain_db"])} | harmonics


def cases() -> list[Case]:
    """Filters with noise, three draws of it, and the harmonics of a curved line."""
    truth = dict(zip(HERTZ, known_db(known_filter(RATE), RATE, np.array(HERTZ)), strict=True))
    found = []
    for seed in range(3):
        row = f"recorded sweep, noise {seed + 1}"
        claims = tuple(
            Claim(row, f"at {hertz:g} Hz", float(level), "dB", FILTER, "computed", CLOSED, LIMIT)
            for hertz, level in truth.items()
        )
        found.append(Case(claims, partial(_filter_measured, seed)))
    curved = tuple(
        Claim("recorded curved line", name, level, "dB", ANGLES, "computed", CLOSED, LIMIT)
        for name, level in _curved_truth().items()
    )
    return [*found, Case(curved, _curved_measured)]
