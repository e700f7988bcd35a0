"""An output pair that is not matched: what it adds, and where there is nothing to say of it."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from ampsim import load_amp
from ampsim.circuit.amp import Edit, Mod, Switch
from ampsim.circuit.build import build_circuit
from ampsim.circuit.output_stage import output_valves, pulls_both_ways
from ampsim.library.loader import load_valve
from ampsim.studies.headroom.mismatch import mismatch_words
from ampsim.studies.headroom.simulate import headroom

STAGES = Path(__file__).parents[2] / "models" / "stages"
LEVELS = (0.002, 0.02, 0.1)


def test_a_pair_that_is_off_moves_the_second_harmonic_to_both_sides_of_what_equal_valves_have() -> None:
    """Off one way it adds to the even harmonics of the stages before, off the other way it takes from them."""
    drawn = load_amp("workshop-a")
    (words,) = mismatch_words(drawn, {}, headroom(drawn, levels=(0.002, 0.02)))
    numbers = re.search(r"is (-?\d+) to (-?\d+) dB instead of (-?\d+) dB, distortion (\S+) to (\S+) %", words)
    assert numbers is not None, words
    low, high, equal, least, most = map(float, numbers.groups())
    assert low < high
    assert low <= equal <= high
    assert least < most
    assert re.match(r"V\d+ and V\d+ are taken as equal", words)
    assert "V of bias either way" in words


def test_valves_that_a_mod_or_a_switch_puts_in_are_those_that_are_off() -> None:
    """The words are those of an amp that was drawn with them."""
    amp = load_amp("workshop-a")
    pair = output_valves(build_circuit(amp))
    other = load_valve("6L6GC")
    assert {amp.part_by_designator[name].type for name in pair}.isdisjoint({other.type})  # type: ignore[union-attr]
    edits = tuple(Edit("replace", name, other.type) for name in pair)
    switch = Switch("S90", "valves", (("old", ()), ("new", edits)), "old")
    drawn = replace(
        amp,
        parts=tuple(replace(each, type=other.type) if each.designator in pair else each for each in amp.parts),
        valves=(*amp.valves, other),
    )
    fitted = replace(amp, mods=(Mod("other valves", "", (), edits, (), (other,)),))
    switched = replace(amp, mods=(Mod("a switch for that", "", (), (), (switch,), (other,)),))
    (words,) = mismatch_words(drawn, {}, headroom(drawn, levels=LEVELS))
    assert " instead of " in words
    for each, at in ((fitted, {}), (switched, {"valves": "new"})):
        assert mismatch_words(each, at, headroom(each, [at], levels=LEVELS)) == (words,)


def test_valves_side_by_side_in_class_a_cancel_nothing() -> None:
    """In parallel on one end of the primary their even harmonics add: only opposite ends cancel."""
    drawn = load_amp(str(STAGES / "single-ended-output.parallel.toml"))
    wired = build_circuit(drawn)
    assert len(output_valves(wired)) == 2
    assert not pulls_both_ways(wired)
    assert pulls_both_ways(build_circuit(load_amp(str(STAGES / "push-pull-output.quad.toml"))))
    assert mismatch_words(drawn, {}, headroom(drawn, levels=(0.02, 0.1))) == ()


def test_a_single_valve_has_nothing_to_be_matched_with() -> None:
    drawn = load_amp("kitchen")
    assert mismatch_words(drawn, {}, headroom(drawn, levels=(0.1,))) == ()
