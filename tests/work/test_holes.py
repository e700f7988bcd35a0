"""Holes: which a job needs, from its edits alone; whose hole a new part takes; and what is said before drilling."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from ampsim import DescriptionError, apply_mods, load_amp, load_mod, parse_mod
from ampsim.circuit.amp import Amp, Pot
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mounting import parse_mounting
from ampsim.work.holes import bodies
from ampsim.work.holes.panel_parts import PanelWork, panel_work
from ampsim.work.steps.drilling import drilling_steps, plug_steps
from ampsim.work.steps.step import Phase
from tests.tools.any_amps import made_amp
from tests.tools.any_mods import single_mods
from tests.tools.equal_forms import equal_mods

AMP = load_amp("workshop-a")
BRIGHT = {"open": [], "bright": [{"fit": "C950", "between": ["P1.top", "P1.wiper"]}]}


def fitted(amp: Amp, **tables: Any) -> Amp:
    return apply_mods(amp, parse_mod({"name": "m", "reason": "r"} | tables, "m.toml"))


def switched(**switch: Any) -> Amp:
    given = {"designator": "S950", "control": "any", "positions": BRIGHT} | switch
    return fitted(AMP, parts={"C950": "120p"}, switches=[given])


def shape(work: PanelWork) -> tuple[object, ...]:
    """What does not hang on names: bodies, whose hole each takes, and what stays open."""
    return [(each.body.name, each.into) for each in work.parts], work.left_open


def pots_of(amp: Amp) -> Iterator[tuple[Pot, dict[str, str]]]:
    """The single pots of an amp, with a place on the wire of each of their lugs."""
    wired = build_circuit(amp)
    pots = [each for each in amp.parts if isinstance(each, Pot)]
    for element in wired.elements:
        pot = next((each for each in pots if each.designator == element.designator), None)
        if pot is None or sum(each.control == pot.control for each in pots) > 1:
            continue
        own = f"{pot.designator}."
        others = {
            pin: next((each for each in wired.places_by_net[net] if not each.startswith(own)), "")
            for pin, net in element.pins
        }
        if all(others.values()) and set(others) == {"top", "wiper", "bottom"}:
            yield pot, others


def test_a_pot_exchanged_and_a_pot_taken_out_and_another_fitted_are_the_same_to_the_panel() -> None:
    tried = 0
    for number in range(12):
        amp = made_amp(19, number).amp
        for pot, pins in pots_of(amp):
            new = {"track": "47k", "taper": "linear", "control": "another word", "rotation": 0.5}
            replaced = fitted(amp, edits=[{"replace": pot.designator, "with": {"track": "47k", "taper": "linear"}}])
            edits = [{"lift": pot.designator}, {"fit": "P990", "pins": pins}]
            anew = fitted(amp, parts={"P990": new}, edits=edits)
            for found in (panel_work(amp, replaced), panel_work(amp, anew)):
                assert not found.holes, (number, pot.designator)
                assert [each.into for each in found.parts] == [pot.designator]
                assert found.left_open == ()
            tried += 1
    assert tried > 12


def test_another_way_to_write_a_mod_needs_the_same_holes() -> None:
    tried = 0
    for mod in single_mods(24, seed=19):
        drawn = shape(panel_work(mod.amp.amp, mod.modded))
        for form, other in equal_mods(mod):
            assert shape(panel_work(other.amp.amp, other.modded)) == drawn, (mod, form)
            tried += 1
    assert tried > 20


def test_every_pot_and_switch_that_a_mod_brings_has_one_hole_however_many_tracks_it_has() -> None:
    both = apply_mods(AMP, load_mod("depth"), load_mod("dual-master"), load_mod("cathode-switch"))
    found = panel_work(AMP, both)
    assert [(each.name, each.body) for each in found.holes] == [
        ("P104", bodies.POT_24), ("P7", bodies.POT_24_DUAL), ("S102", bodies.TOGGLE_SMALL),
    ]  # fmt: skip
    assert panel_work(both, apply_mods(both, load_mod("larger-plate-load"))).parts == ()


def test_a_pot_taken_out_leaves_its_hole_to_the_one_wired_as_it_was_and_else_to_any() -> None:
    pins, others = (pins for pot, pins in pots_of(AMP) if pot.designator in ("P1", "P5"))
    new = {"track": "1M", "taper": "linear", "control": "b", "rotation": 0.5}
    leak = {"R990": "1M"}
    out = [{"lift": "P5"}, {"fit": "R990", "between": [others["wiper"], "ground"]}]
    both = fitted(
        AMP,
        parts={"P980": new | {"control": "a"}, "P990": new} | leak,
        edits=[{"lift": "P1"}, *out, {"fit": "P990", "pins": pins},
               {"fit": "P980", "in_series_at": "R20.1", "wired": "rising"}],
    )  # fmt: skip
    assert {each.name: each.into for each in panel_work(AMP, both).parts} == {"P990": "P1", "P980": "P5"}
    assert panel_work(AMP, fitted(AMP, parts=leak, edits=out)).left_open == ("P5",)
    lever = fitted(AMP, parts={"C950": "120p"} | leak, edits=out,
                   switches=[{"designator": "S950", "control": "any", "positions": BRIGHT}])  # fmt: skip
    assert [(each.name, each.into) for each in panel_work(AMP, lever).parts] == [("S950", "P5")]


def test_a_switch_on_a_shaft_is_one_part_with_its_pot_and_a_relay_is_seen_by_its_lever_alone() -> None:
    pulled = panel_work(AMP, switched(type="push-pull", shaft="P1"))
    assert [(each.name, each.into, each.body) for each in pulled.parts] == [("P1", "P1", bodies.POT_PULL)]
    new = fitted(
        AMP,
        parts={"C950": "120p", "P990": {"track": "1M", "taper": "linear", "control": "b", "rotation": 0.5}},
        edits=[{"fit": "P990", "in_series_at": "R20.1", "wired": "rising"}],
        switches=[{"designator": "S950", "control": "x", "positions": BRIGHT, "shaft": "P990", "type": "push-pull"}],
    )
    assert [(each.name, each.body) for each in panel_work(AMP, new).holes] == [("P990", bodies.POT_PULL)]
    coil = {"resistance": "360", "volts": 12, "between": ["B1", "ground"], "driver": "S960"}
    relay = switched(designator="K950", type="relay", coil=coil)
    assert [each.name for each in panel_work(AMP, relay).holes] == ["S960"]


@pytest.mark.parametrize(("kind", "body"), [
    ("on-on", bodies.TOGGLE_SMALL), ("rotary, 2 ways", bodies.ROTARY), ("SPDT", bodies.TOGGLE_SMALL),
])  # fmt: skip
def test_the_body_of_a_switch_is_that_of_its_kind(kind: str, body: bodies.Body) -> None:
    assert [each.body for each in panel_work(AMP, switched(type=kind)).holes] == [body]


def test_another_body_may_be_asked_for_and_no_other() -> None:
    amp = switched()
    found = panel_work(AMP, amp, {"S950": "toggle switch, 15/32 inch bushing"})
    assert [each.body for each in found.parts] == [bodies.TOGGLE]
    with pytest.raises(DescriptionError, match="toggle switch"):
        panel_work(AMP, amp, {"S950": "toggle switch"})
    with pytest.raises(DescriptionError, match="does not go through the panel"):
        panel_work(AMP, amp, {"S951": bodies.TOGGLE.name})


def test_every_body_says_its_hole_its_room_and_where_it_is_from() -> None:
    for name, each in bodies.BODIES.items():
        assert each.name == name
        assert each.source
        assert each.hole > 0.0 or each.slot
        assert min(each.pitch, each.wide, each.high, each.deep) >= each.hole
        assert all(side < min(each.screws, each.wide) for side in each.slot)


def test_drilling_is_planned_after_what_comes_out_with_room_cover_and_chips_and_plugged_on_the_way_back() -> None:
    amp = apply_mods(AMP, load_mod("depth"), load_mod("cathode-switch"))
    steps = list(drilling_steps(AMP, amp))
    assert {each.phase for each in steps} == {Phase.DRILL}
    room = next(each for each in steps if each.do.startswith("Look for room"))
    tools = next(each for each in steps if each.do.startswith("Centre punch"))
    words = [each.do for each in steps]
    said = [
        next(n for n, each in enumerate(words) if text in each)
        for text in ("A hole is for good", "Cover the works", "Centre punch", "Get every chip out")
    ]
    assert said == sorted(said)
    for part in panel_work(AMP, amp).holes:
        assert any(f"{part.name}: {part.body.hole_words}" in each for each in tools.how)
        assert f"{part.words} asks for {part.body.room_words}." in room.how
    # What a job knows its steps by does not change with the bodies.
    other = panel_work(AMP, amp, {"S102": bodies.TOGGLE.name})
    asked = list(drilling_steps(AMP, amp, other))
    assert [each.do for each in asked] == words
    assert any("12.2 mm" in line for each in asked for line in each.how)
    assert [each.do for each in plug_steps(AMP, amp)] == [
        "Close the holes of P104 and S102 with a plug of the size of the hole; nobody may reach in."
    ]
    value = apply_mods(AMP, load_mod("larger-plate-load"))
    assert [*drilling_steps(AMP, value), *plug_steps(AMP, value)] == []


def test_an_effects_loop_needs_a_jack_to_send_and_one_to_return_and_no_pot_s_hole_takes_them() -> None:
    effect = {"FX1": {"input": "1M", "output": "1k", "gain": 1}, "R990": "1M"}
    amp = fitted(AMP, parts=effect, nets=["back"], edits=[
        {"fit": "FX1", "pins": {"in": "P5.wiper", "out": "back", "ground": "ground"}},
        {"fit": "R990", "between": ["back", "ground"]},
    ])  # fmt: skip
    assert [(each.name, each.control, each.body) for each in panel_work(AMP, amp).holes] == [
        ("FX1S", "send", bodies.JACK_CLOSED), ("FX1R", "return", bodies.JACK_CLOSED),
    ]  # fmt: skip


def test_a_trimmer_inside_has_no_hole_and_gives_none() -> None:
    inside = replace(AMP, mounting=(("P5", parse_mounting("board, through hole")),))
    edits = [{"replace": "P5", "with": {"track": "500k", "taper": "linear"}}]
    assert panel_work(AMP, fitted(AMP, edits=edits)).parts
    assert panel_work(inside, fitted(inside, edits=edits)) == PanelWork((), ())
