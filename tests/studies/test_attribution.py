"""Attribution: shares add up to the whole, nothing for nothing, and edits that need each other stay together."""

import itertools

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.base.quantities import FARAD, OHM, format_value
from ampsim.circuit.differences import plan
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, load_mod, parse_amp, parse_mod
from ampsim.measures.sweep import gain_db
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.response import simulate
from ampsim.studies.brightness.attribution import attribute, share_out, try_all

AMP = load_amp("workshop-a")
THREE = apply_mods(AMP, *(load_mod(name) for name in ("bright-switch", "cathode-switch", "depth")))
PLACED = {"bright": "390p", "cathode": "2k7 and 1u", "gain": 0.3, "depth": 0.7}
COARSE = FrequencySweep(per_decade=5)
RESISTORS = [part.designator for part in AMP.parts if part.kind == "resistor"]
CAPACITORS = [part.designator for part in AMP.parts if part.kind == "capacitor"]


def mod(*edits, name="m", parts=None, nets=()):
    tables = {"name": name, "reason": "r", "parts": parts or {}, "edits": list(edits)}
    return parse_mod(tables | ({"nets": list(nets)} if nets else {}))


@st.composite
def disjoint_edits(draw):
    """A mod whose edits each touch another part: another value, a part or two in a row across it, one in series."""
    chosen = draw(st.lists(st.sampled_from(RESISTORS + CAPACITORS), min_size=1, max_size=4, unique=True))
    parts, edits, nets = {}, [], []
    for number, designator in enumerate(chosen):
        action = draw(st.sampled_from(["replace", "across", "series", "row"]))
        factor = draw(st.sampled_from([0.22, 0.47, 1.0, 2.2, 4.7]))
        value = AMP.part_by_designator[designator].value * factor
        quantity = OHM if designator.startswith("R") else FARAD
        if action == "replace":
            edits.append({"replace": designator, "with": format_value(value, quantity)})
        elif action == "row":
            nets.append(f"between_{number}")
            parts |= {f"{designator[0]}{700 + number}": format_value(value, quantity), f"R{800 + number}": "4k7"}
            edits += [
                {"fit": f"{designator[0]}{700 + number}", "between": [f"{designator}.1", nets[-1]]},
                {"fit": f"R{800 + number}", "between": [nets[-1], f"{designator}.2"]},
            ]
        else:
            new = f"{designator[0] if action == 'across' else 'R'}{700 + number}"
            parts[new] = format_value(value, quantity) if action == "across" else "4k7"
            edits.append({"fit": new} | ({action: designator} if action == "across" else {}))
            if action == "series":
                edits[-1]["in_series_at"] = f"{designator}.1"
    return mod(*edits, parts=parts, nets=nets), len(chosen)


@settings(max_examples=25)
@given(disjoint_edits(), st.floats(0.0, 1.0))
def test_shares_of_random_edits_add_up_to_the_whole(drawn, gain):
    one, count = drawn
    modded = apply_mods(AMP, one)
    shares = attribute(AMP, modded, {"gain": gain}, sweep=COARSE)
    assert shares.sizes["edit"] <= count
    assert shares.attrs["circuits"] == 2 ** shares.sizes["edit"]
    assert float(abs(shares.sum("edit") - shares["total"]).max()) <= 1e-9
    both = gain_db(simulate([AMP, modded], COARSE, [{"gain": gain}], ["speaker"]))
    # The engine's own tolerance on the bias point is what is left between two ways to the same circuit.
    np.testing.assert_allclose(shares["total"], both[1, 0] - both[0, 0], atol=1e-4)


@settings(max_examples=10)
@given(st.sampled_from(RESISTORS), st.sampled_from(["C2", "C5", "C11"]))
def test_an_edit_without_effect_gets_nothing(resistor, capacitor):
    assume(resistor != capacitor)
    same = format_value(AMP.part_by_designator[resistor].value, OHM)
    modded = apply_mods(AMP, mod({"replace": resistor, "with": same}, {"replace": capacitor, "with": "1n"}))
    shares = attribute(AMP, modded, sweep=COARSE)
    assert list(shares["edit"].values) == [resistor, capacitor]
    assert float(abs(shares.sel(edit=resistor)).max()) <= 1e-9
    assert float(abs(shares.sel(edit=capacitor)).max()) > 0.1


def test_two_equal_parts_in_one_place_get_equal_shares():
    twins = mod(
        {"fit": "C701", "across": "R11"}, {"fit": "C702", "across": "R11"}, parts={"C701": "100n", "C702": "100n"}
    )
    shares = attribute(AMP, apply_mods(AMP, twins))
    np.testing.assert_allclose(shares[0], shares[1], atol=1e-9)
    # Either alone would do more than its share: the two overlap, so one-at-a-time sums miss.
    gain = try_all(AMP, apply_mods(AMP, twins)).gain.values
    assert np.max(gain[1] - gain[0] - shares[0].values) > 0.1


def test_the_glove_game():
    # One left glove, two right ones, worth 1 a pair: (4, 1, 1) / 6, the textbook example of the Shapley value.
    worth = [float(bool(n & 1) and bool(n & 6)) for n in range(8)]
    np.testing.assert_allclose(share_out(np.array(worth)), [4 / 6, 1 / 6, 1 / 6], rtol=1e-12)


@given(st.lists(st.floats(-50.0, 50.0), min_size=16, max_size=16))
def test_shares_are_the_mean_over_all_orders(values):
    worth = np.array(values)
    gained = np.zeros(4)
    for order in itertools.permutations(range(4)):
        done = 0
        for step in order:
            gained[step] += worth[done | 1 << step] - worth[done]
            done |= 1 << step
    np.testing.assert_allclose(share_out(worth), gained / 24.0, atol=1e-9)


def test_parts_that_need_each_other_are_one_edit():
    steps, _ = plan(AMP, THREE, PLACED)
    assert [step.name for step in steps] == ["C102", "R103", "C103", "P104 with C104"]
    assert steps[0].words == "capacitor C102 390p (bright switch)"
    assert steps[3].words == "pot P104 500k audio 10 % with capacitor C104 6n8 (depth)"
    series, _ = plan(AMP, apply_mods(AMP, load_mod("partial-bypass")))
    assert [step.name for step in series] == ["C108 with R108"]


def test_what_would_leave_a_grid_floating_is_done_together():
    moved = mod(
        {"lift": "R16"},
        {"fit": "R701", "between": ["V3A.grid", "ground"]},
        {"replace": "R20", "with": "100k"},
        parts={"R701": "2M2"},
    )
    steps, _ = plan(AMP, apply_mods(AMP, moved))
    assert sorted(step.name for step in steps) == ["R16 with R701", "R20"]


def test_edits_are_counted_as_asked():
    names = {by: [step.name for step in plan(AMP, THREE, PLACED, by)[0]] for by in ("mod", "switch")}
    assert sorted(names["mod"]) == ["bright switch", "cathode switch", "depth"]
    assert sorted(names["switch"]) == ["bright", "cathode", "depth"]
    mine, _ = plan(AMP, THREE, PLACED, {"R103": "bypass", "C103": "bypass"})
    assert "bypass" in [step.name for step in mine]
    with pytest.raises(DescriptionError, match="not by 'mood'; nearest: mod"):
        plan(AMP, THREE, PLACED, "mood")


def test_two_positions_of_one_amp():
    before = {"bright": "120p", "gain": 0.3}
    shares = attribute(THREE, THREE, {"bright": "390p", "gain": 0.3}, base_position=before, by="switch")
    assert list(shares["words"].values) == ["capacitor C102 390p instead of capacitor C101 120p (bright switch)"]
    both = gain_db(simulate(THREE, positions=[before, {"bright": "390p", "gain": 0.3}], nodes=["speaker"]))
    np.testing.assert_allclose(shares[0], both[0, 1] - both[0, 0], atol=1e-6)
    with pytest.raises(DescriptionError, match="knob 'gain' stands differently"):
        attribute(THREE, THREE, {"bright": "390p", "gain": 0.5}, base_position=before)


def test_what_cannot_be_shared_out_is_refused():
    many = mod(*({"replace": name, "with": "56k"} for name in RESISTORS[:7]))
    with pytest.raises(DescriptionError, match=r"7 edits \(.*\) would take 128 circuits; at most 6"):
        attribute(AMP, apply_mods(AMP, many))
    with pytest.raises(DescriptionError, match="nothing to share out"):
        attribute(AMP, AMP)
    with pytest.raises(DescriptionError, match="not the same drawing"):
        attribute(AMP, load_amp("workshop-b"))
    with pytest.raises(DescriptionError, match="no control 'brigt'"):
        attribute(AMP, THREE, {"brigt": "390p"})
    with pytest.raises(DescriptionError, match="nothing but ground"):
        attribute(AMP, THREE, PLACED, node="ground")


def test_no_signal_has_no_decibels():
    coupling = {"name": "c", "template": "coupling", "capacitor": "C1", "shunt_resistor": "R1"}
    plain = parse_amp({"name": "plain", "about": "a", "parts": {"C1": "22n", "R1": "1M"}, "stages": [coupling]})
    with pytest.raises(DescriptionError, match="no signal at 'speaker' with C1;"):
        attribute(plain, apply_mods(plain, mod({"lift": "C1"})))


def test_the_result_is_labelled():
    shares = attribute(AMP, THREE, PLACED, node="V1B.plate", by="mod", sweep=COARSE)
    assert shares.dims == ("edit", "frequency")
    assert shares.attrs["units"] == shares["total"].attrs["units"] == "dB"
    assert (shares.attrs["node"], shares.attrs["circuits"]) == ("V1B.plate", 8)
    assert "1953" in shares.attrs["source"]
    # Up to the cold stage's plate the depth control, far behind it, does next to nothing.
    assert float(abs(shares.sel(edit="depth")).max()) < 0.05
