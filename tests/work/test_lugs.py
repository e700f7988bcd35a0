"""The from-to list of any mod on any amp: read back from print it is the circuit, and its lugs are those meant."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp, Edit, Pot
from ampsim.circuit.build import SPEAKER, build_circuit
from ampsim.circuit.dc_paths import unpowered_amp
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.plugging import plug_in
from ampsim.circuit.positions import every_setting, switches_at
from ampsim.circuit.source import Source, SourceKind
from ampsim.circuit.stages.template import GROUND
from ampsim.circuit.switches.planning import planned_switches
from ampsim.job.papers.wiring import wiring_text
from ampsim.library.loader import load_amp, parse_mod
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.netlist import write
from ampsim.simulation.unpowered import DeadAmp
from ampsim.work.parts_list.switch_need import switch_need
from ampsim.work.steps.cold_readings import knobs_down
from ampsim.work.steps.soldering import iron_steps
from ampsim.work.wiring.from_to import Wiring
from ampsim.work.wiring.readback import read_back, wiring
from tests.tools.any_amps import amps
from tests.tools.any_mods import KINDS, MadeMod, mods_for, single_mods
from tests.tools.any_switches import SWITCH_KINDS, switch_mod
from tests.tools.equal_forms import equal_mods
from tests.tools.read_wiring import PrintedList, printed_faults, printed_list

COUNT = 8 * len(KINDS)  # every kind eight times or so, each on another amp
MADE = list(single_mods(COUNT))


@cache
def printed(mod: MadeMod) -> PrintedList:
    """The list of a mod, read from print."""
    return printed_list(mod.modded)


def part_of(place: str) -> str:
    """The part of a place."""
    return place.partition(".")[0]


def edits_of(mod: MadeMod) -> tuple[Edit, ...]:
    """Every edit of a mod."""
    return mod.mod.every_edit()


def read_faults(mod: MadeMod) -> list[str]:
    """What the printed list of a mod makes otherwise than the description."""
    return [f"{mod}, {each}" for each in printed_faults(mod.amp.amp, mod.modded)]


@pytest.mark.parametrize("turn", range(8))
def test_what_is_printed_is_what_was_described(turn: int) -> None:
    assert [fault for mod in MADE[turn::8] for fault in read_faults(mod)] == []


@pytest.mark.parametrize("turn", range(4))
def test_a_mod_written_otherwise_is_the_same_circuit(turn: int) -> None:
    forms = [form for mod in MADE[turn:160:4] for _, form in equal_mods(mod)]
    assert len(forms) > 30
    assert [fault for form in forms for fault in read_faults(form)] == []


def named_lugs(mod: MadeMod, gone: set[str]) -> Iterator[str]:
    """The lugs that the edits of a mod name, of parts that are there after the work."""
    elements = {each.designator: each for each in build_circuit(mod.modded).elements}
    for edit in edits_of(mod):
        if edit.action == "fit" and edit.across in elements:
            yield from (f"{edit.across}.{pin}" for pin in elements[edit.across].end_pins)
        places = (edit.in_series, *(edit.between or ()), *(place for _, place in edit.pins))
        yield from (place for place in places if "." in place and part_of(place) not in gone)


def test_every_lug_that_a_mod_names_is_in_its_list() -> None:
    missing = []
    for mod in MADE:
        found = printed(mod)
        ends = {end for wire in found.wires for end in wire}
        missing += [f"{mod}: {lug} not in {sorted(ends)}" for lug in named_lugs(mod, set(found.out)) if lug not in ends]
    assert missing == []


def stages_named(mod: MadeMod) -> set[str]:
    """The stages of the parts that a mod names; a rail is of the supply."""
    stage_of = {each.designator: each.stage for each in build_circuit(mod.amp.amp).elements}
    stage_of |= {rail.name: "supply" for rail in mod.amp.amp.rails}
    return {stage_of[part] for part in parts_named(mod) if part in stage_of}


def parts_named(mod: MadeMod) -> set[str]:
    """The parts that a mod names, and rails."""
    edits = edits_of(mod)
    places = [each for edit in edits for each in (edit.in_series, *(edit.between or ()), *dict(edit.pins).values())]
    return {name for edit in edits for name in (edit.part, edit.across)} | {part_of(place) for place in places}


def beside(mod: MadeMod, part: str) -> bool:
    """Whether a part is on one piece of wire, not ground nor a rail, with one that the mod names."""
    circuit = build_circuit(mod.amp.amp)
    common = {GROUND, *(f"rail_{rail.name.lower()}" for rail in mod.amp.amp.rails)}
    nets = [{part_of(each) for each in places} for net, places in circuit.places_by_net.items() if net not in common]
    return any(part in parts and parts & parts_named(mod) for parts in nets)


def test_ground_is_that_of_the_stage() -> None:
    wrong, seen = [], 0
    for mod in MADE:
        circuit, found, stages = build_circuit(mod.amp.amp), printed(mod), stages_named(mod)
        stage_of = {each.designator: each.stage for each in circuit.elements}
        grounds = [place for place in circuit.places_by_net[GROUND] if part_of(place) not in found.out]
        # A lug that comes off ground is none any more; the bus only where the stages that the mod names have no other.
        left = [place for place in grounds if place not in found.off]
        own = [place for place in left if stage_of.get(part_of(place)) in stages]
        own = own or [place for place in left if beside(mod, part_of(place))]
        for lug in (end for wire in found.wires for end in wire if end in grounds):
            seen += 1
            if lug not in own and (own or lug != "ground") and lug not in found.off:
                wrong.append(f"{mod}: {lug}, not one of {own}")
    assert wrong == []
    assert seen > COUNT // 8


def test_a_variable_resistor_has_a_strap_and_two_wires() -> None:
    pots = 0
    for mod in MADE:
        found = printed(mod)
        new = {part.designator for part in mod.mod.parts if isinstance(part, Pot)}
        fitted = [edit.part for edit in edits_of(mod) if edit.part in new and not edit.pins]
        for pot in fitted:
            pots += 1
            (strap,) = [pair for pair in found.straps if part_of(pair[0]) == pot]
            assert {part_of(end) for end in strap} == {pot}
            free = next(end for end in strap if not end.endswith("wiper"))
            # Nothing but what a mod names goes to the strapped end.
            others = [pair for pair in found.wires if free in pair and pair not in found.straps]
            named = {place for edit in edits_of(mod) for place in (edit.between or ())}
            assert not others or free in named
    assert pots > 10


def one(amp: Amp, **tables: object) -> list[tuple[str, str]]:
    """The from-to list of one mod on an amp."""
    mod = parse_mod({"name": "n", "reason": "r", **tables}, "n.toml")
    found: Wiring = wiring(apply_mods(amp, mod))
    return [(wire.start, wire.end) for wire in found.wires]


@pytest.mark.parametrize("name", SWITCH_KINDS)
def test_the_switch_that_is_asked_for_is_wired_and_bought(name: str) -> None:
    """Every kind of switch of the trade, on many amps: planned as that kind, read back as the circuit."""
    mods = [mod for made in amps(24, 7) if (mod := switch_mod(name, made)) is not None]
    assert len(mods) > 5
    assert [fault for mod in mods for fault in read_faults(mod)] == []
    for mod in mods:
        (switch,) = mod.mod.switches
        (plan,) = planned_switches(mod.modded)
        assert plan.action is switch.kind.action, (mod, plan.reason)
        assert switch_need(mod.modded, switch).kind == plan.kind
        assert sorted(plan.lever) == sorted(switch.labels)


def test_terminals_of_one_switch_are_linked_there() -> None:
    """One wire leads from a switch to a place, however many of its terminals are on it."""
    for mod in MADE:
        starts: dict[tuple[str, str], int] = {}
        for start, end in printed(mod).wires:
            for terminal, other in ((start, end), (end, start)):
                if " " in terminal or part_of(terminal).startswith("S"):
                    starts[part_of(terminal), other] = starts.get((part_of(terminal), other), 0) + 1
        assert max(starts.values(), default=1) == 1, mod


def test_the_speaker_is_its_own_lug() -> None:
    wires = one(load_amp("workshop-a"), parts={"R801": "10"}, edits=[{"fit": "R801", "between": ["speaker", "ground"]}])
    assert wires == [("R801.1", "LS1.1"), ("R801.2", "LS1.2")]


def test_a_variable_resistor_by_its_pins_is_wired_as_one_between_two_places() -> None:
    parts = {"P801": {"track": "100k", "taper": "linear", "control": "trim", "rotation": 0.5}}
    amp = load_amp("workshop-a")
    between = one(amp, parts=parts, edits=[{"fit": "P801", "between": ["R20.1", "R21.1"], "wired": "falling"}])
    pins = {"top": "R20.1", "wiper": "R21.1", "bottom": "R21.1"}
    assert sorted(one(amp, parts=parts, edits=[{"fit": "P801", "pins": pins}])) == sorted(between)
    assert sorted(between) == [("P801.top", "R20.1"), ("P801.wiper", "P801.bottom"), ("P801.wiper", "R21.1")]


def test_several_mods_at_once_read_back() -> None:
    """The lists of two mods on one amp, wherever they can be fitted together."""
    tried = 0
    wrong = []
    for made in amps(12, 5):
        mods = list(mods_for(made, 5))
        for first, second in zip(mods, mods[7:], strict=False):
            try:
                both = apply_mods(made.amp, first.mod, second.mod)
                for setting in every_setting(both):
                    build_circuit(both, setting)
            except DescriptionError:
                continue
            tried += 1
            wrong += [f"{first}, {second.kind}: {each}" for each in printed_faults(made.amp, both)]
    assert wrong == []
    assert tried > 40


def read_at(amp: Amp, wired: Wiring, stands: dict[str, float | str], what: str) -> float:
    """What a meter reads between the two lugs of "R7B.1 to ground", with the amp soldered by its list [ohm]."""
    circuit = read_back(wired, switches_at(amp, stands))
    values = write(circuit, amp.setting(stands), OperatingPoint(), (SPEAKER,)).value_by_part
    place, _, against = what.partition(" to ")
    return DeadAmp(circuit, tuple(unpowered_amp(circuit, values))).ohms(place, against)


@pytest.mark.parametrize("name", SWITCH_KINDS)
def test_the_steps_at_a_switch_say_what_a_meter_reads_at_the_lugs(name: str) -> None:
    """Held to the lugs that the steps name, a meter reads what they say, in every position."""
    wrong, read = [], 0
    for mod in [mod for made in amps(10, 3) if (mod := switch_mod(name, made)) is not None][:4]:
        amp = plug_in(mod.modded, Source(SourceKind.NOTHING)) if mod.modded.jacks else mod.modded
        wired = wiring(amp)
        for step in iron_steps(mod.amp.amp, mod.modded):
            found = re.match(r"Set by lot to (.*) and read, cold", step.do)
            for check in step.checks if found else ():
                stands = knobs_down(amp) | {"by lot": found[1]}
                value = read_at(amp, wired, stands, check.what)
                read += 1
                if value != pytest.approx(check.value, rel=1e-3, abs=0.02):
                    wrong.append(f"{mod} at {found[1]}: {check.words}, a meter reads {value}")
    assert wrong == []
    assert read > 3


def test_a_table_of_contacts_too_wide_for_a_line_reads_back() -> None:
    values = {name: f"{2 * n}k" for n, name in enumerate(("R3", "R4", "R6", "R7", "R10", "R11", "R13"), 1)}
    ways = {"a": [], "b": [{"replace": name, "with": value} for name, value in values.items()]}
    switch = {"designator": "S801", "control": "all at once", "positions": ways}
    stock = load_amp("workshop-a")
    modded = apply_mods(stock, parse_mod({"name": "n", "reason": "r", "switches": [switch]}, "n.toml"))
    assert max(map(len, wiring_text(wiring(modded)).splitlines())) <= 100
    assert list(printed_faults(stock, modded)) == []


def test_a_lug_that_hangs_on_an_open_contact_is_not_read_for_the_wire_it_was_on() -> None:
    """A capacitor off its wire reads open, whatever the wire reads: the meter goes to another lug of that wire."""
    stock = load_amp("workshop-a")
    ways = {"drawn": [], "off": [{"lift": "C1"}], "1u": [{"lift": "C1"}, {"fit": "C801", "across": "R4"}]}
    switch = {"designator": "S801", "control": "fat", "drawn": "drawn", "positions": ways}
    modded = apply_mods(stock, parse_mod({"name": "n", "reason": "r", "parts": {"C801": "1u"}, "switches": [switch]}))
    read = {step.do: step.checks for step in iron_steps(stock, modded) if step.do.startswith("Set fat to ")}
    for label in ways:
        checks = read[f"Set fat to {label} and read, cold."]
        assert checks
        for check in checks:
            stands = knobs_down(modded) | {"fat": label}
            assert read_at(modded, wiring(modded), stands, check.what) == pytest.approx(check.value, rel=1e-3), check


def test_a_rail_is_never_told_as_a_terminal_of_a_switch() -> None:
    """Rails go by B1 and B2 in most amps, and so do the terminals of a second pole: they must not be confused."""
    moves = [{"move": f"{name}.1", "to": "B1"} for name in ("R25", "R26")]
    ways = {"on the taps": [], "on the supply": moves}
    switch = {"designator": "S801", "control": "screens", "type": "DPDT on-on", "positions": ways}
    modded = apply_mods(load_amp("boathouse"), parse_mod({"name": "n", "reason": "r", "switches": [switch]}))
    wires = {frozenset((wire.start, wire.end)) for wire in wiring(modded).wires}
    assert any("B1" in wire for wire in wires)
    told = [each for line in switch_need(modded, modded.mods[0].switches[0]).contacts if line.startswith("pole")
            for each in line.partition(": ")[2].split(", ")]  # fmt: skip
    for terminal, _, ends in (each.partition(" to ") for each in told):
        for end in ends.split(" and "):
            own = f"S801.{end}" if end in ("A common", "A1", "A2", "B common", "B1", "B2") else end
            assert frozenset((f"S801.{terminal}", own.removeprefix("rail "))) in wires
