"""The way back of one mod alone: what its steps say, done with an iron, leaves the circuit of the other mods."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ampsim import DescriptionError, apply_mods, load_amp, load_mod, parse_mod
from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import without_mods
from ampsim.circuit.nets import Nets
from ampsim.work.steps.polarity import plus_words
from ampsim.work.steps.soldering import iron_steps
from ampsim.work.steps.way_back import back_steps
from ampsim.work.steps.work_plan import undo_plan
from ampsim.work.wiring.difference import rewiring
from ampsim.work.wiring.from_to import Wiring
from ampsim.work.wiring.readback import mismatches, wiring
from tests.tools.any_amps import MadeAmp, made_amp
from tests.tools.any_mods import KINDS, MadeMod, mod_of

AMPS = 12
Joints = set[frozenset[str]]


@cache
def made(number: int) -> MadeAmp:
    return made_amp(0, number)


@cache
def lot(number: int, kind: str, turn: int) -> MadeMod | None:
    return mod_of(kind, made(number), 3, turn)


def part(place: str) -> str:
    return place.partition(".")[0]


def soldered(wired: Wiring) -> Joints:
    """Every lug on its piece of wire of the drawing, but what came off, and every wire of the list."""
    off = {place for place, _ in wired.unsoldered}
    joints: Joints = {
        frozenset((place, f"piece {number}"))
        for number, places in enumerate(wired.before)
        for place in places
        if place not in off and part(place) not in wired.taken_out
    }
    return joints | {frozenset((wire.start, wire.end)) for wire in wired.wires}


def done(now: Wiring, then: Wiring | None) -> Joints:
    """What the list of the way back, carried out to the letter, leaves soldered."""
    change = rewiring(now, then)
    joints = soldered(now)
    for wire in change.off:
        joints.remove(frozenset((wire.start, wire.end)))
    for lug, _ in change.loose:
        joints = {joint for joint in joints if not (lug in joint and any(end.startswith("piece ") for end in joint))}
    joints |= {frozenset((wire.start, wire.end)) for wire in change.on}
    joints |= {frozenset(pair) for pair in change.back}
    joints |= {frozenset(pair) for pair in change.homes}
    return joints


def pieces(joints: Joints) -> tuple[tuple[str, ...], ...]:
    nets = Nets()
    for joint in joints:
        nets.join(*(sorted(joint) * 2)[:2])
    found: dict[str, list[str]] = {}
    for place in sorted({end for joint in joints for end in joint}):
        found.setdefault(nets.find(place), []).append(place)
    return tuple(tuple(each for each in places if not each.startswith("piece ")) for places in found.values())


def faults_after(modded: Amp, left: Amp) -> list[str]:
    """What differs between the amp that is wanted and the one that the way back leaves, by nets and values."""
    now, wanted = wiring(modded), wiring(left)
    joints = done(now, wanted if left.mods else None)
    return mismatches(replace(wanted, before=pieces(joints), unsoldered=(), taken_out=(), wires=()))


@settings(max_examples=40)
@given(
    number=st.integers(0, AMPS - 1),
    kinds=st.tuples(st.sampled_from(sorted(KINDS)), st.sampled_from(sorted(KINDS))),
)  # fmt: skip
def test_undoing_one_of_two_mods_leaves_the_other_alone(number: int, kinds: tuple[str, str]) -> None:
    first, second = lot(number, kinds[0], 0), lot(number, kinds[1], 50)
    assume(first is not None)
    assert first is not None
    stock = first.amp.amp
    try:
        both = apply_mods(stock, first.mod, second.mod) if second else apply_mods(stock, first.mod)
        left = without_mods(both, [first.mod.name])
        wiring(both)
    except DescriptionError:
        assume(False)
    assert left == (apply_mods(stock, second.mod) if second else stock)
    assert faults_after(both, left) == []
    said = " ".join(" ".join([step.do, *step.how]) for step in back_steps(left, both))
    change = rewiring(wiring(both), wiring(left) if left.mods else None)
    for place in [end for wire in (*change.off, *change.on) for end in (wire.start, wire.end)]:
        assert place in said
    assert all(f"{lug} to {at}" in said for lug, at in change.back)
    assert all(f"{lug} off {at}" in said for lug, at in change.loose)
    assert all(f"{lug} at {at}" in said for lug, at in change.homes if part(lug)[0] not in "VU")


STOCK = load_amp("workshop-a")


def test_all_mods_undone_is_the_drawing() -> None:
    both = apply_mods(STOCK, *map(load_mod, ("cathode-switch", "depth", "larger-plate-load", "partial-bypass")))
    left = without_mods(both, [mod.name for mod in both.mods])
    assert left == STOCK
    assert faults_after(both, left) == []


def test_a_joint_of_a_mod_that_stays_leaves_the_lug_of_one_that_goes() -> None:
    """The part that stays was soldered where the pot's lug brought its net: it goes back to the drawing's."""
    pot = parse_mod({"name": "pot", "reason": "A trial.", "edits": [{"fit": "P161", "in_series_at": "R20.1"}],
                     "parts": {"P161": {"track": "100k", "control": "less"}}})  # fmt: skip
    cap = parse_mod({"name": "cap", "reason": "A trial.", "edits": [{"fit": "C161", "between": ["R20.1", "ground"]}],
                     "parts": {"C161": "1n"}})  # fmt: skip
    both = apply_mods(STOCK, pot, cap)
    for name in ("pot", "cap"):
        assert faults_after(both, without_mods(both, [name])) == []


def test_a_mod_that_another_is_built_upon_is_refused_by_both_names() -> None:
    pot = parse_mod({"name": "pot", "reason": "A trial.", "edits": [{"fit": "P161", "in_series_at": "R20.1"}],
                     "parts": {"P161": {"track": "100k", "control": "less"}}})  # fmt: skip
    upon = parse_mod({"name": "upon", "reason": "A trial.", "parts": {"R161": "1M"},
                      "edits": [{"fit": "R161", "between": ["P161.top", "ground"]}]})  # fmt: skip
    both = apply_mods(STOCK, pot, upon)
    with pytest.raises(DescriptionError, match="mod 'upon' is built upon P161, which would come out; undo it first"):
        undo_plan(both, ["pot"])
    with pytest.raises(DescriptionError, match="'upom' is not fitted; nearest: upon"):
        undo_plan(both, ["upom"])
    assert without_mods(both, ["upon", "pot"]) == STOCK


def test_the_plan_of_one_mod_leaves_the_words_of_the_other_out() -> None:
    both = apply_mods(STOCK, load_mod("larger-plate-load"), load_mod("partial-bypass"))
    said = "\n".join(step.do for step in undo_plan(both, ["larger-plate-load"]).steps)
    assert "fit R3 (100k) again" in said
    assert "Take out C108" not in said
    assert said.startswith("Read the caution sheet")
    assert said.rstrip().splitlines()[-1].startswith("Switch off, pull the plug")


def test_a_part_that_goes_in_again_is_soldered_where_the_mods_that_stay_want_it() -> None:
    """Its end that another mod has taken off its wire is not put there first."""
    lifted = parse_mod({"name": "lifted", "reason": "A trial.", "edits": [{"lift": "R20"}]})
    series = parse_mod({"name": "series", "reason": "A trial.", "edits": [{"fit": "R161", "in_series_at": "R20.1"}],
                        "parts": {"R161": "56k"}})  # fmt: skip
    both = apply_mods(STOCK, lifted, series)
    left = without_mods(both, ["lifted"])
    assert faults_after(both, left) == []
    said = "\n".join(" ".join([step.do, *step.how]) for step in back_steps(left, both))
    assert "R20.1 at T1" not in said
    assert "R161.1 to R20.1" in said


def test_a_lug_that_goes_over_a_switch_comes_off_on_the_way_there_and_goes_back() -> None:
    positions = {"as drawn": [], "less bass": [{"lift": "C1"}, {"fit": "C161", "across": "R4"}]}
    switch = {"designator": "S161", "control": "voice", "positions": positions}
    tables = {"name": "voice", "reason": "A trial.", "parts": {"C161": "820n"}, "switches": [switch]}
    amp = apply_mods(STOCK, parse_mod(tables))
    (lug, at), *_ = rewiring(wiring(amp), None).back
    assert lug.startswith("C1.")
    there = [step.do for step in iron_steps(STOCK, amp)]
    off = next(n for n, words in enumerate(there) if words.startswith(f"Take {lug} off {at}"))
    assert off < next(n for n, words in enumerate(there) if words.startswith("Wire S161"))
    (out, *_) = back_steps(STOCK, amp)
    assert f"Back to its place: {lug} to {at}." in out.how


@settings(max_examples=5)
@given(number=st.integers(0, AMPS - 1), kind=st.sampled_from([name for name in sorted(KINDS) if "switch" in name]))
def test_the_way_there_says_every_joint_that_the_way_back_takes_off(number: int, kind: str) -> None:
    made_mod = lot(number, kind, 0)
    assume(made_mod is not None)
    assert made_mod is not None
    stock, amp = made_mod.amp.amp, made_mod.modded
    there = " ".join(step.do for step in iron_steps(stock, amp))
    change = rewiring(wiring(amp), None)
    switches = {switch.designator for switch in amp.all_switches}
    for end in (end for wire in change.off for end in (wire.start, wire.end)):
        name, _, lug = end.partition(".")
        assert (lug if name in switches else end) in there
    assert all(lug in there for lug, _ in change.back)


def test_what_goes_in_again_goes_to_the_ground_of_its_stage_and_no_joint_is_told_twice() -> None:
    stock = load_amp("switchyard")
    edits = [{"lift": "R12"}, {"bridge": ["V1A.cathode", "V1B.cathode"]}]
    back = list(back_steps(stock, apply_mods(stock, parse_mod({"name": "n", "reason": "r", "edits": edits}))))
    (again,) = (step for step in back if step.do.startswith("Fit R12"))
    assert "R12.2 at R14.2" in again.how[0]  # the other resistor of the follower that stands on ground
    assert sum("V1A.cathode" in step.do and "V1B.cathode" in step.do for step in back) == 1


def test_a_kept_capacitor_without_a_sure_side_goes_in_as_it_stood() -> None:
    """It may be an electrolytic, whatever one would buy for so few volts today."""
    fit = {"fit": "C160", "between": ["T1.tap8", "ground"]}
    amp = apply_mods(load_amp("workshop-a"), parse_mod({"name": "n", "reason": "r", "parts": {"C160": "22u"},
                                                        "edits": [fit]}))  # fmt: skip
    assert "either way round" in plus_words(amp, "C160")
    assert plus_words(amp, "C160", kept=True) == " The way round it stood."
