"""The laws of mods: disjoint mods commute, none is fitted twice, fights are named, a diff shows what was done."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import ampsim as amp_api
from ampsim.base.errors import DescriptionError
from ampsim.base.quantities import FARAD, OHM, format_value
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods, diff, touched_designators
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_mod, parse_mod
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.netlist import build

AMP = load_amp("workshop-a")
RESISTORS = [part.designator for part in AMP.parts if part.kind == "resistor"]
CAPACITORS = [part.designator for part in AMP.parts if part.kind == "capacitor"]
SHIPPED = sorted(path.stem for path in (models() / "mods").glob("*.toml"))
FOR_A = [name for name in SHIPPED if name != "feedback-with-presence"]


@st.composite
def edits_on(draw, designators, first):
    """Edits that each touch another part of `designators`, and the parts they bring, numbered from `first`."""
    parts, edits = {}, []
    for offset, designator in enumerate(designators):
        action = draw(st.sampled_from(["replace", "across", "series", "lift", "bridge"]))
        value = draw(st.sampled_from([1.0, 1.5, 2.2, 4.7, 6.8])) * 10.0 ** draw(st.integers(2, 5))
        new = f"R{first + offset}"
        if action == "replace":
            kind = OHM if designator.startswith("R") else FARAD
            edits.append({"replace": designator, "with": format_value(value if kind is OHM else 1e-12 * value, kind)})
        elif action in ("lift", "bridge") and designator.startswith("C"):
            edits.append({action: designator} if action == "lift" else {"lift": designator})
        else:
            parts[new] = format_value(value, OHM)
            edits.append(
                {"fit": new} | ({"in_series_at": f"{designator}.1"} if action == "series" else {"across": designator})
            )
    return {"reason": "because", "parts": parts, "edits": edits, "sure": [*designators, *parts]}


@st.composite
def disjoint_mods(draw):
    chosen = draw(st.permutations(RESISTORS + CAPACITORS).map(lambda names: names[:6]))
    one = draw(edits_on(chosen[:3], 700))
    two = draw(edits_on(chosen[3:], 800))
    return parse_mod({"name": "one"} | one, "one.toml"), parse_mod({"name": "two"} | two, "two.toml")


def netlist(amp):
    return build(amp, {}, FrequencySweep(), ("speaker",)).text


@settings(max_examples=60)
@given(disjoint_mods())
def test_disjoint_mods_commute(mods):
    one, two = mods
    assert not touched_designators(one) & touched_designators(two)
    first, second = apply_mods(apply_mods(AMP, one), two), apply_mods(apply_mods(AMP, two), one)
    assert first == second == apply_mods(AMP, two, one)
    assert netlist(first) == netlist(second)


@settings(max_examples=40)
@given(disjoint_mods())
def test_an_amp_never_changes_and_nothing_is_fitted_twice(mods):
    before = (AMP.parts, AMP.stages, AMP.mods, netlist(AMP))
    fitted = apply_mods(AMP, mods[0])
    assert (AMP.parts, AMP.stages, AMP.mods, netlist(AMP)) == before
    with pytest.raises(DescriptionError, match="fitted already"):
        apply_mods(fitted, mods[0])


@settings(max_examples=40)
@given(disjoint_mods())
def test_a_diff_shows_exactly_the_effective_edits(mods):
    mod = mods[0]
    changes = diff(AMP, apply_mods(AMP, mod))
    drawn = AMP.part_by_designator
    effective = [edit for edit in mod.edits if not (edit.action == "replace" and drawn[edit.part].value == edit.value)]
    assert len(changes) == len(effective)
    assert {change.mod for change in changes} == ({mod.name} if effective else set())
    assert diff(AMP, AMP) == []


def test_two_mods_that_fight_over_a_part_are_refused_by_name():
    rival = parse_mod({"name": "rival", "reason": "r", "edits": [{"replace": "R20", "with": "33k"}]})
    with pytest.raises(DescriptionError, match=r"'rival' and mod 'feedback resistor' both change R20"):
        apply_mods(AMP, load_mod("feedback-resistor"), rival)


def test_two_mods_that_bring_the_same_designator_are_refused():
    twin = parse_mod(
        {"name": "twin", "reason": "r", "parts": {"C101": "1n"}, "edits": [{"fit": "C101", "across": "R6"}]}
    )
    with pytest.raises(DescriptionError, match="both bring C101"):
        apply_mods(AMP, load_mod("bright-switch"), twin)


@pytest.mark.parametrize("name", FOR_A)
def test_every_shipped_mod_fits_amp_a_and_changes_it(name):
    mod = load_mod(name)
    modded = apply_mods(AMP, mod)
    assert diff(AMP, modded)
    texts = {
        build(modded, position, FrequencySweep(), ("speaker",)).text
        for position in amp_api.every_position(modded, *(switch.control for switch in mod.switches))
    }
    assert texts - {netlist(AMP)}


def test_a_resistor_across_equals_the_parallel_value_and_in_series_equals_the_sum():
    fit_across, fit_in_series = {"fit": "R950", "across": "R7"}, {"fit": "R951", "in_series_at": "R7.2"}
    across = parse_mod({"name": "across", "reason": "r", "parts": {"R950": "8k2"}, "edits": [fit_across]})
    series = parse_mod({"name": "series", "reason": "r", "parts": {"R951": "4k1"}, "edits": [fit_in_series]})
    half = parse_mod({"name": "half", "reason": "r", "edits": [{"replace": "R7", "with": "4k1"}]})
    more = parse_mod({"name": "more", "reason": "r", "edits": [{"replace": "R7", "with": "12k3"}]})
    variants = [apply_mods(AMP, mod) for mod in (across, half, series, more)]
    volts = abs(amp_api.simulate(variants, nodes=["speaker"])["voltage"].values[:, 0, 0])
    # 1e-6 relative is the engine's own tolerance on the bias point, carried to the gain.
    np.testing.assert_allclose(volts[0], volts[1], rtol=1e-5)
    np.testing.assert_allclose(volts[2], volts[3], rtol=1e-5)


def test_a_lifted_leg_that_leaves_a_grid_floating_is_refused():
    mod = parse_mod({"name": "no leak", "reason": "r", "edits": [{"lift": "R16"}, {"lift": "R9"}]})
    with pytest.raises(DescriptionError, match="no DC path"):
        build_circuit(apply_mods(AMP, mod))


def test_a_mod_may_put_another_valve_in():
    mod = parse_mod({"name": "cooler valve", "reason": "r", "edits": [{"replace": "V1A", "with": "12AY7"}]})
    change = diff(AMP, apply_mods(AMP, mod))[0]
    assert (change.before, change.after) == ("12AX7", "12AY7")
    assert "valve_12ay7" in netlist(apply_mods(AMP, mod))


def test_a_pull_pot_is_a_switch_on_a_pots_shaft():
    pull = {
        "name": "pull",
        "reason": "r",
        "parts": {"C990": "1n"},
        "switches": [
            {
                "designator": "S990",
                "control": "pull bright",
                "shaft": "P1",
                "positions": {"in": [], "out": [{"fit": "C990", "between": ["P1.top", "P1.wiper"]}]},
            }
        ],
    }
    assert apply_mods(AMP, parse_mod(pull)).controls["pull bright"].positions == ("in", "out")
    pull["switches"][0]["shaft"] = "P77"
    with pytest.raises(DescriptionError, match="shaft of P77, which is no pot of this amp"):
        apply_mods(AMP, parse_mod(pull))
    pull["switches"][0]["shaft"] = "P1"
    second = {**pull["switches"][0], "designator": "S991", "control": "pull more"}
    with pytest.raises(DescriptionError, match="S990 is already"):
        apply_mods(AMP, parse_mod(pull | {"switches": [*pull["switches"], second]}))
    with pytest.raises(DescriptionError, match="which a mod takes out"):
        apply_mods(AMP, parse_mod(pull | {"edits": [{"lift": "P1"}]}))
