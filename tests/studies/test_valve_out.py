"""A valve taken out or exchanged by a switch: every study answers, however the switch is drawn."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

from ampsim.audio.listen import moves_heard
from ampsim.circuit.amp import Amp, Edit, Mod, Socket, Switch
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import position_label
from ampsim.library.loader import load_amp, load_valve, parse_mod
from ampsim.measures.bias import bias_table, judged_bias_table
from ampsim.simulation.analyses import OperatingPoint, Transient
from ampsim.simulation.response import simulate
from ampsim.simulation.stimuli import Sine
from ampsim.studies.audition_request import default_audition
from ampsim.studies.headroom.measures import clipping_table, power_table
from ampsim.studies.headroom.simulate import headroom
from ampsim.studies.ratings.devices import device_ratings
from ampsim.studies.ratings.simulate import stress
from ampsim.studies.ratings.valves import valve_ratings

POSITIONS = ({"power": "whole"}, {"power": "half"})
STOCK = load_amp("workshop-b")


@lru_cache
def half_power(drawn: str, valve: str = "V4") -> Amp:
    positions = {"whole": [], "half": [{"lift": valve}]}
    switch = {"designator": "S101", "control": "power", "drawn": drawn, "positions": positions}
    return apply_mods(STOCK, parse_mod({"name": f"drawn {drawn}", "reason": "quiet", "switches": [switch]}))


@pytest.mark.parametrize("valve", ["V4", "V3", "V1B"])
def test_volts_and_currents_are_those_of_the_position(valve: str) -> None:
    tables = [
        bias_table(simulate(half_power(drawn, valve), OperatingPoint(), POSITIONS)) for drawn in ("whole", "half")
    ]
    first, second = (each.drop(columns="variant").set_index(["position", "valve"]).sort_index() for each in tables)
    numbers = first.select_dtypes("number").columns
    np.testing.assert_allclose(first[numbers], second.loc[first.index, numbers], rtol=1e-9, atol=1e-9)
    assert set(first.index) == set(second.index)
    assert ("power half", valve) not in first.index
    assert ("power whole", valve) in first.index
    assert set(second["verdict"]) == set(first["verdict"])


def test_headroom_and_ratings_answer_at_every_position() -> None:
    played = [headroom(half_power(drawn), POSITIONS, (0.1, 0.4)) for drawn in ("whole", "half")]
    for table, key in ((clipping_table, "clips at [V]"), (power_table, "most power [W]")):
        one, other = (table(each)[key].to_numpy() for each in played)
        np.testing.assert_allclose(one, other, rtol=1e-6)
    power = power_table(played[0]).set_index("position")["most power [W]"]
    assert 0.25 < power["power half"] / power["power whole"] < 0.6
    rows = valve_ratings(stress(half_power("half"), POSITIONS, (Sine(220.0, 0.4, settle=0.1),)))
    assert set(rows.loc[rows["valve"] == "V4", "position"]) == {"power whole"}
    assert set(rows.loc[rows["valve"] == "V3", "position"]) == {"power whole", "power half"}


def test_a_pop_that_cannot_be_worked_out_is_said_before_anything_is_played() -> None:
    audition = default_audition(STOCK, half_power("whole"))
    moves, notes = moves_heard(audition, list(POSITIONS))
    assert moves == []
    assert len(notes) == 1
    assert "power" in notes[0]
    assert "V4" in notes[0]


def test_a_transient_has_the_currents_of_every_valve_in_time() -> None:
    run = Transient(Sine(440.0, 0.05, settle=0.05))
    found = simulate(STOCK, run, nodes=["V1A.plate", "B3", "V1A.cathode"]).isel(variant=0, position=0)
    volts, amps = found["voltage"], found["current"]
    assert set(amps["branch"].values) >= {"V1A.plate", "V1A.grid", "V3.screen"}
    drop = volts.sel(node="B3") - volts.sel(node="V1A.plate")
    rest = simulate(STOCK, OperatingPoint())["current"].isel(variant=0, position=0)
    current = amps.sel(branch="V1A.plate")
    # 100 kohm of load carries what the plate takes and what the coupling capacitor passes on.
    np.testing.assert_allclose(current.mean(), rest.sel(branch="V1A.plate"), rtol=0.03)
    assert np.abs(drop / 100e3 - current).max() < 0.2 * np.ptp(current.values)
    bare = simulate(STOCK, run, nodes=["V1A.plate"], currents=False)
    assert "current" not in bare


@pytest.mark.parametrize(("part", "other"), [("V1A", "12AY7"), ("V5", "6V6GT")])
def test_limits_are_those_of_the_valve_that_a_position_puts_in(part: str, other: str) -> None:
    """As in an amp that was drawn with it, in the table of volts and in the ratings."""
    amp, valve = load_amp("workshop-a"), load_valve(other)
    was = amp.part_by_designator[part]
    assert isinstance(was, Socket)
    assert was.type != other
    new = replace(was, type=other)
    drawn = replace(amp, parts=tuple(new if each == was else each for each in amp.parts), valves=(*amp.valves, valve))
    switch = Switch("S90", "valve", (("old", ()), ("new", (Edit("replace", part, other),))), "old")
    switched = replace(amp, mods=(Mod("a switch for it", "", (), (), (switch,), (valve,)),))
    at = {"valve": "new"}
    for table in (of_volts, of_limits):
        found, wanted = table(switched, [{}, at]), table(drawn, [{}])
        assert wanted != table(amp, [{}])
        assert found[position_label(at)] == wanted["as drawn"]
        assert found["as drawn"] == table(amp, [{}])["as drawn"]


def of_volts(amp: Amp, positions: list[dict[str, Any]]) -> dict[str, list[Any]]:
    return by_position(judged_bias_table(simulate(amp, OperatingPoint(), positions)), ["valve", "type", "limit [W]"])


def of_limits(amp: Amp, positions: list[dict[str, Any]]) -> dict[str, list[Any]]:
    return by_position(valve_ratings(stress(amp, positions)), ["valve", "type", "quantity", "state", "limit", "grade"])


def by_position(table: pd.DataFrame, columns: list[str]) -> dict[str, list[Any]]:
    rows = table.astype(object).where(table.notna(), None)
    return {str(name): sorted(map(str, own[columns].to_numpy().tolist())) for name, own in rows.groupby("position")}


@pytest.mark.parametrize("drawn", ["off", "on"])
@pytest.mark.parametrize("pins", [("V1A.plate", "ground"), ("V1A.cathode", "ground"), ("B1", "V1A.plate")])
def test_a_diode_that_a_position_brings_is_rated_there_and_nowhere_else(drawn: str, pins: tuple[str, str]) -> None:
    """As one that is fitted for good, whichever position is drawn."""
    fit = [{"fit": "D990", "pins": dict(zip(("anode", "cathode"), pins, strict=True))}]
    tables = {"name": "a diode", "reason": "r", "parts": {"D990": "1N4148"}}
    switch = {"designator": "S90", "control": "diode", "drawn": drawn, "positions": {"off": [], "on": fit}}
    switched = apply_mods(STOCK, parse_mod(tables | {"switches": [switch]}))
    always = apply_mods(STOCK, parse_mod(tables | {"edits": fit}))
    columns = ["device", "type", "quantity", "state", "limit"]
    found = by_position(device_ratings(stress(switched, [{"diode": "off"}, {"diode": "on"}])), columns)
    wanted = by_position(device_ratings(stress(always)), columns)
    assert wanted
    assert found == {"diode on": wanted["as drawn"]}
