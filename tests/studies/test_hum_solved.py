"""Hum by our own solver against ngspice, and what happens where they do not agree or one has no answer."""

from __future__ import annotations

import numpy as np
import pytest

from ampsim.base.errors import EngineError
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, load_mod
from ampsim.simulation.agreement import SWEPT_LIMIT
from ampsim.simulation.facts import get
from ampsim.simulation.port_currents import PortCurrents
from ampsim.simulation.request import Case
from ampsim.simulation.small_signal import circuit
from ampsim.studies.noise.hum import SOLVERS, _apart, _Runs, hum_spectrum
from ampsim.studies.noise.hum_measures import hum_assumptions
from ampsim.studies.noise.hum_plan import Mains, Plan
from ampsim.studies.noise.hum_solved import heard_by_solver
from tests.tools import any_amps, random_amps

STOCK = load_amp("workshop-a")
PAIR = [STOCK, apply_mods(STOCK, load_mod("depth"), load_mod("cathode-switch"))]
POSITIONS = [{}, {"depth": 1.0}, {"cathode": "6k8"}]


def test_both_solvers_hear_the_same_of_amps_by_lot() -> None:
    """Rails with and without sources, windings and filters; contributions of nodes and the current drawn as well."""
    cases = [Case(made.amp, {}) for made in any_amps.amps(5, seed=11)]
    cases += [Case(drawn.amp, drawn.position) for drawn in map(random_amps.draw, (101, 104, 112, 131))]
    plans = [Plan(case, Mains(), "speaker") for case in cases]
    for plan, solved, simulated in zip(plans, heard_by_solver(plans), _Runs(plans, None).heard, strict=True):
        assert solved is not None, plan.case.name
        ours, theirs = plan.hum(solved), plan.hum(simulated)
        assert _apart(ours, theirs) < 3e-4, plan.case.name
        assert ours.drawn == pytest.approx(theirs.drawn, rel=1e-4)
        loudest = max((np.abs(each).max() for each in theirs.contribution.values()), default=0.0)
        for node, each in theirs.contribution.items():
            np.testing.assert_allclose(ours.contribution[node], each, rtol=0.0, atol=3e-4 * loudest)


def test_a_solver_that_is_wrong_is_noticed_and_not_believed(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = hum_spectrum(PAIR, POSITIONS)
    assert get(plain, SOLVERS).solved == 6
    assert get(plain, SOLVERS).apart < 1e-5
    slopes = PortCurrents.slopes
    with monkeypatch.context() as bent:
        bent.setattr(PortCurrents, "slopes", lambda *given: 1.02 * slopes(*given))
        found = hum_spectrum(PAIR, POSITIONS)
    assert get(found, SOLVERS).apart > SWEPT_LIMIT
    np.testing.assert_allclose(found["hum"], plain["hum"], rtol=1e-4)
    assert any("ngspice's alone" in line for line in hum_assumptions(found))
    assert not any("ngspice's alone" in line for line in hum_assumptions(plain))


def test_where_the_solver_has_no_answer_ngspice_does_it(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = hum_spectrum(PAIR, POSITIONS)

    def refuse(*_: object) -> None:
        raise EngineError("not by this one")

    monkeypatch.setattr(circuit, "SmallSignal", refuse)
    found = hum_spectrum(PAIR, POSITIONS)
    assert get(found, SOLVERS).solved == 0
    np.testing.assert_allclose(found["contribution"], plain["contribution"], rtol=1e-4, atol=1e-12)
