"""What amps carry driven hard, against steps so fine and even that finer ones change nothing; spikes and all."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

from ampsim import Sine, load_amp, parse_amp
from ampsim.circuit.amp import Amp
from ampsim.circuit.positions import Position
from ampsim.simulation.in_time import InTime
from ampsim.simulation.timestep.pace import Pace
from ampsim.studies.ratings import runs
from ampsim.studies.ratings.simulate import Known, stress
from tests.tools.any_amps import made_amp

# The last halving to this changes nothing of what is below by more than 1 %.
FINE = 20e-9
# Of less, nothing of what is told depends: a fiftieth of what small resistors and grids stand, or less.
SMALL = {"part_volts": 0.5, "part_watts": 5e-3, "electrode_volts": 1.0, "electrode_watts": 1e-2, "cathode_amps": 1e-4}


def carried(amp: Amp, position: Position, tone: Sine, miss: float = runs.MISS) -> xr.Dataset:
    known = Known(miss)
    known.solver = InTime(0)
    return stress(amp, [position], [tone], known=known)


@pytest.mark.parametrize(("name", "seconds"), [("brickworks", 2e-3), (1, 4e-3), (3, 4e-3), (4, 4e-3)])
def test_peaks_and_pulses_are_within_two_percent_of_the_finest_steps_and_within_six_where_they_are_quick(
    name: str | int, seconds: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Amps with every knob up, the generated ones with transformers and loudspeakers of all kinds."""
    amp = load_amp(name) if isinstance(name, str) else parse_amp(made_amp(13, name).tables)
    up = {control.name: 1.0 for control in amp.controls.values() if control.kind == "knob"}
    tone = Sine(1000.0, 0.2, seconds - 1e-3, 1)
    found = {rtol: carried(amp, up, tone, miss) for miss, rtol in ((runs.MISS, 0.02), (runs.QUICK_MISS, 0.06))}
    told = runs._timed
    even = Pace(FINE)
    monkeypatch.setattr(runs, "_timed", lambda *asked: replace(told(*asked), pace=even))
    finest = carried(amp, up, tone)
    for (rtol, ours), (quantity, least) in itertools.product(found.items(), SMALL.items()):
        told_of, best = (each[quantity].sel(state=["driven", "pulse"]).values for each in (ours, finest))
        assert told_of.shape == best.shape
        known = np.abs(best) > least
        assert known.any()
        np.testing.assert_allclose(told_of[known], best[known], rtol=rtol)
