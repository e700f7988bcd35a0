"""Reverb tanks: impedances as published, in time by the solver and by ngspice, noise, decay."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from ampsim import FrequencySweep, apply_mods, parse_amp, parse_mod, simulate
from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.circuit.reverb_tank import ReverbTank, coil
from ampsim.simulation.analyses import NoiseSweep, OperatingPoint, Transient
from ampsim.simulation.stimuli import Waveform
from ampsim.simulation.timestep.solver import play
from ampsim.studies.noise.simulate import BOLTZMANN, KELVIN, noise_spectrum

RATE = 48_000.0


def alone(**tank: Any) -> Amp:
    """A tank driven through a resistor, a resistor across its output."""
    parts = {"R1": "47", "TANK1": {"input": "150", "output": "2k25"} | tank, "R2": "220k"}
    wires = {"R1": ["in", "hot"], "TANK1": ["hot", "ground", "out", "ground"], "R2": ["out", "ground"]}
    stage = {"name": "network", "template": "free wiring", "wires": wires}
    return parse_amp({"name": "tank", "parts": parts, "stages": [stage]})


def pulse(samples: int) -> Any:
    time = np.arange(samples) / RATE
    return 0.1 * np.exp(-0.5 * ((time - 4e-3) / 8e-4) ** 2) * np.sin(2.0 * np.pi * 700.0 * (time - 4e-3))


@pytest.mark.parametrize(
    "tank",
    [{"delays_ms": [10.3]}, {"delays_ms": [12, 17.7], "decay": 1.0}, {"high": "2k2", "low": "60", "delays_ms": [14]}],
)
def test_echoes_in_time_are_those_of_ngspice(tank):
    amp, signal = alone(**tank), pulse(2400)
    ours = play(amp, signal, RATE, oversampling=16, node="TANK1.out").volts
    found = simulate(amp, Transient(Waveform(tuple(signal), RATE), 1.0 / (8.0 * RATE), 1e-6), nodes=["TANK1.out"])
    theirs = found["voltage"].values.ravel()[::8][: len(signal)]
    assert np.sqrt(np.mean((ours[:2350] - theirs[:2350]) ** 2) / np.mean(theirs**2)) < 5e-3
    assert np.abs(theirs[: round(0.008 * RATE)]).max() < 1e-3 * np.abs(theirs).max()


def test_a_tone_put_in_is_60_db_down_after_the_decay():
    amp = alone(delays_ms=[30], decay=0.6)
    ours = play(amp, pulse(round(0.7 * RATE)), RATE, node="TANK1.out").volts
    energy = lambda first: float(np.sum(ours[round(first * RATE) : round((first + 0.06) * RATE)] ** 2))  # noqa: E731
    fall = 10.0 * math.log10(energy(0.02) / energy(0.02 + 8 * 0.06))
    assert fall == pytest.approx(60.0 * 8 * 0.06 / 0.6, abs=0.5)


def test_the_strength_in_sweeps_is_that_of_all_echoes_of_a_long_noise():
    """In time, noise in gives as much out as the sweep says: the power of all passes, whatever their phases."""
    amp = alone(decay=0.6)
    noise = np.random.default_rng(5).normal(0.0, 0.1, round(6.0 * RATE))
    time = np.arange(len(noise)) / RATE
    noise = np.convolve(noise, np.hanning(33) / 16.0, "same") * np.cos(2.0 * np.pi * 900.0 * time)
    out = play(amp, noise, RATE, node="TANK1.out", oversampling=1).volts[round(2.0 * RATE) :]
    sweep = simulate(amp, FrequencySweep(100.0, 6000.0, 40), nodes=["TANK1.out"]).squeeze()
    spectrum = np.abs(np.fft.rfft(noise)) ** 2
    gain = np.interp(np.fft.rfftfreq(len(noise), 1.0 / RATE), sweep["frequency"], np.abs(sweep["voltage"].values) ** 2)
    power = 2.0 * float(np.sum(spectrum * gain)) / len(noise) ** 2
    assert np.mean(out**2) == pytest.approx(power, rel=0.12)


@pytest.mark.parametrize("ohms", [8.0, 150.0, 200.0, 250.0, 600.0, 1475.0])
def test_a_coil_has_its_impedance_at_1_khz(ohms):
    henries, loss = coil(ohms, 0.13 * ohms)
    reactance = 2j * math.pi * 1000.0 * henries
    assert abs(0.13 * ohms + reactance * loss / (reactance + loss)) == pytest.approx(ohms, rel=1e-9)


def test_its_coils_make_the_noise_of_their_resistances():
    amp = alone()
    found = noise_spectrum([amp], sweep=NoiseSweep(1000.0, 2000.0, 4, output="TANK1.out")).squeeze()
    tank = amp.part_by_designator["TANK1"]
    assert isinstance(tank, ReverbTank)
    henries, loss = coil(tank.output_impedance, tank.output_resistance)
    inner = 2j * math.pi * 1000.0 * henries
    output = tank.output_resistance + inner * loss / (inner + loss)
    whole = output * 220e3 / (output + 220e3)
    # The real part of an impedance is what makes noise; what the springs bring is some 40 dB less.
    expected = math.sqrt(4.0 * BOLTZMANN * KELVIN * whole.real)
    assert float(found["noise"][0]) == pytest.approx(expected, rel=0.01)
    assert float(found["contribution"].sel(contributor="TANK1")[0]) > 0.9 * expected


@pytest.mark.parametrize(
    ("entry", "value", "word"),
    [("delays_ms", [33, "x"], "delay"), ("delays_ms", [2], "delay"), ("input", "1", "impedance"),
     ("input_resistance", "200", "impedance"), ("high", "30k", "spring"), ("decay", 90, "decay")],
)  # fmt: skip
def test_what_no_tank_can_be_is_refused(entry, value, word):
    with pytest.raises(DescriptionError, match=word):
        alone(**{entry: value})


def test_an_output_that_is_not_grounded_is_refused():
    parts = {"TANK1": {"input": "150", "output": "2k25"}, "R1": "1k", "R2": "1k"}
    wires = {"TANK1": ["in", "ground", "out", "foot"], "R1": ["foot", "ground"], "R2": ["out", "ground"]}
    amp = parse_amp({"name": "t", "parts": parts, "stages": [{"name": "n", "template": "free wiring", "wires": wires}]})
    with pytest.raises(DescriptionError, match="belongs on ground"):
        simulate(amp, OperatingPoint(), nodes=["out"])


@pytest.mark.parametrize(
    ("wires", "word"),
    [(["in", "in", "out", "ground"], "one wire"), (["in", "ground", "out"], "each of the pins")],
)
def test_wires_that_a_tank_cannot_have_are_refused(wires, word):
    parts = {"TANK1": {"input": "150", "output": "2k25"}, "R1": "1k"}
    stage = {"name": "n", "template": "free wiring", "wires": {"TANK1": wires, "R1": ["out", "ground"]}}
    with pytest.raises(DescriptionError, match=word):
        simulate(parse_amp({"name": "t", "parts": parts, "stages": [stage]}), OperatingPoint(), nodes=["R1.1"])


def test_a_tank_is_fitted_by_its_pins_and_exchanged_as_a_whole():
    fitting = {"name": "m", "reason": "x", "parts": {"TANK2": {"input": "8", "output": "500"}}}
    with pytest.raises(DescriptionError, match="in_ground"):
        parse_mod(fitting | {"edits": [{"fit": "TANK2", "between": ["R1.1", "ground"]}]})
    other = parse_mod({"name": "m", "reason": "x",
                       "edits": [{"replace": "TANK1", "with": {"input": "600", "output": "10k"}}]})  # fmt: skip
    ratio = [
        float(abs(simulate(amp, FrequencySweep(1000.0, 2000.0, 4), nodes=["TANK1.in"])["voltage"].values.ravel()[0]))
        for amp in (alone(), apply_mods(alone(), other))
    ]
    assert ratio[1] / ratio[0] > 1.05
