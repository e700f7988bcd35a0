"""The figures of measured sweeps: error of a recording of a known filter, what a fit of parts takes and finds."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from ampsim import load_amp, simulate
from ampsim.bench.sweeps.compare import compare
from ampsim.bench.sweeps.fit import fit_parts
from ampsim.bench.sweeps.measured_sweep import read_recording
from ampsim.bench.sweeps.tone import SweepTone
from ampsim.circuit.values import with_values
from ampsim.measures.sweep import gain_db
from tests.figures.figure import Figure, Scale
from tests.tools.recordings import known_db, known_filter, recording, through_amp

BUILT = {"C5": 330e-12 * 1.3, "R13": 39e3 * 0.8}
_SEEDS = 10


def filter_error(_: Scale) -> Iterator[Figure]:
    """A known filter, 40 dB signal-to-noise, ten draws of the noise at each of three rates."""
    worst = 0.0
    for rate in (44_100, 48_000, 96_000):
        tone = SweepTone(rate=rate)
        for seed in range(_SEEDS if rate == 48_000 else 2):
            with tempfile.TemporaryDirectory() as folder:
                path = recording(Path(folder) / "filter.wav", tone, known_filter(rate), 40.0, seed)
                found = read_recording(path, tone)
            frequency = found["frequency"].values
            error = found["gain_db"].values - known_db(known_filter(rate), rate, frequency)
            worst = max(worst, float(np.abs(error[(frequency >= 40.0) & (frequency <= 10e3)]).max()))
    name = "sweep WAV of a known filter with 40 dB signal-to-noise: error 40 Hz to 10 kHz"
    yield Figure(name, f"{worst:.3f} dB", "<= 0.1 dB", worst <= 0.1)


def amp_error(_: Scale) -> Iterator[Figure]:
    """A simulated amp recorded with 40 dB signal-to-noise and held against its own simulation."""
    amp, tone = load_amp("workshop-a"), SweepTone()
    with tempfile.TemporaryDirectory() as folder:
        found = read_recording(through_amp(Path(folder) / "bench.wav", amp, tone, 40.0), tone)
    same = compare(found["gain_db"], gain_db(simulate(amp)).isel(variant=0, position=0))
    inside = (same["frequency"] >= 40.0) & (same["frequency"] <= 10e3)
    worst = float(np.abs(same["difference"].where(inside)).max())
    yield Figure(
        "recorded amp against its own simulation, 40 Hz to 10 kHz", f"{worst:.3f} dB", "<= 0.1 dB", worst <= 0.1
    )


def fitted(_: Scale) -> Iterator[Figure]:
    """Two parts of the full amp fitted to its recording."""
    tone, amp = SweepTone(), load_amp("workshop-a")
    with tempfile.TemporaryDirectory() as folder:
        path = through_amp(Path(folder) / "bench.wav", with_values(amp, BUILT), tone, 40.0)
        found = fit_parts(amp, read_recording(path, tone), list(BUILT))
    off = max(abs(part.value / BUILT[part.designator] - 1.0) for part in found.parts)
    scores = [abs(math.log(part.value / BUILT[part.designator])) / part.deviation for part in found.parts]
    yield Figure("two parts fitted to a recording: error", f"{100.0 * off:.2f} %", "<= 1 %", off <= 0.01)
    fine = max(scores) <= 3.0
    yield Figure("two parts fitted: error in stated deviations", f"{max(scores):.1f}", "<= 3", fine)
    yield Figure("two parts fitted: simulations", f"{found.runs}", "<= 40", found.runs <= 40)


SECTIONS = (filter_error, amp_error, fitted)
