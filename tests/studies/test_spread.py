"""What spread says of a mod, sensitivity to each part, and how the sheet tells and draws them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim import FrequencySweep, apply_mods, load_amp, load_mod, simulate
from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.library.loader import load_mod as mod_from
from ampsim.pictures.moving import move
from ampsim.simulation.monte_carlo import spread, valve_swap
from ampsim.studies.section import Examination
from ampsim.studies.spread import measures
from ampsim.studies.spread.findings import stand_out_findings
from ampsim.studies.spread.measures import StandOut, stand_out
from ampsim.studies.spread.picture import spread_curves
from ampsim.studies.spread.picture import spread_picture as draw_spread
from ampsim.studies.spread.section import section
from ampsim.studies.spread.sensitivity import sensitivity
from ampsim.studies.spread.sensitivity_picture import sensitivity_picture as draw_bars
from ampsim.studies.spread.sensitivity_table import sensitivity_table
from tests.truth.bench import amp, corner, divider, rail, stage

BAD_MODS = Path(__file__).parents[1] / "bad_mods"
TONE = FrequencySweep(1000.0, 10_000.0, 1)


@pytest.fixture(scope="module")
def stock() -> Amp:
    return load_amp("workshop-a")


# Verdicts


def verdict(modded: Amp, stock: Amp, **position: str) -> tuple[list[StandOut], object]:
    run, swap = spread([stock, modded], 60, 1, [position]), valve_swap(stock, 60, 1, [position])
    rows = stand_out(run, swap)
    (finding,) = stand_out_findings(rows, modded.variant)
    return rows, finding


@given(st.lists(st.floats(-20.0, 20.0).map(lambda level: round(level, 1)), min_size=2, max_size=60))
def test_the_error_of_a_swap_is_that_of_every_draw_by_itself(levels: list[float]) -> None:
    known = np.array(levels)
    draws = np.random.default_rng(measures._SEED).integers(known.size, size=(measures._RESAMPLES, known.size))
    first, second = np.triu_indices(known.size, 1)
    each = [np.quantile(np.abs(known[draw][first] - known[draw][second]), 0.95) for draw in draws]
    assert measures.swap_error(known) == pytest.approx(np.std(each, ddof=1), rel=1e-12, abs=1e-12)


def test_a_mod_lost_among_valves_is_told(stock: Amp) -> None:
    rows, finding = verdict(apply_mods(stock, mod_from(BAD_MODS / "lost-in-the-valves.toml")), stock)
    assert all(abs(row.median) < row.swap for row in rows)
    assert finding.grade == "near the limit"  # type: ignore[attr-defined]
    assert "does less than a change of valves" in finding.words  # type: ignore[attr-defined]
    assert finding.value < finding.limit  # type: ignore[attr-defined]


def test_a_mod_that_stands_out_passes(stock: Amp) -> None:
    rows, finding = verdict(apply_mods(stock, load_mod("bright-switch")), stock, bright="120p")
    treble = next(row for row in rows if row.band == "treble")
    assert treble.median > 3.0 > treble.swap
    assert treble.chance > 0.95
    assert finding.grade == "fine"  # type: ignore[attr-defined]
    assert "times as much as a change of valves" in finding.words  # type: ignore[attr-defined]
    assert "treble" in finding.words  # type: ignore[attr-defined]


def row_of(median: float, swap: float, position: str = "as drawn") -> StandOut:
    return StandOut(position, "treble", median, median, median - 0.1, median + 0.1, 0.05, swap, 0.05, 0.7, 0.03)


def test_a_change_near_that_of_valves_is_too_close_to_call() -> None:
    (finding,) = stand_out_findings([row_of(1.05, 1.0)], "mod")
    assert finding.grade == "near the limit"
    assert "too close to call" in finding.words


def test_a_position_without_change_is_fine_if_another_changes() -> None:
    still, moved = row_of(0.0, 1.0, "open"), row_of(4.0, 1.0, "closed")
    assert [each.grade for each in stand_out_findings([still, moved], "mod")] == ["fine", "fine"]
    assert [each.grade for each in stand_out_findings([still], "mod")] == ["near the limit"]


def test_a_part_of_the_band_that_hardly_moves_is_not_what_shows_a_mod_best() -> None:
    """0.01 dB is next to nothing, also where a change of valves does even less."""
    faint = row_of(0.01, 0.001)._replace(band="bass", error=0.0001, swap_error=0.0001)
    (finding,) = stand_out_findings([faint, row_of(0.2, 1.0)], "mod")
    assert "treble" in finding.words
    assert finding.value == 0.2


# Sensitivity


def test_a_divider_against_its_closed_form() -> None:
    """20 log10 R2/(R1+R2): by 10 % of R2 it rises by 20/ln 10 R1/(R1+R2) 0.1 dB in the first order, R1 as much down."""
    found = sensitivity(divider(), analysis=TONE)["slope"].isel(variant=0, position=0, frequency=0)
    exact = 20.0 * np.log10((1.001 / (3.0 + 1.001)) / 0.25) * 100.0
    assert float(found.sel(part="R2")) == pytest.approx(exact, abs=1e-6)
    assert float(found.sel(part="R2")) == pytest.approx(0.1 * 20.0 / np.log(10.0) * 0.75, abs=1e-3)
    assert float(found.sel(part="R1")) == pytest.approx(-float(found.sel(part="R2")), abs=1e-3)


def test_a_corner_against_its_closed_form() -> None:
    """-10 log10(1 + (f/f0)^2): 10 % of R or C takes 20/ln 10 x^2/(1 + x^2) 0.1 dB with x = f/f0."""
    found = sensitivity(corner(), analysis=FrequencySweep(20.0, 20e3, 5))["slope"].isel(variant=0, position=0)
    x = found["frequency"].values * 2.0 * np.pi * 1e-4
    theory = -0.1 * 20.0 / np.log(10.0) * x**2 / (1.0 + x**2)
    for part in ("R1", "C1"):
        np.testing.assert_allclose(found.sel(part=part).values, theory, atol=1e-3)


def test_small_steps_agree_with_two_sided_ones(stock: Amp) -> None:
    """Independent of the fast path: parts replaced in the description by half a percent either way."""
    found = sensitivity(stock, analysis=TONE)["slope"].isel(variant=0, position=0, frequency=0)
    for name in ("R10", "C11", "L901"):
        ends = []
        for factor in (1.005, 0.995):
            parts = tuple(
                replace(part, value=part.value * factor) if part.designator == name else part  # type: ignore[union-attr]
                for part in stock.parts
            )
            ends.append(
                np.abs(simulate(replace(stock, parts=parts), TONE, nodes=["speaker"])["voltage"].values.ravel()[0])
            )
        assert float(found.sel(part=name)) == pytest.approx(10.0 * 20.0 * np.log10(ends[0] / ends[1]), abs=3e-3)


def test_every_kind_of_part_is_moved(stock: Amp) -> None:
    modded = apply_mods(stock, load_mod("bright-switch"))
    found = sensitivity([stock, modded], [{"bright": "120p", "gain": 0.3}], TONE)
    parts = set(found["part"].values)
    assert {
        "R3",
        "C2",
        "L901",
        "P1",
        "C101",
        "T1 inductance",
        "LS1 resistance",
        "V1A bias",
        "V1A mu",
        "V1A gm",
    } <= parts
    slope = found["slope"].isel(position=0, frequency=0)
    assert np.isnan(slope.sel(part="C101").values[0])
    assert slope.sel(part="C101").values[1] > 0.0
    assert slope.sel(part="LS1 resistance").values[1] != 0.0
    assert set(found["per"].values) == {"10 %", "1 standard deviation"}


def test_ranking() -> None:
    table = sensitivity_table(sensitivity(corner(), analysis=FrequencySweep(20.0, 20e3, 5)), (5000.0, 5000.0))
    assert set(table["part"][:2]) == {"R1", "C1"}
    assert table["change [dB]"].abs().is_monotonic_decreasing
    with pytest.raises(DescriptionError, match="no frequency"):
        sensitivity_table(sensitivity(corner(), analysis=TONE), (1.0, 2.0))


def test_valves_that_cannot_be_spread_are_named() -> None:
    stages = [stage("triode stage", valve="V1", supply="B1", grid_leak="R1", plate_load="R2", cathode_resistor="R3")]
    parts = {"V1": "12AX7-koren-1996", "R1": "1M", "R2": "100k", "R3": "1k5"}
    one = amp(parts, stages, rail("B1", 300.0))
    found = sensitivity(one, analysis=TONE)
    assert found.attrs["left_out"] == "V1"
    assert "V1 bias" not in found["part"].values
    with pytest.raises(DescriptionError, match="cannot be spread"):
        spread(one, 3)
    told = section(Examination(one, one))
    assert any("12AX7-koren-1996" in note for note in told.notes)


# Section and pictures


def test_the_section_tells_and_draws(stock: Amp, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ampsim.studies.spread.section.COUNT", 25)
    modded = apply_mods(stock, load_mod("bright-switch"))
    told = section(Examination(stock, modded, ({}, {"bright": "120p"})))
    assert told.grade == "fine"
    for finding in told.findings:
        assert not finding.picture or finding.picture in told.pictures
    assert any("25 amps, seed 1" in note for note in told.notes)
    assert any("no source" in note for note in told.notes)
    assert all(not table.empty for table in told.tables.values())


def test_pictures_say_the_same_in_words(stock: Amp) -> None:
    modded = apply_mods(stock, load_mod("bright-switch"))
    at = [{"bright": "120p"}]
    run, swap = spread([stock, modded], 20, 1, at), valve_swap(stock, 20, 1, at)
    picture = draw_spread(run, swap)
    assert "bright 120p" in picture.alternative
    curves = spread_curves(run, swap)
    moving = {artist.get_gid() for artist in picture.findobj() if artist.get_gid()}
    assert set(curves) == moving
    move(picture, curves)
    bars = draw_bars(sensitivity_table(sensitivity(modded, at)), "heading", "subtitle")
    assert "R10, 10 %: +0.9 dB" in bars.alternative
