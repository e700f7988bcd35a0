"""Switches at the end of a track, which stand off with the knob down; relays, whose coil a switch feeds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp, Switch
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.switches.kinds import parse_switch_kind
from ampsim.circuit.switches.planning import planned_switches
from ampsim.library.explaining import describe_file
from ampsim.library.loader import load_amp, parse_amp, parse_mod
from ampsim.library.overview import describe_amp
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.response import simulate
from ampsim.studies.findings import Grade
from ampsim.studies.pop.simulate import pop
from ampsim.studies.ratings.findings import ratings_findings
from ampsim.studies.ratings.simulate import HARD, stress
from ampsim.work.parts_list.parts_list import parts_list
from ampsim.work.schematic.contents import contents
from ampsim.work.steps.soldering import iron_steps
from ampsim.work.wiring import wiring
from ampsim.work.wiring.readback import mismatches

AMP = load_amp("workshop-a")
BRIGHT = [{"fit": "C950", "between": ["P1.top", "P1.wiper"]}]
COIL = {"resistance": "360", "volts": 12, "between": ["aux", "ground"], "driver": "S950"}


def modded(amp: Amp, **switch: Any) -> Amp:
    given = {"name": "m", "reason": "r", "parts": {"C950": "120p"}, "switches": [{"control": "bright"} | switch]}
    return apply_mods(amp, parse_mod(given, "m.toml"))


def with_relay(**other: Any) -> Amp:
    positions = {"plain": [], "bright": BRIGHT}
    return modded(AUX, **({"designator": "K950", "type": "relay", "coil": COIL, "positions": positions} | other))


def _aux() -> Amp:
    tables = {
        "name": "with a low supply",
        "parts": {"V1A": "12AX7", "R1": "1M", "R3": "100k", "R4": "1k5", "C2": "22n", "P1": "A1M", "R60": "10"},
        "rails": [{"name": "B1", "volts": 300}, {"name": "aux", "volts": 12, "through": "R60"}],
        "stages": [
            {"name": "one", "template": "triode stage", "valve": "V1A", "supply": "B1", "grid_leak": "R1",
             "plate_load": "R3", "cathode_resistor": "R4"},
            {"name": "volume", "template": "volume", "coupling": "C2", "pot": "P1"},
        ],
    }  # fmt: skip
    return parse_amp(tables, "aux.toml")


AUX = _aux()


def track_end(**other: Any) -> Amp:
    positions = {"off": [], "on": BRIGHT}
    asked = {"designator": "S950", "shaft": "P5", "type": "at the end of the track", "positions": positions}
    return modded(AMP, **(asked | other))


def test_a_knob_stands_at_nought_while_the_switch_at_its_end_is_off() -> None:
    amp = track_end()
    knob = AMP.part_by_designator["P5"].control
    assert amp.setting({"bright": "off", knob: 0.7})[knob] == 0.0
    assert amp.setting({"bright": "on", knob: 0.7})[knob] == 0.7
    off, down = ({"bright": each, knob: turned} for each, turned in (("off", 0.7), ("off", 0.0)))
    run = simulate(amp, FrequencySweep(100, 1e3, 2), [off, down], nodes=["speaker"])["voltage"].values
    np.testing.assert_array_equal(run[0, 0], run[0, 1])


def test_a_switch_at_the_end_of_a_track_is_one_part_with_its_pot() -> None:
    amp = track_end()
    (plan,) = planned_switches(amp)
    assert plan.kind == "switch at the end of the track of P5, 1 pole (SPST)"
    assert [row.stands for row in plan.rows] == ["turned down past the click", "turned up"]
    assert mismatches(wiring(amp)) == []
    (line,) = [each for each in parts_list(AMP, amp).lines if each.part == "P5"]
    assert line.wanted == "1M audio 15 % pot with switch at the end of its track, 1 pole (SPST)"


def test_what_such_a_switch_cannot_do_is_said() -> None:
    (plan,) = planned_switches(track_end(positions={"off": BRIGHT, "on": []}))
    assert "closes when the knob is turned up" in plan.reason
    with pytest.raises(DescriptionError, match="name the pot on whose shaft it sits"):
        modded(AMP, designator="S950", type="end of track", positions={"off": [], "on": BRIGHT})
    for text in ("end of track", "switch at the end of the track", "end-of-track switch"):
        assert parse_switch_kind(text).action.value == "switch at the end of the track"


def test_a_relay_has_contacts_and_a_coil_that_a_switch_feeds() -> None:
    amp = with_relay()
    relay, driver = planned_switches(amp)
    assert (relay.designator, relay.kind) == ("K950", "relay, 1 pole (SPDT)")
    assert (driver.designator, driver.kind) == ("S950", "toggle on-off, 1 pole (SPST)")
    assert mismatches(wiring(amp)) == []
    volts = simulate(amp, OperatingPoint(), [{"bright": each} for each in ("plain", "bright")], nodes=["aux"])
    rest, pulled = volts["voltage"].values.squeeze()
    assert rest == pytest.approx(12.0, rel=1e-6)
    assert pulled == pytest.approx(12.0 * 360 / 370, rel=1e-6)
    lines = {each.part: each for each in parts_list(AUX, amp).lines}
    assert lines.keys() == {"C950", "K950", "S950"}
    assert lines["K950"].wanted == "relay, 1 pole (SPDT), coil 12 V, 360 ohm (33.3 mA)"
    names = {item.name for item in contents(amp).items}
    assert {"K950", "K950 A", "S950"} <= names
    steps = "\n".join(step.do for step in iron_steps(AUX, amp))
    assert "S950 (toggle on-off, 1 pole (SPST))" in steps
    (relay_in,), (driver_in,) = (
        [step for step in iron_steps(AUX, amp) if step.do.startswith(f"Fit {name} ")] for name in ("K950", "S950")
    )
    assert "spanner" not in relay_in.tool  # no hole in the panel: it is soldered, or sits in a base
    assert "spanner" in driver_in.tool
    assert amp.controls["bright"].designators == ("K950",)
    assert "relay" in describe_amp(amp)
    assert not pop(amp).attrs["failed"]


@pytest.mark.parametrize(
    ("other", "words"),
    [
        ({"coil": COIL | {"driver": "K950"}}, "is the relay itself"),
        ({"type": "on-on"}, "no other switch has one"),
        ({"positions": {"a": [], "b": [], "c": []}}, "two positions"),
        ({"coil": COIL | {"between": ["aux", "aux"]}}, "on one wire"),
    ],
)
def test_what_a_relay_cannot_be_is_refused(other: dict[str, Any], words: str) -> None:
    with pytest.raises(DescriptionError, match=words):
        build_circuit(with_relay(**other), (("bright", "bright"),))


@pytest.mark.parametrize(
    ("other", "volts", "grade"),
    [
        ({}, 12.0 * 360 / 370, Grade.FINE),
        ({"designator": "S951"}, 12.0 * 360 / 370, Grade.FINE),  # called as any switch is
        ({"volts": 11.676}, 12.0 * 360 / 370, Grade.FINE),  # just what it is made for
        ({"volts": 10.8}, 12.0 * 360 / 370, Grade.NEAR),
        ({"between": ["B1", "ground"]}, 300.0, Grade.BEYOND),
        ({"volts": 24}, 24.0 - 12.0 * 360 / 370, Grade.BEYOND),  # too few, and it may not pull in
    ],
)
def test_a_coil_made_for_other_volts_than_stand_across_it_is_told(
    other: dict[str, Any], volts: float, grade: Grade
) -> None:
    """Against Ohm's law; the operative range of IEC 61810-1."""
    called = {"designator": other.get("designator", "K950")}
    coil = COIL | {key: value for key, value in other.items() if key not in called}
    response = stress([AUX, with_relay(**called, coil=coil)], [{}, {"bright": "bright"}], HARD[1:])
    (found,) = (each for each in ratings_findings(response) if each.subject.startswith(called["designator"]))
    assert (found.grade, found.position) == (grade, "bright bright")
    assert found.value == pytest.approx(volts, rel=1e-3)


def test_what_was_understood_of_a_file_with_a_relay_is_said(tmp_path: Path) -> None:
    relay = tmp_path / "relay.toml"
    relay.write_text(
        'name = "relay"\nreason = "r"\n[parts]\nC950 = "120p"\n[[switches]]\ndesignator = "K950"\n'
        'control = "bright"\ntype = "relay"\n'
        'coil = { resistance = "360", volts = 12, between = ["B1", "ground"], driver = "S950" }\n[switches.positions]\n'
        '"plain" = []\n"bright" = [{ fit = "C950", between = ["P1.top", "P1.wiper"] }]\n',
        "utf-8",
    )
    assert "K950" in describe_file(relay)


def test_a_relay_of_four_poles_is_the_largest() -> None:
    made = Switch("K1", "c", (("a", ()), ("b", ())), "a", kind=parse_switch_kind("relay, 4 poles"))
    assert made.kind.words == "relay, 4 poles"
