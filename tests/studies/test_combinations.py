"""Positions in which several controls meet, and what is told of them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import control_coords, position_label
from ampsim.library.loader import load_amp, load_mod, parse_mod
from ampsim.simulation.facts import DRAWN, put
from ampsim.studies.combinations import MOST, combined_positions, covering, where_it_tells, with_loudest
from ampsim.studies.findings import Finding, Grade, grade_below
from ampsim.studies.pop.section import _without
from ampsim.studies.settings import COMBINED, once_per_setting
from ampsim.studies.sheet.sheet import examine
from ampsim.studies.spread.combined import with_least_change
from ampsim.studies.topics import topic_section

STOCK = load_amp("workshop-a")
MODDED = apply_mods(STOCK, *map(load_mod, ("bright-switch", "cathode-switch", "depth")))


@given(st.lists(st.integers(2, 4), min_size=2, max_size=7))
def test_every_pair_of_settings_is_met_in_few_rows(sizes: list[int]) -> None:
    ranges = [tuple(f"{number}" for number in range(size)) for size in sizes]
    rows = list(covering(ranges))
    for (one, first), (other, second) in itertools.combinations(enumerate(ranges), 2):
        assert {(row[one], row[other]) for row in rows} == set(itertools.product(first, second))
    largest = sorted(sizes)[-2:]
    assert len(rows) <= min(math.prod(sizes), 3 * math.prod(largest))


def test_all_combinations_are_looked_at_where_they_are_few() -> None:
    examined = examine(STOCK, MODDED)
    assert MODDED.controls["depth"].drawn == 0.0
    assert len(examined.every) == 3 * 3 * 2  # two switches of three positions, a knob at both ends
    assert all(len(each) > 1 for each in examined.combined)
    whole = [tuple(sorted(MODDED.setting(each).items())) for each in examined.every]
    assert len(set(whole)) == len(whole)
    assert {"bright": "390p", "cathode": "2k7 and 1u", "depth": 1.0} in examined.combined


def many_switches(count: int) -> Mapping[str, Any]:
    """Switches that each put another resistor across one of the amp's."""
    switches = [
        {"designator": f"S{310 + n}", "control": f"switch {chr(97 + n)}",
         "positions": {"off": [], "on": [{"fit": f"R{310 + n}", "across": "R4"}]}} for n in range(count)
    ]  # fmt: skip
    parts = {f"R{310 + n}": "1M" for n in range(count)}
    return {"name": "many", "reason": "check", "parts": parts, "switches": switches}


def test_of_many_combinations_so_few_that_each_pair_is_met() -> None:
    amp = apply_mods(STOCK, parse_mod(many_switches(8), "many.toml"))
    names = [name for name in amp.controls if name.startswith("switch ")]
    found = combined_positions(amp, names)
    assert len(found) <= MOST // 2
    for one, other in itertools.combinations(names, 2):
        assert any(each.get(one) == each.get(other) == "on" for each in found)
    assert len(combined_positions(amp, names[:6])) == 2**6 - 6 - 1


@given(st.dictionaries(st.sampled_from("abc"), st.floats(0.0, 8.0), min_size=3), st.floats(-6.0, 6.0))
def test_a_combination_is_told_where_it_is_worse_than_with_fewer_settings(
    adds: dict[str, float], meeting: float
) -> None:
    controls = dict.fromkeys("abc", ("off", "on"))
    positions: list[dict[str, float | str]] = [
        dict.fromkeys(names, "on") for size in range(4) for names in itertools.combinations(controls, size)
    ]
    labels = [position_label(each) for each in positions]
    response = xr.Dataset(coords={"position": labels, **control_coords(positions)})
    response.attrs |= put(DRAWN, dict.fromkeys(controls, "off"))
    response.attrs |= put(COMBINED, [position_label(each) for each in positions if len(each) > 1])
    limit = 8.0
    found = []
    for each, label in zip(positions, labels, strict=True):
        value = sum(adds[name] for name in each) + (meeting if {"a", "b"} <= each.keys() else 0.0)
        grade = grade_below(value, limit)
        found.append((Finding("t", "s", "v", label, value, "V", limit, grade, f"{value}", "", ""), (value,)))
    told = once_per_setting(found, response)
    combined = [finding for finding in told if finding.position not in ("as drawn", "a on", "b on", "c on")]
    assert len(combined) <= 1
    alone = max(finding.grade.worry for finding, _ in found if finding.position.count("on") < 2)
    worst = max(finding.grade.worry for finding, _ in found)
    if worst > alone:
        assert [finding.grade.worry for finding in combined] == [worst]
    else:
        assert not combined
    # The third adds by itself: where that is not noticeable it is not named.
    assert adds["c"] > 0.9 or not any("c on" in finding.where for finding in combined)


def test_the_loudest_combination_is_played_and_looked_at_closely_only_where_it_tells() -> None:
    examined = with_loudest(examine(STOCK, MODDED), 400.0)
    assert [position_label(each) for each in examined.combined] == ["depth 10, bright 390p, cathode 2k7 and 1u"]
    assert where_it_tells(examined, []) is None
    there = Finding("t", "s", "v", position_label(examined.combined[0]), 1.0, "V", 1.0, grade_below(2, 1), "", "", "")
    closer = where_it_tells(examined, [there])
    assert closer is not None
    assert len(closer.combined) == 4
    assert with_loudest(replace(examined, combined=()), 400.0).combined == ()


def test_what_two_controls_make_together_names_both_and_no_third() -> None:
    """Each of two switches brings less hiss than our limit, both more; a third makes no difference."""
    switches = [
        {"designator": f"S{310 + n}", "control": name, "positions": {"as it was": [], "on": [edit]}}
        for n, (name, edit) in enumerate({
            "hot": {"fit": "R311", "across": "R7"},
            "loose": {"replace": "R20", "with": "100k"},
            "idle": {"fit": "R310", "across": "R4"},
        }.items())
    ]  # fmt: skip
    parts = {"R310": "10M", "R311": "18k"}
    mod = parse_mod({"name": "three", "reason": "check", "parts": parts, "switches": switches}, "three.toml")
    found = topic_section("noise", examine(STOCK, apply_mods(STOCK, mod))).findings
    met = [each for each in found if each.where.count(",")]
    assert {(each.where, str(each.grade)) for each in met} == {("hot on, loose on", "near the limit")}
    assert "hiss" in {each.subject for each in met}
    assert not [each for each in found if "idle" in each.where]


def test_what_overheats_a_part_only_where_two_switches_meet_is_found_and_names_both() -> None:
    """Of a string of three resistors two are shorted by a switch each: the third bears one of them, not both."""
    switches = [
        {"designator": f"S{310 + n}", "control": name, "positions": {"as it was": [], "on": [edit]}}
        for n, (name, edit) in enumerate({
            "upper": {"fit": "R314", "between": ["B1", "one"]},
            "lower": {"fit": "R315", "between": ["one", "two"]},
            "idle": {"fit": "R310", "across": "R4"},
        }.items())
    ]  # fmt: skip
    places = {"R311": ["B1", "one"], "R312": ["one", "two"], "R313": ["two", "ground"]}
    mod = {
        "name": "string", "reason": "check", "nets": ["one", "two"], "switches": switches,
        "parts": {"R310": "10M", "R311": "470k", "R312": "470k", "R313": "100k", "R314": "10", "R315": "10"},
        "edits": [{"fit": name, "between": ends} for name, ends in places.items()],
    }  # fmt: skip
    found = topic_section("ratings", examine(STOCK, apply_mods(STOCK, parse_mod(mod, "string.toml")))).findings
    (hot,) = [each for each in found if each.subject == "R313 rating"]
    assert (hot.grade, hot.where) == (Grade.BEYOND, "upper on, lower on")
    assert hot.value == pytest.approx(300.0**2 / 100e3, rel=0.3)
    assert {each.subject for each in found if "idle on" in each.where} <= {"R310 rating"}
    assert "parts" not in {each.subject for each in found}
    assert all(each.grade == Grade.FINE for each in found if each.subject in ("R311 rating", "R312 rating"))


@given(st.sets(st.sampled_from("abc"), min_size=1))
def test_a_switch_that_moves_does_so_at_every_position_of_the_others_once(moved: set[str]) -> None:
    examined = examine(STOCK, MODDED)
    control = {"a": "bright", "b": "cathode", "c": "depth"}[min(moved)]
    bare = _without(examined, control)
    wanted = {position_label({name: at for name, at in each.items() if name != control}) for each in examined.every}
    labels = [position_label(each) for each in bare.every]
    assert sorted(labels) == sorted(wanted)
    assert {position_label(each) for each in bare.positions} <= {position_label(each) for each in examined.positions}
    assert all(len(each) > 1 for each in bare.combined)


@pytest.mark.parametrize("against", [True, False])
def test_of_the_combinations_spread_looks_at_the_one_that_does_least(against: bool) -> None:
    """A capacitor adds gain that a resistor across the plate load takes away again, or that another adds to."""
    other = {"fit": "R311", "across": "R3"} if against else {"fit": "C311", "across": "R7"}
    switches = [
        {"designator": "S310", "control": "more", "positions": {"off": [], "on": [{"fit": "C310", "across": "R7"}]}},
        {"designator": "S311", "control": "other", "positions": {"off": [], "on": [other]}},
    ]
    parts = {"C310": "10u"} | ({"R311": "12k"} if against else {"C311": "1u"})
    mod = parse_mod({"name": "both", "reason": "check", "parts": parts, "switches": switches}, "both.toml")
    examined = examine(STOCK, apply_mods(STOCK, mod))
    assert len(examined.combined) == 1
    assert with_least_change(examined).combined == (examined.combined if against else ())
    assert with_least_change(replace(examined, combined=())).combined == ()
