"""Limits of a proof where no spread of the valves is known: the error of their law alone fails no healthy amp."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ampsim import OperatingPoint, simulate
from ampsim.bench.proof.law_error import law_volts
from ampsim.bench.proof.sheet import proof_sheet
from ampsim.circuit.amp import Amp
from ampsim.circuit.valves.emission import stronger_valve
from ampsim.measures.law_bands import BANDS, CUT_OFF, REST, current_kind, likely
from tests.truth.bench import amp, rail, stage

PLACES = ["V1.plate", "V1.cathode"]


def one_stage(valve: str) -> Amp:
    parts = {"V1": valve, "R1": "1M", "R2": "100k", "R3": "1k5"}
    roles = {"valve": "V1", "grid_leak": "R1", "plate_load": "R2", "cathode_resistor": "R3", "supply": "B1"}
    return amp(parts, [stage("triode stage", **roles)], rail("B1", 300.0))


def with_current(drawn: Amp, factor: float) -> dict[str, float]:
    """What a meter reads in the amp whose valves have so many times the current."""
    valves = tuple(stronger_valve(each, factor) for each in drawn.valves)
    found = simulate(replace(drawn, valves=valves), OperatingPoint(), nodes=PLACES)["voltage"].squeeze()
    return {place: float(found.sel(node=place)) for place in PLACES}


@pytest.mark.parametrize("factor", [0.88, 1.12])
def test_a_reading_inside_the_band_is_no_fault_and_one_far_outside_is(factor: float) -> None:
    drawn = one_stage("12AX7-koren-1996")
    found = proof_sheet(drawn, {"B1": 300.0, **with_current(drawn, factor)}, count=20)
    assert found.passed, found.text()
    assert "13 % of current for valves whose spread is not known" in found.text()
    assert not proof_sheet(drawn, {"B1": 300.0, **with_current(drawn, factor**6)}, count=20).passed


def test_the_error_of_the_laws_is_what_its_ends_make_of_the_volts() -> None:
    drawn = one_stage("12AX7")
    rest, low, high = (with_current(drawn, 1.0 + share * BANDS[REST]) for share in (0.0, -1.0, 1.0))
    found = law_volts(drawn, {}, PLACES)
    for place in PLACES:
        ends = sorted((low[place] - rest[place], high[place] - rest[place]))
        assert found[place] == pytest.approx((-ends[0], ends[1]), rel=1e-6)


def test_near_cut_off_a_current_is_known_less_well() -> None:
    (valve,) = one_stage("12AX7").valves
    kinds = [current_kind(valve, 250.0, grid) for grid in (-1.0, -2.0, -3.0)]
    assert kinds == [REST, REST, CUT_OFF]
    assert likely("watts", 31.0) == "24 to 38"
    assert likely(CUT_OFF, 0.1) == "0.074 to 0.13"
    assert likely("gain", float("inf")) == ""
