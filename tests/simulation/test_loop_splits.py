"""Feedback loops on any amp: however a way back is made up, the loop is the same; what is in no loop is refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.circuit.build import build_circuit
from ampsim.circuit.feedback import feedback_loop, find_loop, find_loops
from ampsim.circuit.loop_search import Reach
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import parse_amp, parse_mod
from ampsim.measures.margins import margin_table
from ampsim.simulation.analyses import LoopSweep
from ampsim.simulation.loop_gain import loop_gain
from tests.tools.any_amps import FAMILIES, Lot, any_amp, made_amp, written
from tests.tools.any_mods import Bench, mod_of
from tests.tools.equal_forms import equal_amps, equal_mods

FED_BACK = [number for number, family in enumerate(FAMILIES) if family.startswith("fed-back")]
SWEEP = LoopSweep(per_decade=12)


def fed_back_amp():
    """Amps with a feedback line."""
    numbers = st.tuples(st.integers(0, 999), st.sampled_from(FED_BACK))
    return st.builds(
        lambda seed, place: made_amp(seed, len(FAMILIES) * place[0] + place[1]), st.integers(0, 2**16), numbers
    )


def line_of(made):
    """The feedback line as the generator drew it: its resistor, where it starts, whether a pot stands between."""
    found = Bench(made, Lot(0)).feedback()
    assert found is not None
    return found


def loop_of(amp, at=None, **position):
    return loop_gain(amp, at, [position], SWEEP)["loop_gain"].values[0, 0]


def verdict_of(amp, at=None, **position):
    row = margin_table(loop_gain(amp, at, [position], SWEEP)).iloc[0]
    return row["least margin [deg]"], row["gain margin [dB]"], row["verdict"]


def assert_same(one, other):
    """Margins within 0.1 degrees and 0.1 dB, the same in words."""
    assert one[2] == other[2]
    np.testing.assert_allclose(one[:2], other[:2], atol=0.1)


def split(lot, line, ohms, steps):
    """Edits that make a resistor a tree of others of the same resistance, some side by side, some in a row."""
    values, free, edits = {line.resistor: ohms}, [line.resistor], []
    for number in range(steps):
        host = lot.one(list(values))
        share = float(lot.rng.uniform(0.1, 0.9))
        part = f"R{9000 + number}"
        if host in free and lot.chance(0.5):
            values[part], values[host] = share * values[host], (1.0 - share) * values[host]
            edits.append({"fit": part, "in_series_at": f"{host}.2"})
        else:
            values[part], values[host] = values[host] / share, values[host] / (1.0 - share)
            edits.append({"fit": part, "across": host})
        # A part in series at the same end would now go into another wire.
        free = [each for each in free if each != host]
        free.append(part)
    edits.append({"replace": line.resistor, "with": written(values.pop(line.resistor))})
    parts = {name: written(value) for name, value in values.items()}
    return parse_mod({"name": "split", "reason": "r", "parts": parts, "edits": edits})


@given(fed_back_amp(), st.integers(0, 2**16), st.integers(1, 6))
@settings(max_examples=30)
def test_any_split_of_the_line_leaves_the_loop_as_it_is(made, seed, steps):
    line = line_of(made)
    whole = Bench(made, Lot(0)).value(line.resistor)
    divided = apply_mods(made.amp, split(Lot(seed), line, whole, steps))
    np.testing.assert_allclose(loop_of(divided), loop_of(made.amp), rtol=1e-6, atol=1e-9)
    assert_same(verdict_of(divided, line.resistor), verdict_of(made.amp))


@given(fed_back_amp())
@settings(max_examples=12)
def test_equal_amps_have_equal_margins(made):
    drawn = verdict_of(made.amp)
    for form in equal_amps(made):
        assert_same(verdict_of(form.made.amp), drawn)


@pytest.mark.parametrize(
    "kind", ["resistor paralleled", "resistor in series", "at another tap", "roll-off", "switched"]
)
def test_equal_mods_have_equal_margins(kind):
    for seed in range(2):
        mods = (mod_of(f"feedback {kind}", made_amp(seed, number)) for number in FED_BACK)
        for mod in filter(None, mods):
            switches = mod.modded.all_switches[len(mod.amp.amp.all_switches) :]
            positions = [{each.control: label} for each in switches for label in each.labels] or [{}]
            for _, other in equal_mods(mod):
                one, same = (margin_table(loop_gain(amp, None, positions, SWEEP)) for amp in (mod.modded, other.modded))
                assert list(one["verdict"]) == list(same["verdict"])
                for column in ("least margin [deg]", "gain margin [dB]"):
                    np.testing.assert_allclose(one[column], same[column], atol=0.1)


@given(fed_back_amp())
@settings(max_examples=20)
def test_a_loop_is_named_by_its_parts_and_by_nothing_else(made):
    loop, wired = feedback_loop(made.amp), build_circuit(made.amp)
    assert line_of(made).resistor in loop.carriers
    order = [stage.name for stage in made.amp.stages]
    stages = {each.designator: each.stage for each in wired.elements}
    first = min(order.index(stages[valve]) for valve in loop.valves)
    for each in wired.elements:
        before = each.stage in order and order.index(each.stage) < first and each.kind != "transformer"
        if before or each.stage == "supply":
            assert each.designator not in loop.parts
            if find_loop(made.amp, (), each.designator) is None:
                with pytest.raises(DescriptionError, match="is in no feedback loop"):
                    loop_gain(made.amp, each.designator)
    with pytest.raises(DescriptionError, match="not a part that stands here"):
        loop_gain(made.amp, "R99999.1")


@given(any_amp())
@settings(max_examples=40)
def test_only_amps_with_a_line_have_a_global_loop(made):
    reaches = [loop.reach for loop in find_loops(made.amp)]
    assert reaches.count(Reach.GLOBAL) == made.kind.startswith("fed-back")


@given(fed_back_amp())
@settings(max_examples=15)
def test_a_line_the_wrong_way_round_or_gone_is_said(made):
    turned = {"in phase": "reversed", "reversed": "in phase"}
    parts = made.tables["parts"]
    coils = {name: part | {"secondary": turned[part.get("secondary", "in phase")]}
             for name, part in parts.items() if isinstance(part, dict) and "taps" in part}  # fmt: skip
    wrong = parse_amp(made.tables | {"parts": parts | coils}, "reversed.toml")
    assert "wrong way round" in verdict_of(wrong)[2]
    assert "wrong way round" not in verdict_of(made.amp)[2]
    for kind in ("feedback lifted", "feedback switched"):
        mod = mod_of(kind, made)
        position = {"feedback": "none"} if kind == "feedback switched" else {}
        assert find_loop(mod.modded, tuple(position.items())) is None
        both = loop_gain([made.amp, mod.modded], positions=[position], sweep=SWEEP)
        assert margin_table(both)["verdict"].iloc[1] == "no feedback here"


def test_local_loops_are_told_from_the_global_one():
    for number in range(3 * len(FAMILIES)):
        mod = mod_of("local feedback", made_amp(1, number))
        if mod:
            own = set(mod.modded.part_by_designator) - set(mod.amp.amp.part_by_designator)
            for name in own:
                loop = feedback_loop(mod.modded, at=name)
                assert loop.reach is Reach.LOCAL
                assert len(loop.valves) == 1
            before, after = find_loop(mod.amp.amp), find_loop(mod.modded)
            assert (before and before.cut) == (after and after.cut)
