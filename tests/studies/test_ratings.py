"""What parts and valves carry: closed forms, conservation of energy, limits, and mods that overload something."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from ampsim import DescriptionError, OperatingPoint, Sine, apply_mods, load_amp, load_mod, simulate
from ampsim.circuit.amp import Pot
from ampsim.circuit.dc_paths import dc_ohms
from ampsim.library.files import models
from ampsim.library.loader import parse_amp, parse_mod
from ampsim.measures.bias import bias_table
from ampsim.measures.labels import records
from ampsim.measures.loads import Span, track_watts, valve_load
from ampsim.pictures.canvas import png
from ampsim.simulation.analyses import PortSweep
from ampsim.simulation.facts import VALVES, get, put
from ampsim.studies.findings import Finding, worst
from ampsim.studies.loudest import loudest_knobs
from ampsim.studies.ratings import simulate as module
from ampsim.studies.ratings.findings import moved_ratings, ratings_findings
from ampsim.studies.ratings.part_findings import part_words
from ampsim.studies.ratings.parts import part_ratings, with_fitted_ratings, worst_parts
from ampsim.studies.ratings.picture import ratings_picture
from ampsim.studies.ratings.section import section
from ampsim.studies.ratings.simulate import EQUAL_VALVES, HARD, Known, stress
from ampsim.studies.ratings.usual import standard_volts, standard_watts
from ampsim.studies.ratings.valve_findings import grade
from ampsim.studies.ratings.valves import GRID_LEAK, is_fixed_bias, valve_ratings
from ampsim.studies.section import Examination
from ampsim.work.cautions.stored_charges import discharge_s, stored_coulombs, stored_joules
from tests.truth.bench import amp, rail, stage, wired

BAD_MODS = Path(__file__).parents[1] / "bad_mods"
BAD = ("hot-output", "bare-screens", "cold-filter")
SHORT = (Sine(1000.0, 0.05, 0.02, 4),)


@lru_cache(maxsize=1)
def everything() -> xr.Dataset:
    """The stock amp, one good mod and the deliberately wrong ones."""
    stock = load_amp("workshop-a")
    mods = [load_mod("bright-switch"), *(load_mod(str(BAD_MODS / f"{name}.toml")) for name in BAD)]
    return stress([stock, *(apply_mods(stock, mod) for mod in mods)])


def against_stock(variant: str) -> xr.Dataset:
    names = [str(each) for each in everything()["variant"].values]
    return everything().isel(variant=[0, names.index(variant)])


def findings(variant: str) -> dict[str, Finding]:
    return {each.subject: each for each in ratings_findings(against_stock(variant))}


@lru_cache(maxsize=1)
def fixed_bias_amp() -> xr.Dataset:
    return stress(load_amp("workshop-b"), tones=SHORT)


# Arithmetic -----------------------------------------------------------------------------------------------------------


@given(st.lists(st.floats(1.0, 1e7), min_size=1, max_size=6), st.floats(1.0, 1e7))
def test_dc_resistance_of_resistors_in_series_beside_another(chain: list[float], beside: float) -> None:
    nets = [f"n{place}" for place in range(len(chain))] + ["0"]
    branches = [(nets[place], nets[place + 1], ohms) for place, ohms in enumerate(chain)]
    assert dc_ohms(branches, "n0") == pytest.approx(sum(chain), rel=1e-6)
    both = dc_ohms([*branches, ("n0", "0", beside)], "n0")
    assert both == pytest.approx(1.0 / (1.0 / sum(chain) + 1.0 / beside), rel=1e-6)


def test_dc_resistance_of_a_bridge_and_of_nothing() -> None:
    # Balanced: no current in the middle, so 1k + 1k beside 2k + 2k.
    bridge = [("a", "l", 1e3), ("l", "0", 1e3), ("a", "r", 2e3), ("r", "0", 2e3), ("l", "r", 7.0)]
    assert dc_ohms(bridge, "a") == pytest.approx(4e3 / 3.0)
    assert dc_ohms([("b", "0", 1.0)], "a") == math.inf
    assert dc_ohms(bridge, "0") == 0.0


def test_mean_by_trapezoid_does_not_heed_where_instants_crowd() -> None:
    time = np.concatenate([np.linspace(0.0, 0.9, 10), np.linspace(0.901, 1.0, 1000)])
    span = Span(time, 0.25)
    assert span.mean(3.0 * time) == pytest.approx(3.0 * 0.625, rel=1e-9)
    assert np.mean(time[time > 0.25]) > 0.9  # what a plain mean would say
    assert Span(np.zeros(1)).mean(np.array([7.0])) == 7.0


@given(st.floats(0.2, 2.0), st.floats(0.1, 0.9))
def test_a_track_is_rated_by_its_current(volts: float, fraction: float) -> None:
    track = 1e6
    part = track_watts(np.array([volts * fraction]), fraction * track, track)
    # The same current through the whole track gives the whole voltage: V**2 / R.
    assert part[0] == pytest.approx(volts**2 / track)


def test_a_valve_dissipates_volts_times_amperes_against_its_cathode() -> None:
    load = valve_load({"plate": 300.0, "grid": 0.0, "screen": 290.0, "cathode": 10.0},
                      {"plate": 0.04, "screen": 0.005, "grid": 1e-6})  # fmt: skip
    assert float(load.plate_watts) == pytest.approx(11.6)
    assert float(load.screen_watts) == pytest.approx(1.4)
    assert float(load.cathode_amps) == pytest.approx(0.045001)
    triode = valve_load({"plate": 100.0, "cathode": 1.0}, {"plate": 1e-3})
    assert math.isnan(float(triode.screen_watts))
    assert float(triode.cathode_amps) == 1e-3


@given(st.floats(61.0, 900.0), st.floats(1e-6, 1e-3), st.floats(1e3, 1e6))
def test_a_capacitor_has_fallen_to_60_volts_after_its_discharge_time(volts: float, farads: float, ohms: float) -> None:
    seconds = discharge_s(volts, farads, ohms)
    assert volts * math.exp(-seconds / (ohms * farads)) == pytest.approx(60.0)
    assert discharge_s(59.0, farads, ohms) == 0.0
    assert stored_joules(volts, farads) == pytest.approx(0.5 * volts * stored_coulombs(volts, farads))


def test_discharge_refuses_what_is_no_resistance() -> None:
    with pytest.raises(DescriptionError, match="ohms"):
        discharge_s(400.0, 1e-6, 0.0)
    with pytest.raises(DescriptionError, match="farads"):
        discharge_s(400.0, math.nan, 1e3)


# Simulated ------------------------------------------------------------------------------------------------------------


def test_what_the_supply_gives_is_what_parts_and_valve_take_up() -> None:
    parts = {"V1": "12AX7", "R1": "1M", "R2": "100k", "R3": "1k5", "C1": "22u", "C2": "220n", "R4": "47k"}
    stages = [
        stage("triode stage", valve="V1", supply="B1", grid_leak="R1", plate_load="R2", cathode_resistor="R3",
              cathode_bypass="C1"),
        stage("coupling", capacitor="C2", shunt_resistor="R4"),
    ]  # fmt: skip
    found = stress(amp(parts, stages, rail("B1", 300.0)), tones=[Sine(1000.0, 0.5, 0.3, 8)])
    for state in ("rest", "driven"):
        here = found.isel(variant=0, position=0).sel(state=state)
        taken = float(here["electrode_watts"].sum()) + float(here["part_watts"].sel(part=["R2", "R3", "R4"]).sum())
        given_up = 300.0 * float(here["cathode_amps"].sel(valve="V1"))
        assert given_up == pytest.approx(taken, rel=3e-3)
    # What the signal brings to the load is well above that tolerance.
    assert float(here["part_watts"].sel(part="R4")) > 8e-3 * given_up


def test_at_rest_the_watts_of_the_bias_table() -> None:
    table = bias_table(simulate(load_amp("workshop-a"), OperatingPoint())).set_index("valve")
    rest = everything().isel(variant=0, position=0).sel(state="rest")
    for valve in table.index:
        watts = float(rest["electrode_watts"].sel(electrode=f"{valve}.plate"))
        assert watts == pytest.approx(table.loc[valve, "plate [W]"], rel=1e-6)


def test_cold_valves_leave_the_whole_supply_on_capacitors() -> None:
    stock = everything().isel(variant=0, position=0)
    volts = stock["part_volts"].sel(state="cold")
    for capacitor in ("C2", "C3", "C12", "C50", "C51", "C52", "C53"):
        assert float(volts.sel(part=capacitor)) == pytest.approx(318.0, abs=0.01)
    assert float(stock["part_volts"].sel(part="C2", state="rest")) < 200.0
    assert float(np.nanmax(abs(stock["electrode_watts"].sel(state="cold")))) == 0.0
    # A cathode follower straight from a plate: its grid is at the supply, its cathode at ground.
    assert float(stock["electrode_volts"].sel(electrode="V2B.grid", state="cold")) == pytest.approx(318.0, abs=0.01)


def test_resistance_of_the_grids_circuits() -> None:
    ohms = everything().isel(variant=0, position=0)["grid_ohms"]
    assert float(ohms.sel(valve="V1A")) == pytest.approx(1e6 + 33e3, rel=1e-6)  # unplugged
    assert float(ohms.sel(valve="V1B")) == pytest.approx(0.15e6 + 47e3, rel=1e-6)  # audio 15 %, half way up
    assert float(ohms.sel(valve="V4")) == pytest.approx(330e3 + 4.7e3, rel=1e-6)
    fixed = fixed_bias_amp().isel(variant=0, position=0)["grid_ohms"]
    assert float(fixed.sel(valve="V3")) == pytest.approx(220e3 + 1.5e3, rel=1e-6)


@pytest.mark.parametrize("together", [1, 2, 3])
def test_a_grid_leak_counts_as_many_times_as_grids_share_it(together: int) -> None:
    valves = [f"V{number}" for number in range(1, together + 1)]
    parts: dict[str, object] = {"R1": "220k", "R2": "1k5", "R3": "47k", "R4": "10M"} | dict.fromkeys(valves, "12AX7")
    ends = {"plate": "B1", "cathode": "out"}
    wires = {valve: {**ends, "grid": "shared" if valve == "V1" else "own"} for valve in valves}
    ways = {"R1": ["shared", "ground"], "R2": ["out", "ground"], "R3": ["own", "shared"], "R4": ["in", "ground"]}
    circuit = amp(parts, [wired("valves", **wires, **ways)], rail("B1", 100.0))
    found = stress(circuit, tones=[]).isel(variant=0, position=0)["grid_ohms"]
    # One ampere of each: all of it through the leak, that of the others through what leads there.
    assert float(found.sel(valve="V1")) == pytest.approx(together * 220e3, rel=1e-6)
    for valve in valves[1:]:
        assert float(found.sel(valve=valve)) == pytest.approx(together * 220e3 + (together - 1) * 47e3, rel=1e-6)


def test_resistance_of_a_grids_circuit_against_a_sweep_far_below_any_corner() -> None:
    port = PortSweep(1e-3, 1e-2, 1, ports=(("V4.grid", "ground"),), driven=0)
    sweep = simulate(load_amp("workshop-a"), port, nodes=["V4.grid"])
    ohms = abs(complex(sweep["voltage"].values[0, 0, 0, 0]))
    ours = float(everything().isel(variant=0, position=0)["grid_ohms"].sel(valve="V4"))
    assert ours == pytest.approx(ohms, rel=0.01)  # the grid itself takes some, too


def test_a_rheostat_and_a_pot_with_a_lug_on_its_wiper() -> None:
    pot = {"track": "100k", "taper": "linear", "control": "level", "rotation": 0.25}
    parts = {"P1": pot, "R1": "1M"}
    circuit = amp(parts, [wired("pot", P1={"top": "B1", "wiper": "out", "bottom": "out"}, R1=["out", "in"])],
                  rail("B1", 100.0))  # fmt: skip
    found = stress(circuit, tones=[]).isel(variant=0, position=0)
    amps = 100.0 / (75e3 + 1e6)
    assert float(found["part_volts"].sel(part="P1", state="rest")) == pytest.approx(75e3 * amps, rel=1e-4)
    assert float(found["part_watts"].sel(part="P1", state="rest")) == pytest.approx(amps**2 * 100e3, rel=1e-4)


def test_valves_of_a_pair_that_idle_alike_are_equal_and_others_are_not() -> None:
    assert get(everything(), EQUAL_VALVES) == [["V4", "V5"]]
    lame = {"name": "lame", "reason": "check", "edits": [{"replace": "R26", "with": "10k"}]}
    stock = load_amp("workshop-a")
    assert get(stress([stock, apply_mods(stock, parse_mod(lame))], tones=[]), EQUAL_VALVES) == []
    assert get(stress(load_amp("lesson-stage"), tones=[]), EQUAL_VALVES) == []


def test_couplings_of_a_split_load_carry_each_its_own_volts_though_they_feed_equal_valves() -> None:
    """One current through two equal loads: plate and cathode together stand at the rail's volts."""
    made = load_amp(models() / "stages" / "fixed-bias-split-load-inverter.toml")
    volts = part_ratings(stress(made, tones=SHORT)).set_index("part")["rest [V]"]
    assert volts["C8"] > 2.0 * volts["C9"]
    assert volts["C8"] + volts["C9"] == pytest.approx(volts["C50"], rel=1e-3)
    assert volts["R24"] == volts["R25"]  # these are alike


def test_equal_circuits_run_once_and_unknown_controls_are_refused() -> None:
    stock = load_amp("workshop-a")
    totals: list[int] = []
    positions: list[dict[str, float | str]] = [{"bright": "none"}, {"bright": "120p"}]
    modded = apply_mods(stock, load_mod("bright-switch"))
    labels = dict(modded.controls)["bright"].positions
    positions = [{"bright": label} for label in labels[:2]]
    stress([stock, modded], positions, tones=SHORT, progress=lambda done, total, _: totals.append(total))
    assert max(totals) < 4 * 3  # the stock amp is the same at both
    with pytest.raises(DescriptionError, match="brihgt"):
        stress(stock, [{"brihgt": 1.0}])


# Ratings --------------------------------------------------------------------------------------------------------------


def test_bias_from_a_cathode_resistor_or_from_a_supply() -> None:
    assert not is_fixed_bias(-10.4, 10.4)
    assert not is_fixed_bias(-1.1, 35.0)  # a long-tailed pair
    assert is_fixed_bias(-20.0, 0.0)
    leaks = [row for row in records(valve_ratings(fixed_bias_amp())) if row["quantity"] == "grid leak"]
    assert {row["limit"] for row in leaks if row["valve"] in ("V3", "V4")} == {100e3}  # not the 500 kohm of self bias
    own = [row for row in records(valve_ratings(everything())) if row["quantity"] == "grid leak"]
    assert {row["limit"] for row in own if row["valve"] == "V4"} == {1e6}


def test_elevated_heaters_come_nearer_to_a_follower() -> None:
    def volts(heater: float) -> float:
        rows = records(valve_ratings(everything().isel(variant=[0]), heater))
        return float(next(row["value"] for row in rows if (row["valve"], row["quantity"], row["state"]) == (
            "V2B", "heater to cathode", "rest")))  # fmt: skip

    assert volts(0.0) - volts(60.0) == pytest.approx(60.0)


def test_a_leak_that_makes_the_bias_is_not_held_against_the_limit_for_other_bias() -> None:
    """Contact potential bias through 5 to 10 megohm is common practice (from memory: receiving tube manuals)."""
    table = tomllib.loads((models() / "stages" / "grid-leak-stage.toml").read_text("utf-8"))
    rows = records(valve_ratings(stress([parse_amp(table, "own.toml")], [{}], HARD[1:])))
    (own,) = {row["valve"] for row in rows if row["state"] == "rest"}
    assert "plate volts" in {row["quantity"] for row in rows if row["valve"] == own}
    assert GRID_LEAK not in {row["quantity"] for row in rows}
    assert GRID_LEAK in {row["quantity"] for row in records(valve_ratings(everything()))}


def test_driven_limits_hold_while_driven_alone() -> None:
    rows = {(row["quantity"], row["state"]): row for row in records(valve_ratings(everything()))
            if row["valve"] == "V4" and row["variant"] == "stock"}  # fmt: skip
    assert rows["screen dissipation", "rest"]["limit"] == 2.0
    assert rows["screen dissipation", "driven"]["limit"] == 4.0
    assert rows["plate dissipation", "driven"]["limit"] == 12.0


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ({"state": "rest", "unit": "W", "value": 9.0, "limit": 12.0, "stock": 9.0}, "fine"),
        ({"state": "rest", "unit": "W", "value": 11.5, "limit": 12.0, "stock": 9.0}, "near the limit"),
        ({"state": "rest", "unit": "W", "value": 12.1, "limit": 12.0, "stock": 11.9}, "beyond the limit"),
        ({"state": "rest", "unit": "W", "value": 13.1, "limit": 12.0, "stock": 13.0}, "near the limit"),
        ({"state": "rest", "unit": "W", "value": 14.0, "limit": 12.0, "stock": 13.0}, "beyond the limit"),
        ({"state": "rest", "unit": "W", "value": 12.1, "limit": 12.0, "stock": math.nan}, "beyond the limit"),
        ({"state": "driven", "unit": "W", "value": 4.4, "limit": 4.0, "stock": 3.9}, "near the limit"),
        ({"state": "driven", "unit": "W", "value": 5.1, "limit": 4.0, "stock": 4.0}, "beyond the limit"),
        ({"state": "driven", "unit": "W", "value": 5.1, "limit": 4.0, "stock": math.nan}, "beyond the limit"),
        # Driven less than in the stock amp: it carries what it carries at rest, which the stock amp has too much of.
        (
            {"state": "driven", "unit": "W", "value": 53.0, "limit": 30.0, "stock": 15.1, "stock at rest": 53.2},
            "near the limit",
        ),
        (
            {"state": "driven", "unit": "W", "value": 40.0, "limit": 30.0, "stock": 15.1, "stock at rest": 29.0},
            "beyond the limit",
        ),
        ({"state": "driven", "unit": "V", "value": 130.0, "limit": 100.0, "stock": 90.0}, "near the limit"),
        ({"state": "cold", "unit": "V", "value": 600.0, "limit": math.nan, "stock": 500.0}, "not known"),
    ],
)
def test_grades(row: dict[str, float], expected: str) -> None:
    assert grade(row) == expected


def test_standard_ratings() -> None:
    assert [standard_watts(watts) for watts in (0.1, 0.25, 0.26, 3.6)] == [0.25, 0.25, 0.5, 5.0]
    assert standard_volts(318.0, 22e-9) == 400.0
    assert standard_volts(318.0, 47e-6) == 350.0
    assert standard_volts(600.0, 47e-6) == math.inf


def test_parts_need_twice_their_mean_watts_and_their_highest_volts() -> None:
    table = part_ratings(everything().isel(variant=[0])).set_index("part")
    row = table.loc["R28"]
    assert row["rest [W]"] == pytest.approx(row["rest [V]"] ** 2 / 150.0)
    assert row["needs [W]"] == 2.0 * max(row["rest [W]"], row["driven [W]"])
    assert row["pulse [W]"] == pytest.approx(row["peak [V]"] ** 2 / 150.0)
    assert table.loc["C2", "needs [V]"] == table.loc["C2", "cold [V]"]
    assert pd.isna(table.loc["C2", "needs [W]"])


@pytest.mark.parametrize(("volts", "needs"), [(300.0, "needs 0.25 W: "), (436.0, "needs 0.25 W and 436 V: ")])
def test_a_resistor_whose_volts_pass_what_is_fitted_is_told_them(volts: float, needs: str) -> None:
    table = with_fitted_ratings(worst_parts(part_ratings(against_stock("extra filter"))), "stock", {})
    row = next(row for row in records(table) if (row["variant"], row["part"]) == ("extra filter", "R301"))
    assert part_words({**row, "next [W]": 0.25, "needs [V]": volts}, None).startswith(needs)


def test_a_part_of_the_stock_amp_is_taken_to_be_rated_for_it() -> None:
    worst_rows = worst_parts(part_ratings(against_stock("extra filter")))
    table = with_fitted_ratings(worst_rows, "stock", {})
    fitted = {(row["variant"], row["part"]): row for row in records(table)}
    assert fitted["stock", "R28"]["fitted [W]"] == fitted["stock", "R28"]["next [W]"]
    assert fitted["stock", "R4"]["fitted [W]"] == 0.5
    assert fitted["stock", "C2"]["fitted [V]"] == 400.0
    assert fitted["extra filter", "C301"]["fitted [V]"] == 250.0
    assert fitted["extra filter", "R301"]["fitted [W]"] == 0.5


@pytest.mark.parametrize("edits", [
    [{"lift": "R51"}, {"fit": "R951", "between": ["R51.1", "R51.2"]}],
    [{"lift": "R51"}, {"fit": "R951", "between": ["R51.2", "R51.1"]}],
    [{"replace": "R51", "with": "2k7"}],
])  # fmt: skip
def test_what_goes_in_where_a_part_came_out_is_taken_to_be_rated_as_that(edits: list[dict[str, object]]) -> None:
    stock = load_amp("workshop-a")
    brought = {"R951": "2k7"} if len(edits) > 1 else {}
    modded = apply_mods(
        stock, parse_mod({"name": "other", "reason": "-", "parts": brought, "edits": edits}, "other.toml")
    )
    response = stress([stock, modded], tones=SHORT)
    table = part_ratings(response).set_index(["variant", "part"])
    assert table.loc[("stock", "R51"), "next [W]"] > 0.5
    found = {each.subject: each for each in ratings_findings(response)}
    rating = found[f"{'R951' if brought else 'R51'} rating"]
    assert rating.limit == table.loc[("stock", "R51"), "next [W]"]


# Mods -----------------------------------------------------------------------------------------------------------------


def test_a_good_mod_passes() -> None:
    assert worst(findings("bright switch").values()) != "beyond the limit"
    assert findings("bright switch")["V1A plate volts"].grade == "fine"


def test_an_output_stage_made_too_hot_is_caught() -> None:
    found = findings("hot output stage")["V4 plate dissipation"]
    assert found.grade == "beyond the limit"
    assert found.limit == 12.0
    assert found.value > 12.0
    assert "at rest" in found.words
    assert "too much" in found.words
    assert "stock 9.3" in found.words
    assert "design centre" in found.source


def test_screens_without_resistors_are_caught_though_they_idle_well() -> None:
    found = findings("bare screens")
    assert found["V4 screen dissipation"].grade == "beyond the limit"
    assert "driven hard" in found["V4 screen dissipation"].words
    rest = [row for row in records(valve_ratings(against_stock("bare screens")))
            if row["state"] == "rest" and row["quantity"] == "screen dissipation"]  # fmt: skip
    assert {row["grade"] for row in rest} == {"fine"}


def first_sentence(found: Finding) -> str:
    """What the first answer of the sheet has of a finding: it says what is needed, and what is fitted or usual."""
    words = found.words.partition(". ")[0]
    assert "stand" in words or "usual" in words
    return words


def test_a_capacitor_chosen_by_its_volts_at_rest_is_caught_cold() -> None:
    found = findings("extra filter")["C301 rating"]
    assert found.grade == "beyond the limit"
    assert (found.value, found.limit) == (pytest.approx(318.0, abs=0.1), 250.0)
    assert "318 V cold" in found.words
    assert "needs 350 V" in first_sentence(found)


def finding_with(mod: str, quantity: str, part: str, value: float, subject: str) -> Finding:
    """The finding of a subject when one part of the modded amp carries so much [V or W] at rest."""
    response = against_stock(mod).copy(deep=True)
    place = [str(each) for each in response["part"].values].index(part)
    response[quantity].values[1, 0, place, 0] = value
    return {each.subject: each for each in ratings_findings(response)}[subject]


def test_a_new_resistor_that_half_a_watt_would_not_stand_is_told() -> None:
    found = finding_with("extra filter", "part_watts", "R301", 0.7, "R301 rating")
    assert found.grade == "beyond the limit"
    assert "needs 2 W" in first_sentence(found)
    assert finding_with("extra filter", "part_watts", "R301", 0.3, "R301 rating").grade == "near the limit"


def test_a_track_with_direct_voltage_scratches() -> None:
    found = finding_with("bright switch", "part_volts", "P1", 3.0, "P1 DC")
    assert found.grade == "near the limit"
    assert "scratch" in found.words


def test_a_valve_without_limits_is_not_known() -> None:
    response = against_stock("bright switch").copy()
    facts = get(response, VALVES)
    facts["bright switch"]["V1A"].limits.clear()
    response.attrs |= put(VALVES, facts)
    found = next(each for each in ratings_findings(response) if each.subject.startswith("V1A "))
    assert (found.grade, found.limit) == ("not known", None)
    assert "no limits known" in found.words


def test_what_a_mod_moves() -> None:
    moved = {(row["item"], row["quantity"]): row for row in records(
        moved_ratings(against_stock("hot output stage")))}  # fmt: skip
    row = moved["V4", "plate dissipation rest"]
    assert row["change [%]"] == pytest.approx(100.0 * (row["modded"] / row["stock"] - 1.0))
    assert row["change [%]"] > 50.0
    at_rest = moved_ratings(against_stock("bright switch"))["quantity"].str.endswith("rest")
    assert not at_rest.any()  # a capacitor across part of a track leaves every direct voltage alone
    assert moved_ratings(everything().isel(variant=[0])).empty


# Picture and section --------------------------------------------------------------------------------------------------


def test_the_picture_shows_the_shares_and_says_them() -> None:
    response = against_stock("hot output stage")
    picture = ratings_picture(response)
    rows = records(valve_ratings(response))
    share = next(row["of limit [%]"] for row in rows
                 if (row["variant"], row["valve"], row["quantity"], row["state"])
                 == ("hot output stage", "V4", "plate dissipation", "rest"))  # fmt: skip
    widths = [patch.get_width() for axes in picture.axes for patch in axes.patches if isinstance(patch, Rectangle)]
    assert any(width == pytest.approx(share) for width in widths)
    assert f"V4 plate dissipation: rest {share:.0f} %" in picture.alternative
    lines = [line for line in picture.axes[0].lines if isinstance(line, Line2D)]
    assert any(np.allclose(line.get_xdata(), 100.0) for line in lines)
    assert png(picture, 60.0).startswith(b"\x89PNG")


def test_words_in_the_picture_stay_inside_it() -> None:
    for response in (against_stock("bare screens"), fixed_bias_amp()):
        picture = ratings_picture(response)
        picture.draw_without_rendering()
        right = picture.width * picture.dpi
        for text in picture.texts:
            box = text.get_window_extent()
            assert box.x0 >= 0.0
            assert box.x1 <= right, text.get_text()


def test_the_section_of_an_amp_compared_with_itself() -> None:
    stock = load_amp("workshop-b")
    found = section(Examination(stock, stock))
    assert found.title == "bias and ratings"
    assert found.grade == "near the limit"
    assert set(found.pictures) == {"ratings"}
    assert {each.picture for each in found.findings} <= {"ratings", ""}
    assert any("mains transformer" in note for note in found.notes)


def test_measures_refuse_another_response() -> None:
    rest = simulate(load_amp("lesson-stage"), OperatingPoint())
    for measure in (valve_ratings, part_ratings):
        with pytest.raises(DescriptionError, match="stress"):
            measure(rest)


def test_what_was_read_before_is_not_simulated_again_and_is_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    amp, known = apply_mods(load_amp("workshop-a"), load_mod("bright-switch")), Known()
    asked: list[int] = []
    answers = module.answers_of
    monkeypatch.setattr(module, "answers_of", lambda jobs, *more: asked.append(len(jobs)) or answers(jobs, *more))
    stress(amp, [{}, {"bright": "120p"}], SHORT[:1], known=known)
    again = stress(amp, [{"bright": "120p"}, {"bright": "390p"}], SHORT[:1], known=known)
    alone = stress(amp, [{"bright": "120p"}, {"bright": "390p"}], SHORT[:1])
    assert asked == [6, 3, 6]
    xr.testing.assert_equal(again, alone)


def test_driven_where_it_is_loudest_is_the_same_wherever_the_drawings_knobs_stand() -> None:
    """An amp drawn with its volume down is played with it up: its output valves carry the same."""
    drawn = load_amp("workshop-b")
    amps = [
        replace(drawn, parts=tuple(
            replace(part, rotation=rotation) if isinstance(part, Pot) and part.control == "volume" else part
            for part in drawn.parts))
        for rotation in (0.05, 1.0)
    ]  # fmt: skip
    knobs = [loudest_knobs(each, (82.41, 1000.0)) for each in amps]
    assert knobs[0] == knobs[1]
    told = [stress(each, driven_at=knobs[0])["electrode_watts"].sel(state="driven") for each in amps]
    xr.testing.assert_allclose(*told, rtol=0.05)
    quiet = stress(amps[0])["electrode_watts"].sel(state="driven", electrode="V3.screen")
    assert float(told[0].sel(electrode="V3.screen").item()) > 3.0 * float(quiet.item())


def test_the_loudest_knobs() -> None:
    """By the drawing: volumes and the guitar's tone full up, a tone pot that cuts when turned up fully down."""
    found = loudest_knobs(load_amp("workshop-b"), (82.41, 1000.0))
    assert found == {"guitar volume": 1.0, "guitar tone": 1.0, "volume": 1.0, "tone": 0.0}
    assert loudest_knobs(load_amp("workshop-b"), (82.41, 1000.0), {"tone", "volume"}).keys() == {
        "guitar volume", "guitar tone"}  # fmt: skip
    assert "bias" not in loudest_knobs(load_amp("ballroom"), (82.41, 1000.0))  # nobody plays it
