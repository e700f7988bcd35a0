"""Switches: their names in the trade, the contacts of each kind, and what its lever passes between two positions."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp, Edit, Mod, Part, Switch
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.switches.kinds import ANY_SWITCH, Action, ContactOrder, SwitchKind, parse_switch_kind
from ampsim.circuit.switches.planning import lever_steps, lever_way, planned_switches
from ampsim.library.loader import load_amp, load_mod, parse_mod
from ampsim.work.wiring.readback import mismatches, wiring

BREAK, MAKE = ContactOrder.BREAK_FIRST, ContactOrder.MAKE_FIRST


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("on-off", SwitchKind(Action.ON_OFF, BREAK, 0, 2)),
        ("SPST toggle", SwitchKind(Action.ON_OFF, BREAK, 1, 2)),
        ("ON / ON", SwitchKind(Action.ON_ON, BREAK, 0, 2)),
        ("DPDT", SwitchKind(Action.ON_ON, BREAK, 2, 2)),
        ("change-over, 2 poles", SwitchKind(Action.ON_ON, BREAK, 2, 2)),
        ("on – off – on", SwitchKind(Action.ON_OFF_ON, BREAK, 0, 3)),
        ("SPDT centre off", SwitchKind(Action.ON_OFF_ON, BREAK, 1, 3)),
        ("center-off mini toggle", SwitchKind(Action.ON_OFF_ON, BREAK, 0, 3)),
        ("DPDT on on on", SwitchKind(Action.ON_ON_ON, BREAK, 2, 3)),
        ("push-pull pot", SwitchKind(Action.PUSH_PULL, BREAK, 0, 2)),
        ("rotary", SwitchKind(Action.ROTARY)),
        ("rotary switch, 4 way, 2 pole, shorting", SwitchKind(Action.ROTARY, MAKE, 2, 4)),
        ("2-pole 6-way rotary (break before make)", SwitchKind(Action.ROTARY, BREAK, 2, 6)),
        ("four-way", SwitchKind(Action.LEVER, MAKE, 0, 4)),
        ("5-way lever", SwitchKind(Action.LEVER, MAKE, 0, 5)),
        ("11 positions", SwitchKind(Action.ROTARY, ContactOrder.EITHER, 0, 11)),
        ("three-way", SwitchKind(ways=3)),
        ("SP3T", SwitchKind(poles=1, ways=3)),
    ],
)
def test_names_of_the_trade(text: str, kind: SwitchKind) -> None:
    assert parse_switch_kind(text) == kind


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("on-of-on", "on-off-on"),
        ("(on)-off-(on)", "springs back"),
        ("momentary", "springs back"),
        ("on-on rotary", "two different things"),
        ("SPDT 2 poles", "two different things"),
        ("on-off-on, 2 positions", "has 3 positions"),
        ("on-on, make before break", "is break before make"),
        ("", "no kind of switch"),
        ("a very odd thing", "no kind of switch"),
    ],
)
def test_names_that_are_none_are_refused(text: str, words: str) -> None:
    with pytest.raises(DescriptionError, match=words):
        parse_switch_kind(text)


def with_kind(
    kind: SwitchKind, positions: dict[str, list[Edit]], *parts: Part, shaft: str = "", drawn: str = ""
) -> Amp:
    """Workshop amp A with one switch of a kind."""
    sorted_in = tuple((label, tuple(edits)) for label, edits in positions.items())
    switch = Switch("S900", "tried", sorted_in, next(iter(positions)), "", kind)
    return apply_mods(load_amp("workshop-a"), Mod("tried", "a test", parts, (), (switch,)))


def valued(ohms: float) -> list[Edit]:
    """R4 of another value."""
    return [Edit("replace", "R4", ohms)]


THREE = {"a": valued(1e3), "b": valued(2e3), "c": valued(3e3)}


def test_the_contact_table_of_on_on_on() -> None:
    amp = with_kind(parse_switch_kind("on-on-on"), THREE)
    (plan,) = planned_switches(amp)
    assert plan.kind == "toggle on-on-on, 2 poles (DPDT)"
    # The usual table: in the middle pole A has moved, pole B has not; a wire between two terminals makes it three ways.
    assert [(row.stands, row.closed) for row in plan.rows] == [
        ("one end", (("A common", "A1"),)),
        ("centre", (("A common", "A2"), ("B common", "B1"))),
        ("other end", (("A common", "A2"), ("B common", "B2"))),
    ]
    assert plan.soldered["A2"] is plan.soldered["B common"]
    assert mismatches(wiring(amp)) == []


def test_on_on_on_with_two_poles_of_two_throws_needs_no_jumper() -> None:
    capacitors = [Part(f"C80{n}", "capacitor", 1e-6) for n in range(2)]
    first, second = (
        Edit("fit", part.designator, across=place) for part, place in zip(capacitors, ("R4", "R7"), strict=True)
    )
    amp = with_kind(parse_switch_kind("on-on-on"), {"a": [], "b": [first], "c": [first, second]}, *capacitors)
    (plan,) = planned_switches(amp)
    assert [row.closed for row in plan.rows] == [
        (),
        (("A common", "A2"),),
        (("A common", "A2"), ("B common", "B2")),
    ]
    assert mismatches(wiring(amp)) == []


def test_what_was_asked_for_is_refused_where_it_cannot_do_it() -> None:
    def reason(text: str, positions: dict[str, list[Edit]]) -> str:
        (plan,) = planned_switches(with_kind(parse_switch_kind(text), positions))
        return "" if plan.kind else plan.reason

    assert "centre" in reason("on-off-on", THREE)
    assert "closes in one position only" in reason("on-off", {"a": valued(1e3), "b": valued(2e3)})
    assert "has 2 positions" in reason("on-on", THREE)
    two = {"a": [Edit("replace", "R4", 1e3), Edit("replace", "R7", 1e3)], "b": []}
    assert "1 pole was asked for" in reason("SPDT", two)
    assert reason("DPDT", two) == ""
    assert reason("rotary", THREE) == ""


def test_what_is_asked_for_is_what_is_planned() -> None:
    two = {"a": [], "b": valued(1e3)}
    for text, positions, words in (
        ("DPDT", two, "toggle on-on, 2 poles (DPDT)"),
        ("rotary", two, "rotary, 1 pole, 2 ways, shorting"),
        ("rotary, non-shorting", two, "rotary, 1 pole, 2 ways, non-shorting"),
        ("DPST", {"a": [], "b": [Edit("bridge", "R4")]}, "toggle on-off, 2 poles (DPST)"),
        ("four-way", THREE | {"d": valued(4e3)}, "lever switch, 1 pole, 4 ways, shorting"),
    ):
        (plan,) = planned_switches(with_kind(parse_switch_kind(text), positions))
        assert plan.kind == words


def test_a_centre_off_switch_passes_its_middle() -> None:
    amp = apply_mods(load_amp("workshop-a"), load_mod("bright-switch"))
    way = lever_way(amp, "bright", "120p", "390p")
    assert (way.passes, way.order) == (("open",), BREAK)
    assert way.steps == (("120p", "open"), ("open", "390p"))
    assert lever_way(amp, "bright", "open", "390p").passes == ()
    assert [each.steps[0] for each in lever_steps(amp, "bright")] == [
        ("120p", "open"), ("open", "390p"), ("open", "120p"), ("390p", "open"),
    ]  # fmt: skip


def test_a_rotary_switch_passes_every_position_between() -> None:
    positions = {"a": [], **{f"{n}": valued(1e3 * n) for n in range(1, 5)}}
    for text, order in (("rotary, shorting", MAKE), ("rotary, non-shorting", BREAK), ("rotary", MAKE)):
        amp = with_kind(parse_switch_kind(text), positions)
        way = lever_way(amp, "tried", "4", "a")
        assert (way.passes, way.order) == (("3", "2", "1"), order)
    # Without a cathode to hang free either will do, and nothing is said for either.
    bright = Part("C800", "capacitor", 1e-10)
    fitted = {"a": [], "b": [Edit("fit", "C800", between=("P1.top", "P1.wiper"))]}
    assert (
        lever_way(with_kind(SwitchKind(Action.ROTARY), fitted, bright), "tried", "a", "b").order is ContactOrder.EITHER
    )


def test_a_lever_that_nobody_can_plan_goes_as_described() -> None:
    ways = (("a", ()), ("b", (Edit("lift", "R4"),)), ("c", valued(2e3)))
    both = tuple(Switch(f"S{n}", f"{n}", tuple((label, tuple(each)) for label, each in ways), "a") for n in (1, 2))
    amp = replace(load_amp("workshop-a"), switches=both)
    way = lever_way(amp, "1", "a", "c")
    assert (way.passes, way.order) == (("b",), ContactOrder.EITHER)


def test_a_lever_that_stays_or_is_not_there_is_refused() -> None:
    amp = apply_mods(load_amp("workshop-a"), load_mod("bright-switch"))
    for control, start, end, words in (
        ("brigt", "open", "120p", "bright"),
        ("bright", "opn", "120p", "open"),
        ("bright", "open", "open", "nothing moves"),
    ):
        with pytest.raises(DescriptionError, match=words):
            lever_way(amp, control, start, end)


KINDS = [
    ANY_SWITCH,
    *map(parse_switch_kind, ("on-off", "on-on", "on-off-on", "on-on-on", "4PDT on-on-on", "rotary", "shorting rotary")),
    parse_switch_kind("five-way"),
]
PLACES = (("R4.1", "ground"), ("P1.top", "P1.wiper"), ("R7.1", "ground"), ("V2A.plate", "B3"), ("C3.2", "ground"))


@settings(max_examples=80)
@given(
    st.sampled_from(KINDS),
    st.lists(st.sets(st.integers(0, 5), max_size=3), min_size=2, max_size=5, unique_by=frozenset),
)
def test_every_kind_does_what_the_positions_say(kind: SwitchKind, chosen: list[set[int]]) -> None:
    """Any set of parts in any position: the switch planned makes the circuit of each, or says why it cannot."""
    parts = [Part(f"R80{n}", "resistor", 1e4 * (n + 1)) for n in range(6)]
    where = [PLACES[n % len(PLACES)] for n in range(6)]
    positions = {
        f"way {k}": [Edit("fit", parts[n].designator, between=where[n]) for n in sorted(each)]
        for k, each in enumerate(chosen)
    }
    used = [part for n, part in enumerate(parts) if any(n in each for each in chosen)]
    amp = with_kind(kind, positions, *used)
    (plan,) = planned_switches(amp)
    assert mismatches(wiring(amp)) == []
    assert bool(plan.kind) != bool(plan.reason)
    assert sorted(plan.lever) == sorted(positions)
    if plan.kind and kind.action is not Action.NONE:
        assert plan.action is kind.action
    if plan.action is Action.ON_OFF_ON:
        assert plan.closed(plan.lever[1]) == ()
    if kind.action is Action.NONE:
        assert plan.kind


@pytest.mark.parametrize(
    ("entries", "words"),
    [
        ({"type": "on-off-on"}, "has 3 positions, 2 are named"),
        ({"type": "push-pull"}, "on whose shaft it sits"),
        ({"type": "rotary", "shaft": "P1"}, "push-pull"),
        ({"type": "togle"}, "no kind of switch"),
    ],
)
def test_a_file_says_which_switch_it_is(entries: dict[str, str], words: str) -> None:
    def mod(entries: dict[str, str]) -> Mod:
        positions = {"off": [], "on": [{"lift": "C1"}]}
        switch = {"designator": "S1", "control": "c", "positions": positions, **entries}
        return parse_mod({"name": "n", "reason": "r", "switches": [switch]}, "n.toml")

    assert mod({"type": "DPDT on-on"}).switches[0].kind == SwitchKind(Action.ON_ON, BREAK, 2, 2)
    assert mod({"type": "DPDT", "shaft": "P1"}).switches[0].kind.action is Action.PUSH_PULL
    with pytest.raises(DescriptionError, match=words):
        mod(entries)
