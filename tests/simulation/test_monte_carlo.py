"""Runs of amps: draws that keep their promises, runs that can be had again, percentiles with honest errors."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import ks_1samp, norm

from ampsim import FrequencySweep, OperatingPoint, Transient, apply_mods, load_amp, load_mod, load_valve, simulate
from ampsim.base.errors import DescriptionError, EngineError
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.valves.deviation import ValveDraw
from ampsim.circuit.valves.evaluation import currents, slopes
from ampsim.measures.percentiles import percentiles
from ampsim.simulation import batch
from ampsim.simulation.agreement import AGREEMENT
from ampsim.simulation.facts import get
from ampsim.simulation.monte_carlo import spread
from ampsim.simulation.swept import Lot
from ampsim.simulation.tolerances import BOTTLE_SHARE, VALVE_SWAP, Tolerances, bottle, lot, part_factors, valve_draws
from ampsim.simulation.valve_spreads import SPREADS, deviating, spread_of
from ampsim.studies.agreement import agreement_findings, agreement_words
from ampsim.studies.spread.findings import run_findings
from ampsim.studies.spread.measures import (
    band_levels,
    chance,
    rest_table,
    sample_gain_db,
    spread_table,
    swap_error,
    swap_size,
)
from tests.truth.bench import corner, divider

TONE = FrequencySweep(1000.0, 10_000.0, 1)
SPACE_CHARGE = ("12AX7", "12AT7", "12AU7", "12AY7", "6DJ8", "EL84", "EL34", "6V6GT", "6L6GC")


@pytest.fixture(scope="module")
def stock() -> Amp:
    return load_amp("workshop-a")


# Draws


def test_an_amp_does_not_depend_on_how_many_are_drawn(stock: Amp) -> None:
    few, many = (part_factors(build_circuit(stock), count, 7, Tolerances()) for count in (3, 50))
    assert {name: row.tolist() for name, row in few.items()} == {name: row[:3].tolist() for name, row in many.items()}
    few_valves, many_valves = (valve_draws(build_circuit(stock), count, 7, Tolerances()) for count in (3, 50))
    assert few_valves == {name: row[:3] for name, row in many_valves.items()}


def test_stock_and_modded_share_parts_and_valves(stock: Amp) -> None:
    modded = apply_mods(stock, load_mod("bright-switch"), load_mod("cathode-switch"))
    position = (("bright", "120p"), ("cathode", "6k8"))
    alone, fitted = (part_factors(build_circuit(each, position[:n]), 20, 3, Tolerances()) for n, each in
                     ((0, stock), (2, modded)))  # fmt: skip
    assert set(fitted) > set(alone)
    assert all(np.array_equal(alone[name], fitted[name]) for name in alone)
    assert valve_draws(build_circuit(stock), 20, 3, Tolerances()) == valve_draws(
        build_circuit(modded), 20, 3, Tolerances()
    )


def test_seeds_and_parts_differ(stock: Amp) -> None:
    one, other = (part_factors(build_circuit(stock), 400, seed, Tolerances()) for seed in (1, 2))
    assert all(not np.array_equal(one[name], other[name]) for name in one)
    table = np.array(list(one.values()))
    off_diagonal = np.corrcoef(table)[np.triu_indices(len(table), 1)]
    # Of 2000 correlations of 400 pairs the largest is below five standard errors.
    assert np.abs(off_diagonal).max() < 5.0 / np.sqrt(400)


def test_factors_fill_the_tolerance_evenly(stock: Amp) -> None:
    found = part_factors(build_circuit(stock), 2000, 5, Tolerances())
    limits = {"R3": 0.05, "C2": 0.10, "C14": 0.20, "L901": 0.10, "P1": 0.20}
    for name, limit in limits.items():
        assert np.abs(found[name] - 1.0).max() <= limit
        assert ks_1samp((found[name] - 1.0 + limit) / (2.0 * limit), lambda x: np.clip(x, 0.0, 1.0)).pvalue > 1e-3


def test_sections_of_one_bottle_are_alike_to_the_share_stated(stock: Amp) -> None:
    draws = valve_draws(build_circuit(stock), 4000, 11, Tolerances())
    bias = {name: np.array([draw.bias_volts for draw in row]) for name, row in draws.items()}
    spread_volts = spread_of(load_valve("12AX7")).bias_volts
    assert np.std(bias["V1A"]) == pytest.approx(spread_volts, rel=0.05)
    assert np.corrcoef(bias["V1A"], bias["V1B"])[0, 1] == pytest.approx(BOTTLE_SHARE, abs=0.06)
    assert np.corrcoef(bias["V1A"], bias["V2A"])[0, 1] == pytest.approx(0.0, abs=0.08)
    assert np.corrcoef(bias["V4"], bias["V5"])[0, 1] == pytest.approx(0.0, abs=0.08)


def test_bottles() -> None:
    assert [bottle(name) for name in ("V1A", "V1B", "V12C", "V4")] == ["V1", "V1", "V12", "V4"]


def rest_of(type_: str) -> tuple[float, float, float | None]:
    """Plate volts, grid volts for the reference current, and screen volts."""
    from scipy.optimize import brentq

    valve, place = load_valve(type_), spread_of(load_valve(type_))

    def over(grid: float) -> float:
        found = currents(valve, place.plate_volts, grid, place.screen_volts)
        joined = valve.family == "pentode" and place.screen_volts is None
        return float(found.plate + found.screen if joined else found.plate) - place.plate_amps

    return place.plate_volts, float(brentq(over, -0.5 * place.plate_volts, 2.0)), place.screen_volts


@pytest.mark.parametrize("type_", SPACE_CHARGE)
def test_a_draw_moves_bias_mu_and_gm_alone(type_: str) -> None:
    valve = load_valve(type_)
    plate, grid, screen = rest_of(type_)

    def total(other: ValveDraw, at: float = grid) -> tuple[float, float, float]:
        drawn = deviating(valve, other)
        found, slope = currents(drawn, plate, at, screen), slopes(drawn, plate, at, screen)
        return float(found.plate + found.screen), float(slope.gm), float(slope.mu)

    current, gm, mu = total(ValveDraw())
    # What width and knee add to the slopes stays while the rest is scaled: mu and gm follow within a few percent.
    assert total(ValveDraw(bias_volts=0.3), grid - 0.3)[0] == pytest.approx(current, rel=1e-9)
    wider = total(ValveDraw(mu=1.1))
    assert wider[0] == pytest.approx(current, rel=0.01)
    assert wider[2] / mu == pytest.approx(1.1, rel=0.04)
    steeper = total(ValveDraw(slope=0.9))
    assert steeper[0] == pytest.approx(current, rel=0.03)
    assert steeper[1] / gm == pytest.approx(0.9, rel=0.04)
    assert dict(deviating(valve, ValveDraw()).parameters) == pytest.approx(dict(valve.parameters))


@pytest.mark.parametrize("type_", SPACE_CHARGE)
def test_a_grid_takes_its_multiple_of_the_current_at_every_voltage_and_nothing_else_moves(type_: str) -> None:
    valve, (plate, _, _) = load_valve(type_), rest_of(type_)
    screen = None if valve.family == "triode" else 250.0
    drawn = deviating(valve, ValveDraw(grid_current=1.7))
    assert drawn.parameters == deviating(valve, ValveDraw()).parameters
    for volts in (-0.6, 0.0, 1.0, 3.0):
        ours, theirs = (float(currents(each, plate, volts, screen).grid) for each in (drawn, valve))
        assert ours == pytest.approx(1.7 * theirs, rel=1e-6)


def test_grid_currents_of_a_lot_lie_two_to_one_within_a_standard_deviation() -> None:
    factors = np.log([each.grid_current for each in lot(load_valve("12AX7"), 4000, 3)])
    assert np.exp(2.0 * factors.std()) == pytest.approx(2.0, rel=0.05)
    assert np.exp(np.median(factors)) == pytest.approx(1.0, rel=0.03)


@settings(max_examples=60)
@given(
    st.sampled_from(SPACE_CHARGE), st.floats(-1.0, 1.0), st.floats(0.6, 1.6), st.floats(0.3, 3.0), st.floats(-60.0, 1.0)
)
def test_any_valve_drawn_is_a_valve(type_: str, bias: float, mu: float, slope: float, grid: float) -> None:
    valve = load_valve(type_)
    drawn = deviating(valve, ValveDraw(bias, mu, slope))
    plate = np.linspace(0.0, 400.0, 9)
    found = currents(drawn, plate, grid, None if valve.family == "triode" else 250.0)
    assert np.isfinite(found.plate).all()
    assert (np.diff(found.plate) >= -1e-12).all()


def test_only_the_measured_types_call_themselves_fitted() -> None:
    assert {name for name, each in SPREADS.items() if each.basis == "fitted"} == {"6DJ8", "EL34"}
    assert spread_of(load_valve("12AX7")).basis == "guess"
    assert "rule of thumb" in spread_of(load_valve("12AX7")).source


def test_a_law_without_these_parameters_says_so() -> None:
    with pytest.raises(DescriptionError, match=r"12AX7-koren-1996.*cannot be spread.*Tolerances\(valves=0"):
        spread_of(load_valve("12AX7-koren-1996"))


@pytest.mark.parametrize("given_", [{"resistor": -0.1}, {"pot": 1.5}, {"valves": 9.0}, {"capacitor": float("nan")}])
def test_impossible_tolerances_are_refused(given_: dict[str, float]) -> None:
    with pytest.raises(DescriptionError):
        Tolerances(**given_)


# Runs of amps


def test_a_run_is_the_amps_with_their_factors() -> None:
    one = corner()
    run = spread(one, 5, 4, analysis=TONE)
    factors = part_factors(build_circuit(one), 5, 4, Tolerances())
    values = {part.designator: part.value for part in one.parts}
    rhythm = 2j * np.pi * TONE.grid()
    for number in range(5):
        ohms, farads, across = (values[name] * factors[name][number] for name in ("R1", "C1", "R2"))
        exact = 1.0 / (1.0 + ohms * (1.0 / across + rhythm * farads))
        np.testing.assert_allclose(run["voltage"].values[0, 0, number, 0], exact, rtol=1e-12)
        parts = tuple(replace(part, value=part.value * float(factors[part.designator][number])) for part in one.parts)
        alone = simulate(replace(one, parts=parts), TONE, nodes=["speaker"])["voltage"].values[0, 0, 0]
        # The last frequency of ngspice is a ten-millionth higher.
        np.testing.assert_allclose(run["voltage"].values[0, 0, number, 0], alone, rtol=2e-7)
    np.testing.assert_allclose(
        run["nominal"].values[0, 0, 0], simulate(one, TONE)["voltage"].values[0, 0, 0], rtol=2e-7
    )


def test_without_spread_every_amp_is_the_drawing(stock: Amp) -> None:
    none = replace(VALVE_SWAP, valves=0.0)
    run = spread(stock, 3, analysis=TONE, tolerances=none)
    assert (run["voltage"].values == run["nominal"].values[:, :, np.newaxis]).all()


def test_a_divider_has_its_exact_distribution() -> None:
    """Gain 1 / (1 + R1/R2), R1/R2 = 3 u1/u2 with both uniform: the quotient's distribution in closed form."""
    run = spread(divider(), 4000, 2, analysis=TONE, tolerances=Tolerances(resistor=0.2))
    gain = np.abs(run["voltage"].values[0, 0, :, 0, 0])
    ratio = (1.0 / gain - 1.0) / 3.0

    def below(x: np.ndarray) -> np.ndarray:
        # P(u1 < x u2) with u1, u2 uniform on a to b: the mean over u2 of the clipped line.
        a, b = 0.8, 1.2
        u2 = np.linspace(a, b, 20_001)
        return np.array([np.trapezoid(np.clip((each * u2 - a) / (b - a), 0.0, 1.0), u2) / (b - a) for each in x])

    assert ks_1samp(ratio, below).pvalue > 1e-3


def test_the_spread_of_a_corner_follows_its_parts() -> None:
    """The corner is 1/(2 pi R C): its standard deviation is that of the sum of both logarithms, (t/sqrt 3) each."""
    run = spread(corner(), 1500, 8, analysis=FrequencySweep(100.0, 20e3, 20))
    voltage = run["voltage"].isel(variant=0, position=0, node=0)
    ratio = voltage.sel(frequency=1000.0, method="nearest").values
    frequency = float(voltage["frequency"].sel(frequency=1000.0, method="nearest"))
    corners = frequency / np.tan(-np.angle(ratio))
    expected = np.hypot(0.05, 0.10) / np.sqrt(3.0)
    assert np.std(np.log(corners)) == pytest.approx(expected, rel=0.05)


def test_same_bits_for_any_number_of_simulators(stock: Amp) -> None:
    found = [spread(stock, 12, 6, analysis=TONE, workers=workers)["voltage"].values for workers in (1, 2)]
    assert np.array_equal(*found)


def test_a_run_is_kept_and_taken_up_again(stock: Amp, tmp_path: Path) -> None:
    tallies: list[object] = []
    first = spread(stock, 40, 6, analysis=TONE, folder=tmp_path, tally=tallies.append)
    longer = spread(stock, 70, 6, analysis=TONE, folder=tmp_path, tally=tallies.append)
    assert np.array_equal(first["voltage"].values, longer["voltage"].values[:, :, :40])
    assert longer["voltage"].sizes["sample"] == 70
    # The drawing and the first 31 amps fill the first chunk; the rest of a chunk that was not full is done again.
    assert (tallies[1].simulated, tallies[1].kept) == (39, 32)  # type: ignore[attr-defined]


def test_operating_points_of_a_run(stock: Amp) -> None:
    run = spread(stock, 30, analysis=OperatingPoint())
    table = rest_table(run).set_index("place")
    row = table.loc["V1A.plate"]
    assert row["5 % [V]"] < row["as drawn [V]"] < row["95 % [V]"]
    assert 2.0 < row["95 % [V]"] - row["5 % [V]"] < 60.0


@pytest.mark.parametrize("count", [0, -3, 10**9])
def test_impossible_runs_are_refused(count: int) -> None:
    with pytest.raises(DescriptionError, match="a spread of"):
        spread(divider(), count)


def test_other_analyses_and_seeds_are_refused() -> None:
    with pytest.raises(DescriptionError, match="of a sweep or an operating point"):
        spread(divider(), 3, analysis=Transient())  # type: ignore[arg-type]
    with pytest.raises(DescriptionError, match="a seed of"):
        spread(divider(), 3, seed=-1)


def refusing(which: int) -> Any:
    """The solver, which gives no answer to one amp of every lot."""
    real = Lot.solve

    def solve(self: Lot, tell: Any) -> Any:
        found, faults, digest = real(self, tell)
        return found, [fault if number != which else "it will not" for number, fault in enumerate(faults)], digest

    return solve


def solve_by(monkeypatch: pytest.MonkeyPatch, folder: Path, solve: Callable[[Lot, Any], Any]) -> None:
    """Another solver; what was kept of the right one is not fetched, and nothing of this one stays."""
    monkeypatch.setenv("AMPSIM_CACHE", str(folder))
    monkeypatch.setattr(Lot, "solve", solve)


def test_what_the_solver_refuses_ngspice_does(stock: Amp, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    plain = spread(stock, 4, analysis=TONE)
    solve_by(monkeypatch, tmp_path, refusing(2))
    run = spread(stock, 4, analysis=TONE)
    agreement = get(run, AGREEMENT)
    assert (agreement.solved, agreement.by_ngspice, agreement.refused) == (4, 1, ("it will not",))
    assert agreement.checked == 2
    assert agreement.worst < 1e-5
    assert run.attrs["failed"] == 0
    np.testing.assert_allclose(run["voltage"].values, plain["voltage"].values, rtol=1e-5)
    others = [0, 2, 3]
    assert np.array_equal(run["voltage"].values[:, :, others], plain["voltage"].values[:, :, others])


def test_failures_are_counted_not_hidden(stock: Amp, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    real = batch.run

    def last_fails(netlists: Any, **more: Any) -> list[object]:
        return [*list(real(netlists, **more))[:-1], EngineError("no convergence")]

    solve_by(monkeypatch, tmp_path, refusing(3))
    monkeypatch.setattr(batch, "run", last_fails)
    run = spread(stock, 8)
    assert run.attrs["failed"] == 1
    assert np.isnan(run["voltage"].values[0, 0, 2]).all()
    assert np.isfinite(spread_table(run)["median [dB]"]).all()
    (finding,) = [each for each in run_findings(run) if each.subject == "simulations that failed"]
    assert finding.grade == "not known"
    assert "no convergence" in finding.words


@pytest.mark.parametrize("analysis", [TONE, OperatingPoint()])
def test_where_both_differ_ngspice_does_everything(
    stock: Amp, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, analysis: FrequencySweep | OperatingPoint
) -> None:
    real = Lot.solve

    def wrong(self: Lot, tell: Any) -> Any:
        found, faults, digest = real(self, tell)
        return 1.002 * found, faults, digest

    honest = spread(stock, 4, analysis=analysis)
    solve_by(monkeypatch, tmp_path, wrong)
    run = spread(stock, 4, analysis=analysis)
    agreement = get(run, AGREEMENT)
    assert (agreement.solved, agreement.by_ngspice) == (0, 5)
    assert agreement.worst == pytest.approx(2e-3, rel=0.02)
    np.testing.assert_allclose(run["voltage"].values, honest["voltage"].values, rtol=1e-4, atol=1e-4)
    (finding,) = agreement_findings(agreement, "spread", "stock")
    assert finding.grade == "not known"
    assert "0.2 %" in finding.words
    assert "all 5 amps are ngspice's" in agreement_words(agreement)
    assert "5 of 10 amps are ngspice's" in agreement_words(agreement + get(honest, AGREEMENT))
    assert "differ by less than 0.001 % of the response (0.1 % is allowed)" in agreement_words(get(honest, AGREEMENT))


# Percentiles


def runs_of(values: np.ndarray) -> xr.DataArray:
    return xr.DataArray(values, dims=("variant", "sample"), attrs={"units": "dB"})


def test_percentiles_of_known_numbers() -> None:
    found = percentiles(runs_of(np.arange(101.0)[np.newaxis]))
    assert found["percentile"].values[:, 0].tolist() == [5.0, 50.0, 95.0]


def test_the_stated_error_is_the_error() -> None:
    """Against theory: sqrt(p (1-p) / n) / density, and against many repeated runs."""
    generator = np.random.default_rng(1)
    table = generator.normal(size=(600, 200))
    found = percentiles(runs_of(table))
    for place, share in enumerate((0.05, 0.5, 0.95)):
        theory = np.sqrt(share * (1.0 - share) / 200) / norm.pdf(norm.ppf(share))
        assert np.mean(found["error"].values[place]) == pytest.approx(theory, rel=0.12)
        assert np.std(found["percentile"].values[place]) == pytest.approx(theory, rel=0.12)


def test_the_size_of_a_swap_against_its_closed_form() -> None:
    """Two independent normal numbers differ by less than 1.96 sqrt 2 standard deviations in 95 % of pairs."""
    generator = np.random.default_rng(2)
    theory = norm.ppf(0.975) * np.sqrt(2.0)
    assert swap_size(generator.normal(size=3000)) == pytest.approx(theory, rel=0.04)
    sizes = [swap_size(generator.normal(size=100)) for _ in range(300)]
    assert np.mean(sizes) == pytest.approx(theory, rel=0.03)
    errors = [swap_error(generator.normal(size=100)) for _ in range(12)]
    assert np.mean(errors) == pytest.approx(np.std(sizes), rel=0.25)


def test_the_chance_against_its_closed_form() -> None:
    """P(X + d > Y) is the normal distribution at d / sqrt 2; its error against repeated runs of paired amps."""
    generator = np.random.default_rng(3)
    shift = 0.8
    found = []
    for _ in range(300):
        amps = generator.normal(size=100)
        found.append(chance(amps, amps + shift, shift))
    values, errors = np.array(found).T
    assert np.mean(values) == pytest.approx(norm.cdf(shift / np.sqrt(2.0)), abs=0.01)
    assert np.mean(errors) == pytest.approx(np.std(values), rel=0.2)
    assert chance(np.arange(5.0), np.arange(5.0), 1.0)[0] == pytest.approx(0.5)
    assert chance(np.arange(5.0), np.arange(5.0) - 9.0, -1.0)[0] == 1.0


def test_bands_without_frequencies_are_refused() -> None:
    with pytest.raises(DescriptionError, match="no frequency of this sweep"):
        band_levels(sample_gain_db(spread(divider(), 3, analysis=TONE)))
