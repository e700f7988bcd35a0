"""Wiring: the list and the tables read back give what the description says; the smallest usual switch is chosen."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp, Edit, Mod, Part, Switch
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import every_setting
from ampsim.circuit.switches.moving import moving
from ampsim.circuit.switches.planning import planned_switches
from ampsim.circuit.switches.wire_pieces import find_pieces
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_mod, parse_amp, parse_mod
from ampsim.work.parts_list.switch_need import switch_need
from ampsim.work.wiring.from_to import Wire, Wiring, list_wiring
from ampsim.work.wiring.readback import mismatches, read_back, wiring
from tests.tools.random_switches import random_switches

AMPS = ("workshop-a", "workshop-b", "lesson-stage")
MODS = sorted(path.stem for path in (models() / "mods").glob("*.toml"))


def demo(amp: str, mod: str) -> Amp | None:
    """A demo amp with a demo mod; None where the mod is for another amp."""
    try:
        fitted = apply_mods(load_amp(amp), load_mod(mod))
        for stand in every_setting(fitted):
            build_circuit(fitted, stand)
    except DescriptionError:
        return None
    return fitted


def with_switch(positions: dict[str, list[Edit]], parts: tuple[Part, ...] = (), shaft: str = "") -> Amp:
    """Workshop amp A with one switch; its first position is the drawn one."""
    sorted_in = tuple((label, tuple(edits)) for label, edits in positions.items())
    switch = Switch("S900", "tried", sorted_in, next(iter(positions)), shaft)
    return apply_mods(load_amp("workshop-a"), Mod("tried", "a test", parts, (), (switch,)))


@pytest.mark.parametrize("amp", AMPS)
@pytest.mark.parametrize("mod", [None, *MODS])
def test_demo_mods_read_back(amp: str, mod: str | None) -> None:
    fitted = demo(amp, mod) if mod else load_amp(amp)
    if fitted is None:
        assert amp != ("workshop-b" if mod == "feedback-with-presence" else "workshop-a")
        return
    wired = wiring(fitted)
    assert mismatches(wired) == []
    assert not wired.unrealised


@settings(max_examples=60)
@given(st.randoms(use_true_random=False))
def test_random_switches_read_back(rng: random.Random) -> None:
    amp = random_switches(rng)
    if amp is None:
        return
    if len(amp.all_switches) == 1:
        assert mismatches(wiring(amp)) == []
        return
    try:
        assert mismatches(wiring(amp)) == []
    except DescriptionError as error:
        # Two switches may not be separable; one always is.
        refusal = str(error)
    else:
        return
    assert any(words in refusal for words in ("same wire", "both change", "no wiring found"))


@settings(max_examples=40)
@given(st.randoms(use_true_random=False).map(random_switches).filter(bool))
def test_what_is_planned_is_what_is_wired(amp: Amp) -> None:
    """Whoever asks for the plan alone, as the pop does, gets the switch that the list is made for."""
    try:
        wired = wiring(amp).switches
    except DescriptionError:
        with pytest.raises(DescriptionError):
            planned_switches(amp)
        return
    planned = planned_switches(amp)
    assert [(each.kind, each.lever, each.order) for each in planned] == [
        (each.kind, each.lever, each.order) for each in wired
    ]


def test_centre_off() -> None:
    wired = wiring(apply_mods(load_amp("workshop-a"), load_mod("bright-switch")))
    (plan,) = wired.switches
    assert plan.kind == "toggle on-off-on, centre off, 1 pole (SPDT)"
    assert [(row.label, row.stands, row.closed) for row in plan.rows] == [
        ("open", "centre", ()),
        ("120p", "one end", (("A common", "A1"),)),
        ("390p", "other end", (("A common", "A2"),)),
    ]
    assert Wire("S101.A common", "P1.top", "wire") in wired.wires
    assert Wire("C102.1", "S101.A2", "lead of C102") in wired.wires


def test_parts_used_together_share_a_lug() -> None:
    (plan,) = wiring(apply_mods(load_amp("workshop-a"), load_mod("cathode-switch"))).switches
    assert plan.poles == 1


def test_another_value_is_another_part_on_a_change_over_contact() -> None:
    wired = wiring(with_switch({"100k": [], "150k": [Edit("replace", "R3", 150e3)]}))
    (plan,) = wired.switches
    assert plan.kind == "toggle on-on, 1 pole (SPDT)"
    assert [len(row.closed) for row in plan.rows] == [1, 1]
    assert wired.bought == {"R3B": "R3"}
    assert wired.parts["R3B"] == Part("R3B", "resistor", 150e3)
    assert len(wired.unsoldered) == 1
    assert wired.unsoldered[0][0].startswith("R3.")


def test_single_contact_is_on_off() -> None:
    wired = wiring(with_switch({"in": [], "out": [Edit("lift", "C1")]}))
    (plan,) = wired.switches
    assert plan.kind == "toggle on-off, 1 pole (SPST)"
    assert [row.closed for row in plan.rows] == [(("A common", "A1"),), ()]


def test_pull_pot() -> None:
    edit = Edit("fit", "C900", across="R4")
    wired = wiring(with_switch({"in": [], "out": [edit]}, (Part("C900", "capacitor", 1e-6),), "P1"))
    (plan,) = wired.switches
    assert "on the shaft of P1" in plan.kind
    assert wired.values == (("P1", "1M audio 15 %", "1M audio 15 %, with push-pull switch S900 on its shaft"),)
    assert [row.stands for row in plan.rows] == ["pushed in", "pulled out"]
    three = with_switch({"in": [], "a": [edit], "b": [Edit("lift", "C1")]}, (Part("C900", "capacitor", 1e-6),), "P1")
    assert wiring(three).switches[0].kind == ""
    assert "2 positions" in wiring(three).switches[0].reason


def test_three_positions_without_one_open_need_a_rotary() -> None:
    (plan,) = wiring(load_amp("lesson-stage")).switches[1:]
    assert plan.kind == "rotary, 1 pole, 3 ways, shorting"


def test_no_usual_switch_is_said() -> None:
    changes = [Edit("replace", name, 1.5e3) for name in ("R3", "R6", "R10", "R12", "R14")]
    (plan,) = wiring(with_switch({"a": [], "b": changes})).switches
    assert plan.poles == 5
    assert "rotary, 5 poles, 2 ways" in plan.kind
    labels = {f"w{n}": [Edit("replace", "R3", 1e5 + n)] if n else [] for n in range(14)}
    (plan,) = wiring(with_switch(labels)).switches
    assert (plan.kind, plan.reason) == ("", "no usual switch has 1 pole and 14 ways")


@pytest.mark.parametrize("change", [Edit("replace", "V1A", "12AT7"), Edit("lift", "V1A")])
def test_valves_are_not_switched(change: Edit) -> None:
    mod = parse_mod({"name": "n", "reason": "r", "edits": [{"replace": "V1A", "with": "12AT7"}]}, "n.toml")
    amp = load_amp("workshop-a")
    switch = Switch("S900", "tried", (("a", ()), ("b", (change,))), "a")
    fitted = replace(amp, switches=(switch,), valves=(*amp.valves, *mod.valves))
    with pytest.raises(DescriptionError, match=r"V1A"):
        wiring(fitted)


def test_two_switches_on_one_part_are_refused() -> None:
    amp = load_amp("workshop-a")
    ways = (("a", ()), ("b", (Edit("lift", "R4"),)))
    other = (("a", ()), ("b", (Edit("replace", "R4", 1e3),)))
    both = replace(amp, switches=(Switch("S1", "one", ways, "a"), Switch("S2", "two", other, "a")))
    with pytest.raises(DescriptionError, match="S1 and S2 both change R4"):
        wiring(both)


def wrongly(wired: Wiring, fault: int) -> Wiring:
    """The list with one fault in it."""
    wires = list(wired.wires)
    if fault == 0:
        return replace(wired, wires=tuple(wires[1:]))
    if fault == 1:
        first, second, *rest = wires
        return replace(wired, wires=(replace(first, end=second.end), replace(second, end=first.end), *rest))
    (plan,) = wired.switches
    rows = tuple(replace(row, closed=other.closed) for row, other in zip(plan.rows, plan.rows[::-1], strict=True))
    return replace(wired, switches=(replace(plan, rows=rows),))


def test_what_is_bridged_stays_and_gets_a_wire_from_end_to_end() -> None:
    """One circuit, one paper: a bridge is a wire, however the file says it, behind a generator too."""
    drawn, driven = load_amp("workshop-a"), from_a_generator()
    for amp, part in ((drawn, "C1"), (drawn, "R8"), (drawn, "R2"), (driven, "C1")):
        for bridged in (part, [f"{part}.1", f"{part}.2"]):
            found = wiring(apply_mods(amp, parse_mod({"name": "n", "reason": "r", "edits": [{"bridge": bridged}]})))
            assert found.wires == (Wire(f"{part}.1", f"{part}.2", "wire"),)
            assert (found.taken_out, found.unsoldered) == ((), ())


def from_a_generator() -> Amp:
    """One stage behind a capacitor, drawn with the generator that drives it."""
    values = {"R901": "600", "C1": "100n", "R1": "1M", "V1A": "12AX7", "R3": "100k", "R4": "1k5", "C2": "22n",
              "R5": "1M"}  # fmt: skip
    stages: list[dict[str, object]] = [
        {"name": "source", "template": "generator", "resistance": "R901"},
        {"name": "first", "template": "coupling", "capacitor": "C1", "shunt_resistor": "R1"},
        {"name": "stage", "template": "triode stage", "valve": "V1A", "supply": "B1", "plate_load": "R3",
         "cathode_resistor": "R4"},
        {"name": "next", "template": "coupling", "capacitor": "C2", "shunt_resistor": "R5"},
    ]  # fmt: skip
    return parse_amp({"name": "driven", "parts": values, "rails": [{"name": "B1", "volts": 300}], "stages": stages})


@pytest.mark.parametrize("edits", [[{"fit": "R160", "in_series_at": "C1.1"}],
                                   [{"lift": "C1"}, {"fit": "R160", "between": ["C1.1", "V1A.grid"]}]])  # fmt: skip
def test_nothing_is_soldered_inside_what_is_plugged_in(edits: list[dict[str, object]]) -> None:
    mod = parse_mod({"name": "n", "reason": "r", "parts": {"R160": "68k"}, "edits": edits})
    places = [place for wire in wiring(apply_mods(from_a_generator(), mod)).wires for place in (wire.start, wire.end)]
    assert "input jack" in places
    assert not any(place.startswith("R901") for place in places)


def test_the_track_of_a_bridged_pot_stays_on_its_wiper() -> None:
    amp = load_amp("workshop-a")
    one, other = (apply_mods(amp, parse_mod({"name": "n", "reason": "r", "edits": [{"bridge": bridged}]}))
                  for bridged in ("P1", ["P1.top", "P1.bottom"]))  # fmt: skip
    assert build_circuit(one).elements == build_circuit(other).elements


@pytest.mark.parametrize("fault", range(3))
def test_a_fault_in_the_list_or_table_is_found(fault: int) -> None:
    wired = wiring(with_switch({"100k": [], "150k": [Edit("replace", "R3", 150e3)]}))
    assert mismatches(wrongly(wired, fault))


def test_the_same_contacts_as_a_moving_switch() -> None:
    # What the pop is worked out with and what is soldered are the same contacts.
    for positions in (
        {"a": [], "b": [Edit("replace", "R3", 150e3)]},
        {"a": [], "b": [Edit("bridge", "R2")]},
        {"a": [], "b": [Edit("lift", "C1")]},
        {"a": [], "b": [Edit("fit", "R900", in_series="R9.1"), Edit("replace", "R11", 2e3)]},
        {"a": [], "b": [Edit("fit", "R900", across="R4"), Edit("fit", "C900", across="R4")]},
    ):
        brought = (Part("R900", "resistor", 1e5), Part("C900", "capacitor", 1e-6))
        amp = with_switch(positions, tuple(each for each in brought if each.designator in str(positions)))
        contacts = moving(amp, (), "tried", "b").contacts.values()
        joints = find_pieces(amp).joints
        ours = sorted("before" if "a" in joint.labels else "after" for joint in joints)
        assert ours == sorted(contact.closed for contact in contacts)
    # On one lug with it, the resistor bleeds the capacitor.
    assert moving(amp, (), "tried", "b").held == ()


def test_parts_on_one_net_are_left_out() -> None:
    wired = list_wiring(apply_mods(load_amp("workshop-a"), load_mod("bright-switch")))
    names = {each.designator for each in read_back(wired, (("bright", "120p"),)).elements}
    assert "C101" in names
    assert "C102" not in names


@pytest.mark.parametrize("name", ["bright-switch", "cathode-switch"])
def test_the_parts_list_asks_for_the_switch_that_is_wired(name: str) -> None:
    modded = apply_mods(load_amp("workshop-a"), load_mod(name))
    (planned,) = wiring(modded).switches
    (switch,) = modded.all_switches
    need = switch_need(modded, switch)
    assert (need.kind, need.poles) == (planned.kind, planned.poles)


def test_an_amps_own_switches_are_those_that_are_wired() -> None:
    amp = load_amp("lesson-stage")
    needs = [switch_need(amp, switch) for switch in amp.all_switches]
    planned = [(each.kind, each.poles, each.throws) for each in wiring(amp).switches]
    assert [(need.kind, need.poles, need.throws) for need in needs] == planned
    assert [(need.control, need.poles, need.throws) for need in needs] == [("bypass", 1, 4), ("cathode resistor", 1, 3)]


def test_a_switch_of_the_drawing_that_is_left_nothing_to_do_stays_as_it_is_wired(tmp_path: Path) -> None:
    """A valve is pulled whose cathode it breaks for half power: nothing at that switch comes off or is soldered."""
    own = """
[[switches]]
designator = "S9"
control = "power"
drawn = "full"
positions = { full = [], half = [{ cut = ["V5.cathode", "ground"] }] }
"""
    file = tmp_path / "half.toml"
    file.write_text((models() / "amps" / "boathouse.toml").read_text("utf-8") + own, "utf-8")
    mod = parse_mod({"name": "n", "reason": "r", "edits": [{"lift": "V5"}]})
    found = wiring(apply_mods(load_amp(file), mod))
    assert found.taken_out == ("V5",)
    assert found.unsoldered == ()
    assert found.wires == ()
