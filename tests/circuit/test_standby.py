"""A standby switch in any place of the supply takes the volts behind it away, and nothing else is said of the amp."""

from __future__ import annotations

import pytest

from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, parse_mod
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.response import simulate
from ampsim.studies.stability.steady import unsteady_positions

POSITION = {"standby": "standby"}


def with_standby(amp: Amp, *places: str) -> Amp:
    """A switch that breaks the wire at each of these places, everything else on it on the other side."""
    on = build_circuit(amp).net_by_place
    cuts = [
        {"cut": [place, [other for other in on if on[other] == on[place] and "." in other and other != place]]}
        for place in places
    ]
    switch = {"designator": "S90", "control": "standby", "positions": {"play": [], "standby": cuts}}
    return apply_mods(amp, parse_mod({"name": "standby", "reason": "check", "switches": [switch]}))


@pytest.mark.parametrize(
    "places",
    [["PT1.ht_centre"], ["PT1.ht_a", "PT1.ht_b"], ["V3.plate_a", "V3.plate_b"], ["V3.cathode"]],
    ids=lambda places: places[0],
)
def test_no_volts_come_through_a_standby_switch_wherever_it_is(places: list[str]) -> None:
    amp = with_standby(load_amp("kitchen"), *places)
    rest = simulate(amp, OperatingPoint(), [{}, POSITION], nodes=["B1", "B2", "B3"])["voltage"].squeeze()
    assert (rest[0] > 200.0).all()
    assert (abs(rest[1]) < 1.0).all()
    assert not unsteady_positions(amp, [POSITION])
