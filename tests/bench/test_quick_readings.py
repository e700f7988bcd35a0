"""Readings worked out here against those simulated: amps by lot, faults by lot, every place with the meter there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.bench.diagnosis.fault_model import fault_model
from ampsim.bench.diagnosis.faults import faulty_state, suspects
from ampsim.bench.diagnosis.metered_amp import MeteredAmp, State, meter_name
from ampsim.bench.diagnosis.probes import drop_probes, probe, standard_probes
from ampsim.bench.diagnosis.quick_readings import QuickReadings, change_of
from ampsim.circuit.amp import Amp, Socket
from ampsim.circuit.build import circuit_at
from ampsim.circuit.positions import Position
from ampsim.circuit.values import at_supply
from ampsim.library.files import models
from ampsim.library.loader import load_amp
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.response import simulate
from ampsim.simulation.rest_points import Change, Points, RestPoints
from tests.tools import random_amps
from tests.tools.any_amps import made_amp
from tests.tools.any_mods import mod_of, single_mods

METER = 10e6


def bench_of(amp: Amp, position: Position, places: int = 100) -> MeteredAmp:
    wired = circuit_at(amp, position)
    names = (*standard_probes(wired), *drop_probes(wired))[:places]
    return MeteredAmp(amp, position, tuple(probe(wired, name) for name in names), METER)


def faults_by_lot(bench: MeteredAmp, seed: int, count: int) -> list[State]:
    lot, wired = np.random.default_rng(seed), bench.wired
    sockets = {name: part for name, part in wired.parts.items() if isinstance(part, Socket)}
    typical = {name: bench.amp.valve_by_type[part.type] for name, part in sockets.items()}
    may = list(suspects(wired))
    some = [may[number] for number in lot.integers(0, len(may), count)]
    volts = dict.fromkeys(typical, 100.0)
    return [faulty_state(each, float(lot.choice(each.kind.sizes(5))), typical, volts) for each in some]


@settings(max_examples=5)
@given(st.integers(0, 10_000))
def test_amps_by_lot_rest_as_simulated(number: int) -> None:
    """As far as it matters to a meter: what lies behind a gigohm reads next to nothing."""
    case = random_amps.draw(number, with_transient=False)
    bench = bench_of(case.amp, case.position)
    states = [State(), *faults_by_lot(bench, number, 4)]
    points = QuickReadings(bench).points
    if points is None:  # no answer is none that is wrong
        return
    found, told = points.solve([change_of(points, state) for state in states]), bench.unloaded(states)
    share = METER / (METER + np.maximum(found.ohms, 0.0))
    apart = np.abs(found.volts - told) * share
    assert np.nanmax(apart - 0.005 * np.abs(told)) < 0.01
    assert np.isfinite(found.volts).mean() > 0.5


def test_few_amps_are_left_to_the_simulator() -> None:
    benches = [bench_of(case.amp, case.position, 5) for number in range(10)
               if (case := random_amps.draw(number, with_transient=False))]  # fmt: skip
    assert sum(QuickReadings(bench).points is None for bench in benches) <= 1


def test_a_loaded_reading_is_the_simulated_one() -> None:
    bench = bench_of(load_amp("workshop-a"), {})
    states = [State(), *faults_by_lot(bench, 7, 8)]
    found, told = QuickReadings(bench).read(states), bench.read(states)
    apart = np.abs(found - told) / (0.05 + np.abs(told))
    assert np.quantile(apart, 0.98) < 0.003
    assert apart.max() < 0.05


def test_one_place_from_near_by_is_the_same_as_all_of_them_from_afar() -> None:
    bench = bench_of(load_amp("workshop-a"), {})
    points = QuickReadings(bench).points
    assert points is not None
    own = [change_of(points, state) for state in (State(), *faults_by_lot(bench, 3, 30))]
    places = [number % len(bench.probes) for number in range(len(own))]
    loaded = [replace(each, ohms={**each.ohms, meter_name(at): 1e6}) for each, at in zip(own, places, strict=True)]
    whole = points.solve(loaded).volts[np.arange(len(own)), places]
    assert np.isfinite(whole).all()
    assert points.volts_at(loaded, places, points.solve(own).laws) == pytest.approx(whole, rel=1e-9, abs=1e-7)


def test_where_both_differ_the_simulator_is_believed(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = bench_of(load_amp("lesson-stage"), {})
    states = [State(), *faults_by_lot(bench, 1, 3)]
    solve = RestPoints.solve

    def wrong(points: RestPoints, changes: Sequence[Change]) -> Points:
        found = solve(points, changes)
        return replace(found, volts=1.05 * found.volts)

    monkeypatch.setattr(RestPoints, "solve", wrong)
    assert QuickReadings(bench).read(states) == pytest.approx(bench.read_nearly(states))


@pytest.mark.parametrize("name", sorted(path.stem for path in (models() / "amps").glob("*.toml")))
def test_every_usual_reading_of_an_amp_that_comes_along_can_be_had(name: str) -> None:
    bench = bench_of(load_amp(name), {})
    assert np.isfinite(bench.unloaded([State()])).all()


def test_a_reading_before_the_rectifiers_is_refused() -> None:
    with pytest.raises(DescriptionError, match="before the rectifiers"):
        fault_model(load_amp("ballroom"), ["across R70"], drops=False)


@pytest.mark.parametrize("supply", [1.0, 1.07])
def test_a_meter_shows_the_volts_of_an_amp_with_its_mods(supply: float) -> None:
    """Whatever they change, rails too, and from the mains: those of a simulation that knows nothing of meters."""
    rail = (mod_of("another rail voltage", made_amp(13, number)) for number in (27, 28))
    modded = [mod.modded for mod in (*rail, *single_mods(6, 29)) if mod]
    for amp in (*modded, load_amp("kitchen"), load_amp("ballroom")):
        bench = bench_of(amp, {}, 30)
        places = [each.name for each in bench.probes if " " not in each.name]
        (found,) = bench.unloaded([State(supply=supply)])[:, : len(places)]
        told = simulate(at_supply(amp, supply), OperatingPoint(), nodes=places)["voltage"].squeeze()
        assert found == pytest.approx(told.sel(node=places).to_numpy(), rel=1e-4, abs=1e-4), amp.name
