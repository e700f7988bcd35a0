"""Candidates side by side: order changes nothing, stock is called stock, each curve is that of the mod alone."""

from __future__ import annotations

import dataclasses
import itertools
import random
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from ampsim import DescriptionError, apply_mods, load_amp, load_mod, parse_mod
from ampsim.circuit.positions import every_position
from ampsim.interface.commands import main
from ampsim.library.candidates import read_candidates
from ampsim.measures.equal_curves import SAME_DB, equal_curves
from ampsim.measures.sweep import gain_db
from ampsim.pictures.candidates import candidates_picture
from ampsim.pictures.family import family_picture
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.response import simulate
from ampsim.studies.candidates import costs
from ampsim.studies.candidates.comparison import Comparison, compare, compare_at, comparison_text
from ampsim.studies.findings import Finding, Grade
from ampsim.studies.section import Examination, Section

ASKED = ("1u, 22u or none across R11", "gain = linear", "V1 = 12AY7", "cathode-switch", "R4 = 1k5 + 22n across R11")


@cache
def compared(asked: tuple[str, ...] = ASKED) -> Comparison:
    return compare(read_candidates(load_amp("workshop-a"), asked, {"gain": 0.4}))


def gain_of(found: Comparison, label: str) -> xr.DataArray:
    return gain_db(found.response).sel(variant=label).isel(position=0)


def test_candidates_in_any_order_have_the_same_numbers() -> None:
    mixed = list(ASKED)
    random.Random(18).shuffle(mixed)
    one, other = compared(), compared(tuple(mixed))
    assert one.question.labels != other.question.labels
    for label in one.question.labels:
        np.testing.assert_allclose(gain_of(one, label), gain_of(other, label), atol=1e-7)
    tables = [each.table.set_index("candidate").sort_index() for each in (one, other)]
    pd.testing.assert_frame_equal(*tables, rtol=1e-6, atol=1e-7)


def test_nothing_is_left_out_and_what_changes_nothing_is_called_stock() -> None:
    found = compared()
    told = [each.label for each in found.question.candidates if found.question.is_stock[each.label]]
    assert told == ["none across R11"]
    assert "none across R11 is stock" in found.text
    for table in (found.gains, found.costs):
        assert list(table["candidate"]) == found.question.labels
    drawn = found.picture.alternative.lower()
    assert all(label.lower() in drawn for label in found.question.labels)
    assert "stock and none across r11 are the same" in drawn


def test_a_part_replaced_by_its_own_value_is_stock() -> None:
    amp = load_amp("workshop-a")
    found = read_candidates(amp, ["C1 = 1u or 2u2", "R4 = 1.5k", "V1 = ECC83"])
    assert found.is_stock == {"C1 1u": True, "C1 2u2": False, "R4 1.5k": True, "V1 ECC83": True}


def by_hand() -> dict[str, list[dict[str, object]]]:
    return {
        "22u across R11": [{"fit": "C990", "across": "R11"}],
        "gain linear": [{"replace": "P1", "with": "B1M"}],
        "V1 12AY7": [{"replace": "V1", "with": "12AY7"}],
    }


@pytest.mark.parametrize("label", by_hand())
def test_the_curve_of_a_candidate_is_that_of_the_mod_alone(label: str) -> None:
    amp = load_amp("workshop-a")
    parts = {"C990": "22u"} if "C990" in str(by_hand()[label]) else {}
    mod = parse_mod({"name": "by hand", "reason": "-", "parts": parts, "edits": by_hand()[label]})
    alone = gain_db(simulate(apply_mods(amp, mod), FrequencySweep(), [{"gain": 0.4}], ["speaker"]))
    np.testing.assert_allclose(gain_of(compared(), label), alone[0, 0], atol=1e-6)


def test_a_mod_shows_what_it_does_without_being_told_where_its_switch_stands() -> None:
    amp = load_amp("workshop-a")
    last = every_position(apply_mods(amp, load_mod("cathode-switch")), "cathode")[-1]
    assert compared().question.at == {**last, "gain": 0.4}
    assert float(abs(gain_of(compared(), "cathode switch") - gain_of(compared(), "stock")).max()) > 1.0


def test_costs_are_those_of_the_candidate() -> None:
    found = compared().costs.set_index("candidate")
    assert found.loc["22u across R11", "bias"] == "as stock"  # a capacitor carries no direct current
    assert found.loc["V1 12AY7", "bias"].startswith("V1")
    assert found["phase margin [deg]"].notna().all()
    # A louder stage is a noisier amp; at equal gain next to nothing of that is left.
    noise, equal = found.loc["22u across R11", ["noise against stock [dB(A)]", "at equal gain [dB(A)]"]]
    assert noise > 4.0 > 1.0 > abs(equal)


def test_a_limit_that_stock_passes_is_told_of_stock_and_of_what_moves_it() -> None:
    amp = load_amp("workshop-a")
    hot = dataclasses.replace(amp, parts=tuple(
        dataclasses.replace(each, value=82.0) if each.designator == "R28" else each for each in amp.parts
    ))  # fmt: skip
    told = costs.bias_words(read_candidates(hot, ["22u across R11", "R28 = 75"]))
    assert "over the plate dissipation limit" in told[0]
    assert told[1] == "as stock"
    assert "over the plate dissipation limit" in told[2]


def test_alternatives_of_several_pieces_are_combined_and_none_of_a_part_takes_it_out() -> None:
    amp = load_amp("workshop-a")
    found = read_candidates(amp, "R4 = 2k2 or 3k3 + C1 = none or 22u")
    assert found.labels[1:] == ["R4 2k2 + C1 out", "R4 2k2 + C1 22u", "R4 3k3 + C1 out", "R4 3k3 + C1 22u"]


def test_mods_are_named_with_commas_or_or() -> None:
    amp = load_amp("workshop-a")
    names = ["bright switch", "cathode switch", "feedback off"]
    for asked in ("bright-switch, cathode-switch or feedback-off", "bright-switch or cathode-switch, feedback-off"):
        assert read_candidates(amp, asked).labels[1:] == names
    landed = read_candidates(amp, "cold-stage-to-warm at second stage or bright-switch")
    assert landed.labels[1:] == ["cold stage to warm at second stage", "bright switch"]


def test_a_resistor_across_a_knob_lies_from_end_to_end_of_its_track() -> None:
    (mod,) = read_candidates(load_amp("workshop-a"), "330k across gain").candidates[0].amp.mods
    assert mod.edits[0].between == ("P1.top", "P1.bottom")
    assert mod.parts[0].kind == "resistor"


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (["R4 2k2"], "'R4 = 2k2'"),
        (["R99 = 2k2"], "nearest: R9"),
        (["R4 = banana"], "not a resistance"),
        (["22x across R4"], "'22x' is no value; a resistor is written as 2k2"),
        (["1u, 22x or none in series at R4.1"], "'22x' is no value"),
        ([".02 across R4"], "write its unit"),
        (["1u between R4.1"], "two places"),
        (["1u across R4", "1u across R4"], "two candidates are called"),
        ([f"R4 = {value}k" for value in range(1, 14)], "at most 12"),
        ([" + ".join(f"R{n} = {', '.join(f'{k}k' for k in range(1, 10))}" for n in (4, 6, 10, 11))], "at most 12"),
        ([], "at least one"),
    ],
)
def test_what_is_no_candidate_is_refused_with_what_would_do(asked: list[str], told: str) -> None:
    with pytest.raises(DescriptionError, match=told):
        read_candidates(load_amp("workshop-a"), asked)


def test_curves_are_the_same_whichever_order_they_come_in() -> None:
    rng = np.random.default_rng(18)
    base = rng.normal(size=(3, 40))
    near = rng.uniform(-0.45, 0.45, size=(6, 40)) * SAME_DB
    curves = np.array([base[0] + near[0], base[1] + near[1], base[0] + near[2], base[2], base[1], base[0] + near[3]])
    groups = {frozenset(group) for group in equal_curves(curves)}
    assert groups == {frozenset({0, 2, 5}), frozenset({1, 4}), frozenset({3})}
    for order in itertools.islice(itertools.permutations(range(6)), 0, 720, 97):
        mixed = {frozenset(order[place] for place in group) for group in equal_curves(curves[list(order)])}
        assert mixed == groups
    silent = np.full((2, 40), -np.inf)
    assert equal_curves(np.vstack([silent, base])) == [[0, 1], [2], [3], [4]]


def test_the_command_leaves_picture_and_tables(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["compare", "--amp", "workshop-b", "--to", str(tmp_path / "out"), "R1 = 470k or 1M"]
    assert main.main(asked) == 0
    told = capsys.readouterr().out
    assert "What it costs" in told
    assert "R1 1M is stock" in told
    assert (tmp_path / "out" / "candidates.png").is_file()
    assert main.main([*asked, "--at", "volum=0.3"]) == 1
    assert "nearest: volume" in capsys.readouterr().err


def test_a_picture_of_several_positions_asks_for_one() -> None:
    response = compared().response
    both = xr.concat([response, response.assign_coords(position=["other"])], "position")
    with pytest.raises(DescriptionError, match="name one position"):
        candidates_picture(both)
    assert "other" in candidates_picture(both, position="other").alternative


def test_a_control_of_one_candidate_is_not_asked_of_another(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = read_candidates(load_amp("workshop-a"), ["bright-switch", "feedback-off", "none across R11"])
    assert set(asked.at) > {"bright"}
    seen: list[Examination] = []
    finding = Finding("pop", "it", "mod", "here", 0.5, "V", 1.0, Grade.FINE, "", "", "")
    monkeypatch.setattr(
        costs, "pop_section", lambda examined: seen.append(examined) or Section("pop", (finding,), {}, {})
    )
    assert costs.pop_words(asked) == ["no switch", "it 0.5 V, fine", "it 0.5 V, fine", "no switch"]
    for each in seen:
        assert set(each.positions[0]) == set(each.modded.controls) - set(asked.stock.controls)
    # The loop is open in one of them, by a switch that the others do not have.
    assert [np.isnan(each) for each in costs.margin_columns(asked)["phase margin [deg]"]] == [False, False, True, False]


def test_switches_of_one_name_with_positions_of_their_own_stand_each_in_its_last() -> None:
    """Two mods may both bring a "bright" with values of their own: which is better is a plain question."""
    amp = load_amp("workshop-a")
    mods = {
        name: parse_mod({
            "name": name, "reason": "To compare.", "parts": {"C905": value},
            "switches": [{
                "designator": "S905", "control": "bright", "drawn": "open",
                "positions": {"open": [], value: [{"fit": "C905", "between": ["P1.top", "P1.wiper"]}]},
            }],
        }, name)
        for name, value in (("small", "100p"), ("large", "470p"))
    }  # fmt: skip
    found = compare(read_candidates(amp, [*mods.values(), "cathode-switch"], {"gain": 0.4}))
    assert found.question.labels == ["stock", "small (bright 100p)", "large (bright 470p)", "cathode switch"]
    for name, value in (("small", "100p"), ("large", "470p")):
        alone = simulate(apply_mods(amp, mods[name]), FrequencySweep(), [{"gain": 0.4, "bright": value}], ["speaker"])
        own = gain_of(found, f"{name} (bright {value})").squeeze(drop=True)
        np.testing.assert_allclose(own, gain_db(alone).squeeze(drop=True), atol=1e-6)
    assert "bright" not in found.question.at


def test_what_a_control_would_show_else_is_said_as_far_as_it_is_so() -> None:
    """Each control that is told moves some change by 1 dB or more between its positions, each other one by less."""
    amp = load_amp("workshop-a")
    asked = read_candidates(amp, ["bright-switch", "22u across R11", "C2 = none"])
    told = compare(asked).elsewhere
    assert [each.split()[1] for each in told] == ["gain", "bright"]
    for control in ("gain", "bright", "master"):
        values = [0.25, 0.5, 1.0] if control != "bright" else ["open", "120p", "390p"]
        found = compare_at(asked, [{control: value} for value in values])
        assert not any(each.split()[1] == control for each in found[0].elsewhere)
        changes = np.clip([each.changes.iloc[:, 1:].to_numpy() for each in found], -40.0, 40.0)
        assert (np.ptp(changes, axis=0).max() >= 1.0) is np.bool_(any(f"Where {control} " in each for each in told))


def test_several_positions_are_those_of_each_alone_in_one_table() -> None:
    asked = read_candidates(load_amp("workshop-a"), ["bright-switch", "22u across R11"])
    places = [{"bright": "120p", "gain": 0.3}, {"bright": "390p", "gain": 0.3}]
    found = compare_at(asked, places)
    for each, place in zip(found, places, strict=True):
        alone = compare(dataclasses.replace(asked, at=place))
        pd.testing.assert_frame_equal(each.table, alone.table)
    rows = [line.split("  ")[0] for line in comparison_text(found).partition("Change against")[0].splitlines()]
    assert [rows.count(name) for name in ("stock", "bright switch", "22u across R11")] == [1, 2, 1]
    with pytest.raises(DescriptionError, match="at most 12"):
        compare_at(asked, [{}] * 13)


@pytest.mark.parametrize(("loss", "least"), [(100.0, -30.0), (15.0, -20.0)])
def test_a_small_change_can_be_read_beside_a_loss_of_everything(loss: float, least: float) -> None:
    response = compared().response
    scaled = response.isel(variant=[0, 0, 0]).assign_coords(variant=["stock", "little", "much"]).copy(deep=True)
    scaled["voltage"] = scaled["voltage"] * xr.DataArray([1.0, 10 ** (5 / 20), 10 ** (-loss / 20)], dims="variant")
    picture = candidates_picture(scaled)
    low, high = picture.axes[-1].get_ylim()
    assert least < low < 0.0 < 5.0 < high < 10.0
    assert ("much (to −100.0 dB)" in str([each.get_text() for each in picture.texts])) is (loss > 24.0)
    # Positions of one variant likewise.
    stock = response.isel(variant=[0], position=0)
    turned = xr.concat([stock.assign_coords(position=each) for each in ("little", "much")], "position")
    modded = turned.assign_coords(variant=["modded"]).copy(deep=True)
    modded["voltage"] = modded["voltage"] * xr.DataArray([10 ** (5 / 20), 10 ** (-loss / 20)], dims="position")
    both = xr.concat([turned, modded], "variant", combine_attrs="override")
    assert family_picture(both, base="stock").axes[-1].get_ylim() == pytest.approx((low, high))
