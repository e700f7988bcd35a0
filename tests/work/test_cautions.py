"""The caution sheet: stored charge and discharge against closed forms, bleeders found or missed, and its words."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim import DescriptionError, apply_mods, load_amp, load_mod, parse_mod
from ampsim.base.caution import CAUTION
from ampsim.circuit.amp import Amp, Edit, Mod
from ampsim.circuit.dc_paths import ohms_between
from ampsim.circuit.supply.transformer import MainsTransformer
from ampsim.simulation.unpowered import dead_amp
from ampsim.work.cautions.discharge import ChargedCapacitor, fall_times
from ampsim.work.cautions.sheet import CautionSheet, caution_sheet
from ampsim.work.cautions.stored_charges import SAFE_COULOMBS, SAFE_VOLTS, StoredCharge
from tests.tools.any_amps import made_amp
from tests.tools.any_mods import mod_of, single_mods
from tests.truth.bench import amp, rail, stage, wired

HABITS = ("Mains", "Discharge", "Verify", "Earth", "One hand", "Hot glass", "Load", "Fuse", "Insulation", "Local codes")


@lru_cache(maxsize=4)
def sheet(name: str = "workshop-a", bleeder: str = "") -> CautionSheet:
    stock = load_amp(name)
    return caution_sheet(apply_mods(stock, bled(bleeder)) if bleeder else stock)


def bled(ohms: str, place: str = "B1") -> Mod:
    tables = {"name": "bleeder", "reason": "Empties the reservoirs.", "parts": {"R160": ohms}}
    return parse_mod(tables | {"edits": [{"fit": "R160", "between": [place, "ground"]}]})


def charge(found: CautionSheet, part: str) -> StoredCharge:
    return next(each for each in found.charges if each.part == part)


# Closed forms ---------------------------------------------------------------------------------------------------------


@given(st.floats(61.0, 900.0), st.floats(1e-6, 1e-3), st.floats(1e3, 1e7))
def test_one_capacitor_and_its_bleeder(volts: float, farads: float, ohms: float) -> None:
    (found,) = fall_times([("b", "0", ohms)], [ChargedCapacitor("b", "0", farads, volts)], 60.0)
    # The lead of one ohm that the solver gives each capacitor.
    assert found == pytest.approx((ohms + 1.0) * farads * math.log(volts / 60.0), rel=1e-4, abs=1e-4)


@given(st.floats(100.0, 900.0), st.floats(1e-6, 1e-3), st.floats(1e-6, 1e-3), st.floats(1e3, 1e6))
def test_a_bank_side_by_side_adds_up(volts: float, one: float, other: float, ohms: float) -> None:
    bank = [ChargedCapacitor("b", "0", one, volts), ChargedCapacitor("b", "0", other, volts)]
    expected = ohms * (one + other) * math.log(volts / 60.0)
    assert fall_times([("b", "0", ohms)], bank, 60.0) == pytest.approx([expected] * 2, rel=2e-3)


@given(st.floats(130.0, 900.0), st.floats(1e-6, 1e-3), st.floats(1e4, 1e6))
def test_a_stack_of_two_with_balancing_resistors(volts: float, farads: float, ohms: float) -> None:
    stack = [ChargedCapacitor("top", "mid", farads, volts / 2.0), ChargedCapacitor("mid", "0", farads, volts / 2.0)]
    expected = ohms * farads * math.log(volts / 2.0 / 60.0)
    paths = [("top", "mid", ohms), ("mid", "0", ohms)]
    assert fall_times(paths, stack, 60.0) == pytest.approx([expected] * 2, rel=1e-3, abs=1e-4)


@given(st.floats(100.0, 900.0), st.floats(1e-6, 1e-4), st.floats(1e3, 1e5), st.floats(1e4, 1e6))
def test_two_filters_against_the_quadratic(volts: float, farads: float, series: float, ohms: float) -> None:
    """Two equal capacitors, a resistor between them and a bleeder: both rates are roots of a quadratic."""
    g, b = 1.0 / series, 1.0 / ohms
    root = math.sqrt((2.0 * g + b) ** 2 - 4.0 * g * b)
    slow, fast = ((2.0 * g + b - root) / (2.0 * farads), (2.0 * g + b + root) / (2.0 * farads))
    pair = [ChargedCapacitor("b", "0", farads, volts), ChargedCapacitor("c", "0", farads, volts)]
    first, second = fall_times([("b", "0", ohms), ("b", "c", series)], pair, 60.0)
    assert second >= first * (1.0 - 1e-9)
    # v_c = A e^(-slow t) + B e^(-fast t) with v_c = volts and no current into it at first.
    share = fast / (fast - slow)
    left = volts * (share * math.exp(-slow * second) + (1.0 - share) * math.exp(-fast * second))
    assert left == pytest.approx(60.0, rel=5e-3)


def test_no_way_no_fall_and_below_is_no_time() -> None:
    held = [
        ChargedCapacitor("b", "0", 50e-6, 450.0),
        ChargedCapacitor("c", "0", 50e-6, 59.0),
        ChargedCapacitor("d", "0", 50e-6, 61.0),
    ]
    assert fall_times([("b", "d", 1e4)], held, 60.0) == [math.inf, 0.0, math.inf]
    assert fall_times([], [], 60.0) == []


def test_an_empty_capacitor_fills_from_its_neighbour_before_both_fall() -> None:
    pair = [ChargedCapacitor("b", "0", 100e-6, 400.0), ChargedCapacitor("c", "0", 10e-6, 0.0)]
    both = fall_times([("b", "0", 1e5), ("b", "c", 1e3)], pair, 60.0)
    assert both[1] == pytest.approx(both[0], rel=0.01)
    assert both[1] > 10.0


@given(st.lists(st.floats(1.0, 1e7), min_size=1, max_size=5))
def test_ohms_between_places_both_off_ground(chain: list[float]) -> None:
    ends = [f"n{place}" for place in range(len(chain) + 1)]
    paths = [(one, two, ohms) for one, two, ohms in zip(ends[:-1], ends[1:], chain, strict=True)]
    assert ohms_between(paths, ends[0], ends[-1]) == pytest.approx(sum(chain), rel=1e-6)
    assert ohms_between(paths, ends[0], "0") == math.inf
    assert ohms_between(paths, "0", "0") == 0.0


# Amps -----------------------------------------------------------------------------------------------------------------


def test_reservoirs_of_the_demo_amp_have_no_bleeder() -> None:
    assert [each.part for each in sheet().charges] == ["C50", "C51", "C52", "C53"]
    for each in sheet().charges:
        assert each.reservoir
        assert each.hazardous
        assert math.isinf(each.falls_s)
        assert each.bleeder == ()
    first = charge(sheet(), "C50")
    assert first.cold_volts == pytest.approx(318.0, abs=0.1)  # the rail of the description, nothing drawn from it
    assert first.joules[1] == pytest.approx(0.5 * 47e-6 * 318.0**2, rel=1e-3)
    assert first.coulombs[1] == pytest.approx(47e-6 * 318.0, rel=1e-3)
    assert first.rest_volts < first.cold_volts
    assert "NO BLEEDER is drawn for C50, C51, C52, C53" in sheet().text()


def test_a_bleeder_on_the_first_rail_serves_all_and_the_last_waits_longest() -> None:
    found = sheet(bleeder="220k")
    first, last = charge(found, "C50"), charge(found, "C53")
    assert first.bleeder == ("R160",)
    assert first.bleeder_ohms == pytest.approx(220e3)
    assert last.bleeder_ohms == pytest.approx(220e3 + 1e3 + 10e3 + 10e3)
    assert set(last.bleeder) == {"R160", "R51", "R52", "R53"}
    bank = 220e3 * (47e-6 + 47e-6 + 22e-6 + 22e-6) * math.log(318.0 / SAFE_VOLTS)
    assert first.falls_s == pytest.approx(bank, rel=0.05)  # dropping resistors are small beside the bleeder
    assert first.falls_s < last.falls_s < 1.1 * first.falls_s
    assert "NO BLEEDER" not in found.text()
    assert "220k (R160)" in found.text()


def test_a_path_through_a_valve_or_a_capacitor_is_no_bleeder() -> None:
    follower = dead_amp(load_amp("workshop-a"))
    assert follower.ohms("B3") == math.inf  # plate to cathode would conduct while warm
    assert follower.ohms("V2B.cathode") == pytest.approx(100e3, rel=0.05)
    assert follower.ohms("R3.1", "R3.2") == pytest.approx(100e3)


def test_a_bleeder_that_a_switch_takes_away_does_not_count() -> None:
    tables = {"name": "switched", "reason": "A bleeder on a switch.", "parts": {"R160": "220k"}}
    fitted = {"on": [{"fit": "R160", "between": ["B1", "ground"]}], "off": []}
    switch = {"designator": "S160", "control": "bleed", "drawn": "on", "positions": fitted}
    modded = apply_mods(load_amp("workshop-a"), parse_mod(tables | {"switches": [switch]}))
    assert math.isfinite(charge(caution_sheet(modded, [{"bleed": "on"}]), "C50").falls_s)
    assert math.isinf(charge(caution_sheet(modded, [{"bleed": "on"}, {"bleed": "off"}]), "C50").falls_s)


def test_before_a_mod_is_fitted_what_holds_more_or_longer_without_it_counts() -> None:
    stock = load_amp("workshop-a")
    mods = [(stock, apply_mods(stock, bled("220k")))]
    mods += [(mod.amp.amp, mod.modded) for mod in single_mods(5, 19)]
    mods += [(mod.amp.amp, mod.modded) for mod in [mod_of("another rail voltage", made_amp(13, 27))] if mod]
    assert len(mods) == 7
    for drawn, modded in mods:
        both = caution_sheet(modded, opened=drawn)
        listed = {each.part: each for each in both.charges}
        for one in (caution_sheet(drawn), caution_sheet(modded, opened=modded)):
            for each in one.charges:
                assert listed[each.part].volts >= each.volts
                assert listed[each.part].falls_s >= each.falls_s
                assert max(listed[each.part].joules) >= max(each.joules)
    assert "NO BLEEDER" in caution_sheet(mods[0][1], opened=stock).text()
    assert "NO BLEEDER" not in caution_sheet(mods[0][1]).text()


def test_positions_of_a_switch_that_is_still_to_be_fitted_are_looked_at() -> None:
    stock = load_amp("workshop-b")
    modded = apply_mods(stock, load_mod("bright-switch"), parse_mod(other_rail("bias", -31.0)))
    assert "Rail bias (-31 V)" in caution_sheet(modded, [{"bright": "390p"}]).text()


@pytest.mark.parametrize("volts", [-31.0, -12.0])
def test_a_rail_without_reservoir_is_told_at_the_most_that_it_stands_at(volts: float) -> None:
    found = caution_sheet(apply_mods(load_amp("workshop-b"), parse_mod(other_rail("bias", volts))))
    assert f"Rail bias ({min(volts, -20.0):g} V)" in found.text()


def other_rail(name: str, volts: float) -> dict[str, Any]:
    return {"name": "other volts", "reason": "r", "edits": [{"rail": name, "volts": volts}]}


def test_windings_of_a_transformer_that_a_mod_puts_in_are_told() -> None:
    stock = load_amp("ballroom")
    drawn = next(each for each in stock.parts if isinstance(each, MainsTransformer))
    other = replace(drawn, mains=1.2 * drawn.mains)
    modded = replace(stock, mods=(Mod("other mains", "", (), (Edit("replace", drawn.designator, other),), ()),))
    told, before = (
        [each for each in caution_sheet(amp, opened=stock).sentences if "alternating" in each]
        for amp in (modded, stock)
    )
    assert before
    assert set(told) > set(before)


def test_small_capacitors_are_counted_and_low_ones_left_out() -> None:
    words = "\n".join(sheet().sentences)
    assert "less than 45 uC" in words
    assert "C12 holds most" in words
    assert "C14" not in words  # a cathode bypass: much charge, few volts


def test_a_large_coupling_capacitor_is_listed_too() -> None:
    assert SAFE_COULOMBS < 1e-6 * 250.0
    assert any(each.part == "C2" and not each.reservoir for each in caution_sheet(_coupled("1u")).charges)
    assert not any(each.part == "C2" for each in caution_sheet(_coupled("22n")).charges)


def _coupled(value: str) -> Amp:
    parts = {"R1": "100k", "R2": "1M", "C2": value, "C1": "10u", "R3": "1k"}
    wires = wired("feed", R1=["B1", "a"], C2=["a", "out"], R2=["out", "ground"], R3=["in", "ground"])
    return amp(parts, [wires], rail("B1", 250.0, reservoir="C1"))


def test_a_rail_without_reservoir_is_taken_as_charged() -> None:
    words = "\n".join(sheet("workshop-b").sentences)
    assert "Rail bias (-20 V) has no reservoir in the description" in words


def test_the_sheet_says_everything_that_keeps_hands_safe() -> None:
    text = sheet().text()
    assert CAUTION in text
    for habit in HABITS:
        assert f"- {habit}" in text
    for source in ("IEC 60065", "IEC 61010-1", "IEC 62368-1", "45 uC", "from memory"):
        assert source in text
    assert "bias, heater" in text
    assert "mains side" in text
    assert "allows work on a live amp" in text
    assert "Nothing here" in text
    assert len(sheet().table) == 4
    assert text.count("never") >= 8


def test_mods_of_the_drawer_keep_their_caution() -> None:
    found = caution_sheet(apply_mods(load_amp("workshop-a"), load_mod("cathode-switch")))
    assert found.variant == "cathode switch"
    assert len(found.charges) == 4


def test_no_position_is_refused() -> None:
    with pytest.raises(DescriptionError, match="at least one position"):
        caution_sheet(load_amp("workshop-a"), [])


def test_signs_of_other_files_do_not_break_lines() -> None:
    stock = load_amp("lesson-stage")
    shown = CautionSheet("a\nb\x1b[31m", stock.variant, (), ("one\ntwo",)).text()
    assert "\x1b" not in shown
    assert "a b" in shown
    assert "- one two" in shown


def test_loads_on_the_output_are_no_path_for_the_supplies() -> None:
    circuit = amp({"R1": "4k"}, [stage("load", load="R1")])
    assert caution_sheet(circuit).charges == ()
