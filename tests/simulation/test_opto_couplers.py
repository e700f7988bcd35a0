"""Opto-couplers: a cell that follows its light, beside ngspice and closed forms; ratings; the tremolo made of one."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ampsim import FrequencySweep, OperatingPoint, load_semiconductor, parse_amp, simulate
from ampsim.base.errors import EngineError
from ampsim.circuit.amp import Amp
from ampsim.circuit.semiconductors.device import Device
from ampsim.circuit.semiconductors.measuring import diode_volts
from ampsim.circuit.semiconductors.opto_couplers import coupler_figure
from ampsim.library.files import models
from ampsim.library.kinds import listing
from ampsim.library.loader import load_amp
from ampsim.simulation.analyses import Transient
from ampsim.simulation.ngspice import engine
from ampsim.simulation.stimuli import Waveform
from ampsim.simulation.timestep.oscillation import at_both_ends, oscillations
from ampsim.simulation.timestep.solver import play
from ampsim.studies.ratings.devices import device_ratings
from ampsim.studies.ratings.simulate import stress
from tests.figures import in_time
from tests.tools import random_amps

RATE = 8000.0
COUPLERS = [name for name in listing()["semiconductors"] if load_semiconductor(name).family == "opto-coupler"]


def lit(kind: str, through: str = "1k", load: str = "100k", volts: float = 10.0) -> Amp:
    """Its diode at the input behind a resistor, its cell a divider from a supply."""
    wires = {"R1": ["in", "a"], "OC1": ["a", "ground", "out", "ground"], "R2": ["B1", "out"]}
    stage = {"name": "network", "template": "free wiring", "wires": wires}
    rail = {"name": "B1", "volts": volts}
    return parse_amp({"name": "lit", "parts": {"R1": through, "OC1": kind, "R2": load}, "rails": [rail],
                      "stages": [stage]})  # fmt: skip


def flash(level: float) -> Any:
    time = np.arange(round(0.4 * RATE)) / RATE
    edge = np.hanning(41) / 20.0
    return level * np.convolve((time > 0.03) & (time < 0.12), edge, "same")


@pytest.mark.parametrize(
    ("kind", "through", "load", "level"),
    [("NSL-28", "1k", "100k", 6.0), ("NSL-32SR3", "10k", "22k", 3.0), ("NSL-28", "100k", "1M", 9.0),
     ("NSL-32SR3", "4k7", "100k", 4.0)],
)  # fmt: skip
def test_a_flash_of_light_is_that_of_ngspice(kind, through, load, level):
    amp, signal = lit(kind, through, load), flash(level)
    ours = play(amp, signal, RATE, node="OC1.cell1").volts
    found = simulate(amp, Transient(Waveform(tuple(signal), RATE), 1.0 / RATE, 1e-5), nodes=["OC1.cell1"])
    theirs = found["voltage"].values.ravel()[: len(ours)]
    assert np.sqrt(np.mean((ours - theirs) ** 2) / np.mean((theirs - theirs[0]) ** 2)) < 1e-3


def test_at_rest_in_a_whole_amp_it_does_not_stop_ngspice():
    """What ngspice gave up on: the rate of a cell that stands still is the rounding of its diode's current."""
    case = random_amps.draw(84, with_transient=False)
    assert any(isinstance(part, Device) and part.type in COUPLERS for part in case.amp.parts)
    (outcome,) = engine.run([in_time.Case(case.amp, case.position, 0.1, 2e-3).netlist()])
    assert not isinstance(outcome, EngineError), outcome


@pytest.mark.parametrize("kind", COUPLERS)
@pytest.mark.parametrize("amps", [2e-5, 1e-3, 1e-2])
def test_lit_for_ever_the_cell_has_the_ohms_of_its_law(kind, amps):
    device = load_semiconductor(kind)
    wires = {"R1": ["B1", "a"], "OC1": ["a", "ground", "out", "ground"], "R2": ["in", "out"]}
    stage = {"name": "network", "template": "free wiring", "wires": wires}
    led = diode_volts(load_semiconductor("LED-red"), amps)
    amp = parse_amp({"name": "lit", "parts": {"R1": 1e3, "OC1": kind, "R2": "10k"}, "stages": [stage],
                     "rails": [{"name": "B1", "volts": float(led + 1e3 * amps)}]})  # fmt: skip
    rest = simulate(amp, OperatingPoint())
    flows = float(rest["current"].sel(branch="OC1.anode").squeeze())
    ohms = coupler_figure(device, "cell ohms", {"forward_amps": flows})
    gain = simulate(amp, FrequencySweep(1000.0, 2000.0, 4), nodes=["OC1.cell1"])["voltage"].values[0, 0, 0, 0]
    assert abs(gain) == pytest.approx(ohms / (10e3 + ohms), rel=1e-4)


def test_in_the_dark_the_resistance_grows_as_its_closed_form_says():
    amp = lit("NSL-28", "200", "1M")
    time = np.arange(round(1.0 * RATE)) / RATE
    light = 6.0 * (time < 0.1)
    volts = play(amp, light, RATE, node="OC1.cell1").volts
    ohms = 1e6 * volts / (10.0 - volts)
    device = load_semiconductor("NSL-28")
    for dark in (0.1, 0.4, 0.8):
        expected = coupler_figure(device, "cell ohms after", {"forward_amps": 0.02, "seconds": dark})
        assert ohms[round((0.1 + dark) * RATE)] == pytest.approx(expected, rel=0.01)


def test_a_diode_beyond_its_current_and_a_cell_beyond_its_volts_are_found():
    response = stress(lit("NSL-28", "47", "1k", 150.0))
    table = device_ratings(response)
    beyond = table[table["value"] > table["limit"]]["quantity"]
    assert "volts across its cell" in set(beyond)


def test_an_opto_tremolo_goes_and_takes_signal_away():
    amp = load_amp(str(models() / "stages" / "opto-tremolo.toml"))
    (swing,) = oscillations(amp)
    assert (swing.moves, swing.unit) == ("OC1", "ohm")
    assert 2.0 < swing.hertz < 8.0
    assert swing.least < 1e3 < 50e3 < swing.most
    bright, dark = at_both_ends(amp)
    gains = simulate([bright, dark], FrequencySweep(1000.0, 2000.0, 4), nodes=["speaker"])["voltage"].values[:, 0, 0, 0]
    assert abs(gains[1]) > 5.0 * abs(gains[0])
