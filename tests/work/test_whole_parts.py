"""Sections of one body: a ganged pot is one knob and one part to buy, a double valve is exchanged as one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods, diff
from ampsim.circuit.valves.pinout import TOP_CAP, Pinout, rewiring
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_mod, load_valve, parse_mod
from ampsim.library.netlists.types import sections_of
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.response import simulate
from ampsim.work.parts_list.parts_list import parts_list
from ampsim.work.schematic.contents import contents
from ampsim.work.steps.soldering import iron_steps
from ampsim.work.steps.way_back import back_steps

AMP = load_amp("workshop-a")
DUAL = apply_mods(AMP, load_mod("dual-master"))


def modded(*edits: dict[str, Any], amp: Amp = AMP, **more: Any) -> Amp:
    return apply_mods(amp, parse_mod({"name": "m", "reason": "r", "edits": list(edits), **more}, "m.toml"))


def test_two_tracks_are_one_knob_that_turns_both() -> None:
    assert DUAL.controls["level"].designators == ("P7A", "P7B")
    drawn = [edit for edit in load_mod("dual-master").edits if edit.action in ("lift", "cut")]
    halves = {"R971": "425k", "R972": "75k", "R973": "425k", "R974": "75k"}
    fits = [
        ("R971", "C12.2", "R24.1"),
        ("R972", "R24.1", "ground"),
        ("R973", "C13.2", "R25.1"),
        ("R974", "R25.1", "ground"),
    ]
    fixed = modded(*({"fit": name, "between": [one, other]} for name, one, other in fits), parts=halves)
    fixed = replace(fixed, mods=(replace(fixed.mods[0], edits=(*drawn, *fixed.mods[0].edits)),))
    sweep, nodes = FrequencySweep(100.0, 5e3, 3), ["V4.grid", "V5.grid"]
    turned = simulate(DUAL, sweep, [{"level": 0.5}], nodes=nodes)["voltage"].values
    np.testing.assert_allclose(turned, simulate(fixed, sweep, nodes=nodes)["voltage"].values, rtol=1e-4)


def test_a_dual_pot_is_one_line_and_one_item_to_buy() -> None:
    found = parts_list(AMP, DUAL)
    (line,) = found.lines
    assert (line.part, line.wanted, line.taper) == ("P7", "dual 500k audio 15 %", "audio 15 %")
    assert found.to_buy["count"].tolist() == [1]
    words = {item.name: item.words for item in contents(DUAL).items if item.name.startswith("P7")}
    assert words["P7A"][-1] == "one pot with P7B"
    steps = "\n".join(step.do for step in iron_steps(AMP, DUAL))
    assert "on one shaft with P7B" in steps


def test_tracks_of_one_pot_that_do_not_turn_together_are_refused() -> None:
    parts = {"P8A": {"track": "1M", "control": "one"}, "P8B": {"track": "1M", "control": "other"}}
    pins = {"top": "V1A.plate", "wiper": "ground", "bottom": "ground"}
    with pytest.raises(DescriptionError, match="P8A and P8B are tracks of one pot P8 and turn together"):
        modded({"fit": "P8A", "pins": pins}, {"fit": "P8B", "pins": pins}, parts=parts)


def test_a_track_without_a_control_of_its_own_belongs_to_the_pot() -> None:
    pins = {"top": "V1B.plate", "wiper": "ground", "bottom": "ground"}
    amp = modded({"fit": "P8A", "pins": pins}, {"fit": "P8B", "pins": pins}, parts={"P8A": "B1M", "P8B": "A1M"})
    assert amp.controls["p8"].designators == ("P8A", "P8B")
    (line,) = parts_list(AMP, amp).lines
    assert line.wanted == "dual 1M linear (P8A) and 1M audio 15 % (P8B)"


def test_a_double_valve_is_exchanged_and_bought_as_one() -> None:
    amp = apply_mods(AMP, load_mod("cooler-first-valve"))
    assert [(each.place, each.after) for each in diff(AMP, amp)] == [("V1A", "12AY7"), ("V1B", "12AY7")]
    (line,) = parts_list(AMP, amp).lines
    assert (line.part, line.wanted) == ("V1", "12AY7")
    assert "The pins are the same (9A)" in line.rating.why
    (half,) = parts_list(AMP, modded({"replace": "V1A", "with": "12AY7"})).lines
    assert "V1B in the same bottle is of another type: exchange V1 as a whole" in half.rating.why
    out = modded({"lift": "V3"}, {"lift": "R16"}, {"lift": "R17"})
    assert {"V3A", "V3B"} == {each.part for mod in out.mods for each in mod.edits if each.part.startswith("V3")}


def test_a_bottle_comes_out_and_goes_back_in_one_step() -> None:
    """Two halves in one bottle are one thing in the hand; half of it alone is named as such."""
    out = modded({"lift": "V3"})
    steps, back = ([step.do for step in steps] for steps in (iron_steps(AMP, out), back_steps(AMP, out)))
    assert [do for do in steps if "V3" in do] == [
        "Take out V3 (12AX7); mark it, keep it with the amp for the way back."
    ]
    assert [do for do in back if "V3" in do] == ["Fit V3 (12AX7) again, the one that was kept."]
    other = modded({"replace": "V2", "with": "6SL7GT"})
    for told in ([step.do for step in iron_steps(AMP, other)], [step.do for step in back_steps(AMP, other)]):
        assert sum("Another socket is needed" in do for do in told) == 1
        assert not any("V2A" in do or "V2B" in do for do in told)
    checks = {check.place for step in iron_steps(AMP, other) if step.do.startswith("Fit V2") for check in step.checks}
    assert {"V2A.plate", "V2B.plate"} <= checks
    (half,) = (step.do for step in iron_steps(AMP, modded({"replace": "V2A", "with": "12AY7"})) if "Fit V2" in step.do)
    assert half.startswith("Fit V2A (12AY7) where V2A was")


def test_what_a_valve_of_another_type_needs_is_said() -> None:
    steps = "\n".join(step.do for step in iron_steps(AMP, modded({"replace": "V1", "with": "6DJ8"})))
    assert "pin 9 from heater middle to shield" in steps
    (line,) = {each.wanted: each for each in parts_list(AMP, modded({"replace": "V4", "with": "6V6GT"})).lines}.values()
    assert "Another socket is needed, 9 pins (9CV) to 8 (7AC)" in line.rating.why
    big, small = load_valve("EL34"), load_valve("6L6GC")
    assert "pin 1 (suppressor) goes to its cathode, pin 8" in rewiring("6L6GC", small.pinout, "EL34", big.pinout)
    assert "compare the two data sheets" in rewiring("6L6GC", small.pinout, "X", None)
    with pytest.raises(DescriptionError, match="wired as a triode, EL34 is a pentode; lift V1A"):
        build_circuit(modded({"replace": "V1A", "with": "EL34"}))


def test_a_pin_that_leads_nowhere_in_the_new_valve_stays_as_it_is_wired() -> None:
    """The suppressor's wire to the cathode harms nothing at a pin without anything (EIA bases 8EP and 7S)."""
    old, new = load_valve("EL34").pinout, load_valve("6550").pinout
    there, back = rewiring("EL34", old, "6550", new), rewiring("6550", new, "EL34", old, back=True)
    for words in (there, back):
        assert words.startswith("The socket needs nothing")
        assert words.endswith("what is on pin 1 may stay, the 6550 has nothing there")
    assert "pin 1 from none to suppressor" in rewiring("6550", new, "EL34", old)
    moved = Pinout("test", ("grid", "none", *new.pins[2:4], "none", *new.pins[5:]), "made up")
    assert "pin 5 from grid to none" in rewiring("6550", new, "moved", moved)


@pytest.mark.parametrize("other", ["12AY7", "6DJ8", "6SL7GT"])
def test_a_socket_that_was_wired_anew_is_wired_back(other: str) -> None:
    """The kept valve does not go into the other one's socket: what its pins need is said as on the way there."""
    amp = modded({"replace": "V1", "with": other})
    told = (" ".join(step.do for step in steps) for steps in (iron_steps(AMP, amp), back_steps(AMP, amp)))
    old, new = (load_valve(each).pinout for each in ("12AX7", other))
    for words, said in zip((rewiring("12AX7", old, other, new), rewiring(other, new, "12AX7", old)), told, strict=True):
        assert words in said


def test_a_cap_on_top_is_said_of_another_socket_too() -> None:
    assert "and every pin is wired anew and plate (top cap) now; its heater is on 1 and 5" in rewiring(
        "6L6GC", load_valve("6L6GC").pinout, "807", load_valve("807").pinout
    )


@pytest.mark.parametrize("name", sorted(path.stem for path in (models() / "valves").glob("*.toml")))
def test_every_valve_that_comes_along_has_the_pins_of_its_kind(name: str) -> None:
    """Each pin of the law is on the base, as often as there are sections; two ends of a heater at least."""
    valve = load_valve(name)
    if valve.pinout is None:
        return
    names = valve.pinout.pins
    # A cap on top is no pin of the socket.
    assert len([pin for pin in names if not pin.endswith(TOP_CAP)]) in (5, 7, 8, 9)
    pins = {"plate", "grid", "cathode", *(("screen",) if valve.family == "pentode" else ())}
    sections = sections_of(valve)
    assert 1 <= len(sections) <= 2
    for section in sections:
        assert set(section.values()) == pins
    assert sum(pin.startswith("heater") for pin in names) >= 2
    assert valve.pinout.source
