"""Feedback loops through transistors and operational amplifiers: found, and of the gain of their closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim import load_semiconductor
from ampsim.circuit.feedback import find_loops
from ampsim.circuit.loop_search import Reach
from ampsim.circuit.semiconductors.measuring import channel_current, channel_slope
from ampsim.simulation.analyses import LoopSweep
from ampsim.simulation.loop_gain import loop_gain
from tests.simulation.test_op_amps import TYPES, drive, inverting, network
from tests.simulation.test_semiconductors import input_stage, wired
from tests.tools.stage_alone import resting_volts


@settings(max_examples=6)
@given(st.sampled_from(TYPES), st.floats(3.0, 5.0), st.floats(0.0, 2.0))
def test_loop_gain_of_an_amplifier_is_its_own_gain_times_what_comes_back(kind: str, decade: float, more: float) -> None:
    first = 10.0**decade
    back = first * 10.0**more
    (loop,) = find_loops(inverting(kind, first, back))
    assert (loop.carriers, loop.valves, loop.reach) == (("R2",), ("U1A",), Reach.LOCAL)
    found = loop_gain(inverting(kind, first, back), "R2", sweep=LoopSweep(10.0, 1e4, 1))["loop_gain"].squeeze()
    device, hertz = load_semiconductor(kind), found["frequency"].values
    p, farads = dict(device.parameters), dict(device.capacitances)["input"]
    opened = 1.0 / (1.0 / p["open_loop_gain"] + 1j * hertz / p["gain_bandwidth"])
    ohms = 1.0 / (1.0 / first + 1.0 / p["input_ohms"] + 2j * math.pi * hertz * farads)
    # The load and the way back take their share of what its output resistance leaves.
    given_on = 1.0 / (1.0 + p["output_ohms"] * (1.0 / 10e3 + 1.0 / (back + ohms)))
    assert found.values == pytest.approx(opened * given_on * ohms / (ohms + back), rel=5e-3)


def test_diodes_in_a_feedback_are_part_of_its_loop() -> None:
    (loop,) = find_loops(drive("RC4558", "9"))
    assert loop.carriers == ("R2", "D1", "D2")


def test_two_amplifiers_have_a_loop_each_and_one_around_them() -> None:
    """The outer way back leads to the first one's foot: it is found first, then what is left of the others."""
    parts = {"U1A": "TL072", "U1B": "TL072", "R1": "1M", "R2": "1k", "R3": "10k", "R4": "10k", "R5": "10k", "R6": "47k",
             "R7": "10k", "R8": "10k"}  # fmt: skip
    wires = {"R1": ["in", "ground"], "U1A": ["in", "m", "x", "BP", "BM"], "R2": ["m", "ground"], "R3": ["x", "m"],
             "R4": ["x", "n"], "R5": ["n", "y"], "U1B": ["ground", "n", "y"], "R6": ["y", "m"],
             "R7": ["y", "out"], "R8": ["out", "ground"]}  # fmt: skip
    loops = find_loops(network(parts, wires))
    assert loops[0].reach is Reach.GLOBAL
    assert "R6" in loops[0].carriers
    assert loops[0].parts >= {"U1A", "U1B"}
    assert [loop.carriers for loop in loops[1:]] == [("R3",)]


def test_a_transistor_has_a_loop_from_its_drain_to_its_gate() -> None:
    assert find_loops(input_stage("J201")) == ()
    wires = {"R1": ["in", "g"], "R2": ["B1", "d"], "R3": ["s", "ground"], "R4": ["d", "f"], "C2": ["f", "g"],
             "C3": ["d", "out"], "R5": ["out", "ground"], "C4": ["s", "ground"],
             "Q1": {"drain": "d", "gate": "g", "source": "s"}}  # fmt: skip
    parts = {"R1": "100k", "R2": "22k", "R3": "2k2", "R4": "1M", "C2": "1u", "C3": "1u", "R5": "10M", "C4": "1000u",
             "Q1": "J201"}  # fmt: skip
    amp = wired(parts, wires, {"name": "B1", "volts": 18.0})
    (loop,) = find_loops(amp)
    assert (loop.carriers, loop.valves) == (("R4", "C2"), ("Q1",))
    found = complex(loop_gain(amp, "R4", sweep=LoopSweep(1e3, 1e4, 1))["loop_gain"].squeeze().values[0])
    drain, gate, source = resting_volts(amp, "Q1", "drain", "gate", "source")
    device = amp.semiconductors[0]
    gm = channel_slope(device, drain - source, gate - source)
    low, high = (channel_current(device, drain - source + step, gate - source) for step in (-1e-3, 1e-3))
    siemens = 1.0 / 22e3 + 1.0 / 10e6 + (high - low) / 2e-3 + 1.0 / 1.1e6
    gain = gm / siemens * 100e3 / 1.1e6
    assert abs(found) == pytest.approx(gain, rel=2e-2)
    assert math.cos(float(np.angle(found))) > 0.99
