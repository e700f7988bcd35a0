"""Transistors by lot: inside the limits of their sheets, the same for the same seed, and felt in a run of amps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim import OperatingPoint, load_semiconductor, simulate
from ampsim.circuit.build import build_circuit
from ampsim.circuit.semiconductors.measuring import channel_current
from ampsim.library.kinds import listing
from ampsim.simulation.facts import get
from ampsim.simulation.monte_carlo import TRANSISTOR_SPREAD, spread, valve_swap
from ampsim.simulation.tolerances import Tolerances
from ampsim.simulation.transistor_draws import specimen, transistor_draws
from tests.simulation.test_semiconductors import follower, input_stage

SPREAD = [name for name in listing()["semiconductors"] if load_semiconductor(name).spread]
STILL = Tolerances(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@given(st.sampled_from(SPREAD), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_specimen_lies_within_its_sheet(name: str, cut_off: float, current: float) -> None:
    device = load_semiconductor(name)
    limits = {key: (low, high) for key, low, high in device.spread}
    drawn = specimen(device, cut_off, current)
    if "cut_off_volts" in limits:
        low, high = limits["cut_off_volts"]
        assert low - 1e-9 <= dict(drawn.parameters)["threshold_volts"] <= high + 1e-9
    if "idss" in limits:
        low, high = limits["idss"]
        assert low * 0.999 <= channel_current(drawn, 15.0, 0.0) <= high * 1.001


def test_amps_by_lot_rest_where_their_very_transistors_do() -> None:
    """The spread's amp k is the amp with transistor k, simulated by itself."""
    amp = input_stage("J201")
    run = spread(amp, 6, 3, analysis=OperatingPoint(), tolerances=replace(STILL, transistors=1.0), nodes=["Q1.drain"])
    draws = transistor_draws(build_circuit(amp), 6, 3, Tolerances())["Q1"]
    for place, device in enumerate(draws):
        alone = simulate(replace(amp, semiconductors=(device,)), OperatingPoint(), nodes=["Q1.drain"])
        wanted = alone["voltage"].values.ravel()[0]
        assert run["voltage"].values.ravel()[place] == pytest.approx(wanted, rel=1e-6)
    assert np.ptp(run["voltage"].values) > 1.0
    assert "idss 0.0002 to 0.001" in get(run, TRANSISTOR_SPREAD)["J201"]
    again = spread(amp, 2, 3, analysis=OperatingPoint(), tolerances=replace(STILL, transistors=1.0), nodes=["Q1.drain"])
    np.testing.assert_array_equal(again["voltage"].values.ravel(), run["voltage"].values.ravel()[:2])


def test_nothing_is_drawn_where_nothing_is_asked_or_known() -> None:
    amp = input_stage("J201")
    for run in (
        spread(amp, 3, analysis=OperatingPoint(), tolerances=replace(STILL, transistors=0.0), nodes=["Q1.drain"]),
        valve_swap(amp, 3, analysis=OperatingPoint(), nodes=["Q1.drain"]),
    ):
        assert np.ptp(run["voltage"].values) == 0.0
    still = replace(load_semiconductor("DN2540"), spread=())
    wired = build_circuit(replace(follower("DN2540", 200.0), semiconductors=(still,)))
    assert transistor_draws(wired, 3, 0, Tolerances()) == {}
