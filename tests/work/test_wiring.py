"""Wiring: the list and the tables read back give what the description says; the smallest usual switch is chosen."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.text import Text

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp, Edit, Mod, Part, Switch
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import every_setting
from ampsim.circuit.switches.moving import moving
from ampsim.circuit.switches.planning import planned_switches
from ampsim.circuit.switches.wire_pieces import find_pieces
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_mod, parse_mod
from ampsim.pictures.canvas import Picture
from ampsim.pictures.export import svg
from ampsim.work.parts_list.switch_need import switch_need
from ampsim.work.schematic.draw import schematic, schematics
from ampsim.work.schematic.fragment import Fragment, fragments
from ampsim.work.schematic.geometry import Box, Sheet, Symbol, Word
from ampsim.work.schematic.layout import lay_out, lay_out_pages
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


def drawn_faults(fragment: Fragment) -> list[str]:
    """What the drawing has otherwise than the fragment: parts missing or twice, nets torn or joined, symbols piled."""
    sheet = lay_out(fragment)
    found, names = [], [symbol.item.name for symbol in sheet.symbols]
    if sorted(names) != sorted(item.name for item in fragment.items):
        found.append(f"parts {names}")
    nets = sheet.netlist()
    pairs = {(net, nets[item.name][pin]) for item in fragment.items for pin, net in item.pins}
    if len({net for net, _ in pairs}) != len(pairs) or len({net for _, net in pairs}) != len(pairs):
        found.append(f"nets {sorted(pairs)}")
    words = {(net, word.kind, word.text) for word in sheet.words for net in _nets_at(word, sheet, nets, fragment)}
    for net, kind, text in words:
        wanted = {"ground": "ground", "rail": fragment.rails.get(net), "flag": fragment.flags.get(net, text)}[kind]
        if text != wanted or (kind == "ground") != (net == fragment.ground):
            found.append(f"word {text} at {net}")
    middles = [_middle(symbol) for symbol in sheet.symbols]
    if len(set(middles)) != len(middles):
        found.append("two parts in one spot")
    return found


def _nets_at(word: Word, sheet: Sheet, nets: dict[str, dict[str, str]], fragment: Fragment) -> set[str]:
    ends = {f"{word.kind} {word.text}", str(word.at)}
    return {net for item in fragment.items for pin, net in item.pins if nets[item.name][pin] in ends}


def _middle(symbol: Symbol) -> tuple[float, float]:
    xs, ys = [x for x, _ in symbol.ends.values()], [y for _, y in symbol.ends.values()]
    return (round(min(xs) + max(xs), 2), round(min(ys) + max(ys), 2))


def crowded(sheet: Sheet) -> list[str]:
    """Texts that meet another text, a wire or the body of a part."""
    texts = [(" ".join(text.lines), _grown(text.box, -0.01)) for text in sheet.texts]
    found = [f"{one} on {other}" for (one, a), (other, b) in combinations(texts, 2) if _meet(a, b)]
    things = [(symbol.item.name, symbol.box) for symbol in sheet.symbols if symbol.look != "box"]
    things += [("a wire", (min(x, u), min(y, v), max(x, u), max(y, v))) for (x, y), (u, v) in sheet.wires]
    return found + [f"{text} on {name}" for text, a in texts for name, b in things if _meet(a, b)]


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _grown(box: Box, by: float) -> Box:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def squeezed(picture: Picture) -> list[str]:
    """Texts of a picture as they are drawn that overlap, or that leave the canvas."""
    boxes = [(text.get_text(), text.get_window_extent()) for text in picture.findobj(Text) if text.get_text()]
    shapes = [(words, (box.x0 + 0.5, box.y0 + 0.5, box.x1 - 0.5, box.y1 - 0.5)) for words, box in boxes]
    width, height = 100 * picture.width, 100 * picture.height
    found = [words for words, box in shapes if box[0] < 0 or box[1] < 0 or box[2] > width or box[3] > height]
    return found + [f"{one} on {other}" for (one, a), (other, b) in combinations(shapes, 2) if _meet(a, b)]


@pytest.mark.parametrize("amp", AMPS)
@pytest.mark.parametrize("mod", [None, *MODS])
def test_schematic_of_demo_mods(amp: str, mod: str | None) -> None:
    fitted = demo(amp, mod) if mod else load_amp(amp)
    if fitted is None or (mod is None and not fitted.switches):
        return
    before, after = fragments(fitted)
    for fragment in (before, after):
        assert drawn_faults(fragment) == []
        assert crowded(lay_out(fragment)) == []
    assert squeezed(schematic(fitted)) == []
    if mod:
        brought = {part.designator for part in load_mod(mod).parts}
        assert brought <= {item.name for item in after.items if item.mark == "new"}


@settings(max_examples=40)
@given(st.randoms(use_true_random=False).map(random_switches).filter(bool))
def test_schematic_of_random_switches(amp: Amp) -> None:
    try:
        pair = fragments(amp)
    except DescriptionError:
        assert len(amp.all_switches) > 1
        return
    assert [drawn_faults(each) for each in pair] == [[], []]
    assert [crowded(lay_out(each)) for each in pair] == [[], []]


def test_a_torn_wire_is_found() -> None:
    _, after = fragments(apply_mods(load_amp("workshop-a"), load_mod("cathode-switch")))
    sheet = lay_out(after)
    whole = len({net for pins in sheet.netlist().values() for net in pins.values()})
    torn = 0
    for k in range(len(sheet.wires)):
        less = Sheet(sheet.symbols, sheet.wires[:k] + sheet.wires[k + 1 :], sheet.words)
        torn += len({net for pins in less.netlist().values() for net in pins.values()}) > whole
    # Every wire but those to a word with nothing else behind it.
    assert torn >= len(sheet.wires) - len(sheet.words)


def test_tall_drawings_go_on_sheets() -> None:
    mods = [load_mod(name) for name in ("bright-switch", "cathode-switch", "depth")]
    amp = apply_mods(load_amp("workshop-a"), *mods)
    drawn = schematics(amp)
    modded = [f"The touched stages: modded, sheet {n} of 2" for n in (1, 2)]
    assert list(drawn) == ["The touched stages: stock", *modded]
    assert [squeezed(each) for each in drawn.values()] == [[], [], []]
    assert max(each.height for each in drawn.values()) <= 8.0 < schematic(amp).height
    # Every part of the fragment is on one of its sheets.
    sheets = lay_out_pages(fragments(amp)[1], 20.0)
    names = [symbol.item.name for sheet in sheets for symbol in sheet.symbols]
    assert sorted(names) == sorted(item.name for item in fragments(amp)[1].items)


def test_picture_says_what_it_shows() -> None:
    picture = schematic(apply_mods(load_amp("workshop-a"), load_mod("bright-switch")))
    assert "C101 120p (new) between" in picture.alternative
    assert "P1 1M audio 15 %, top to C2/S101 A1/S101 A2, wiper to C101/C102/R5.1" in picture.alternative
    assert "S101 A2 at 390p (new), open as drawn, between" in picture.alternative


def test_names_are_escaped_in_svg() -> None:
    hostile = "<script>alert(1)</script>" + 40 * " longer"
    amp = load_amp("workshop-a")
    switch = Switch("S900", "tried", ((hostile, ()), ("b", (Edit("lift", "C1"),))), "b")
    picture = schematic(apply_mods(amp, Mod(hostile, "a test", (), (), (switch,))))
    assert squeezed(picture) == []
    text = svg(picture)
    assert "<script" not in text
    assert "&lt;script" in text
