"""The run of all figures: it goes on where one cannot be measured, and says so."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator

import numpy as np
import pytest

from ampsim.base.errors import EngineError
from ampsim.library.loader import load_amp
from ampsim.simulation.ngspice import engine
from ampsim.simulation.timestep.solver import play
from tests.figures import in_time
from tests.figures.figure import QUICK, Figure, Scale, measure_all, table
from tests.figures.in_time import Case, compared
from tests.figures.timestep import without_answer
from tests.tools.solvers_share import over_solvers


def gives_up(_: Scale) -> Iterator[Figure]:
    """Half of a group."""
    yield Figure("first", "1", "1", True)
    raise EngineError("no answer\nmore of it")


def is_stopped(_: Scale) -> Iterator[Figure]:
    """A group that is stopped."""
    yield Figure("begun", "1", "1", True)
    raise KeyboardInterrupt


def is_fine(_: Scale) -> Iterator[Figure]:
    """A group."""
    yield Figure("last", "2", "2", True)


def test_a_group_that_cannot_be_measured_falls_short_and_the_next_is_measured(capsys: pytest.CaptureFixture[str]):
    found = measure_all((gives_up, is_fine), QUICK)
    assert [figure.fine for figure in found] == [True, False, True]
    assert found[1].row == ("not measured to its end: Half of a group.", "EngineError: no answer", "measured", "short")
    assert capsys.readouterr().out.splitlines() == ["  ".join(figure.row) for figure in found]


def test_stopped_by_hand_it_keeps_what_was_measured():
    found = measure_all((is_fine, is_stopped, is_fine), QUICK)
    assert [figure.name for figure in found] == ["last", "begun", "stopped by hand"]
    assert found[-1].value.startswith("1 of 3 groups")
    assert table(found).splitlines()[-1].endswith("short")


def test_an_amp_without_an_answer_is_counted_and_the_others_are_compared(monkeypatch: pytest.MonkeyPatch):
    run = engine.run
    monkeypatch.setattr(engine, "run", lambda netlists: [EngineError("Timestep too small"), *run(netlists[1:])])
    cases = [Case(load_amp("workshop-b"), {}, level, 0.005) for level in (0.01, 0.02)]
    (_, none), (_, error) = compared(cases, step=in_time.TWICE)
    assert isinstance(none, EngineError)
    assert isinstance(error, float)
    row = without_answer([none], len(cases))
    assert (row.value, row.fine) == ("1, 0 of 2", False)


@pytest.mark.skipif(sys.platform != "linux", reason="the processor time of each thread is read as Linux tells it")
def test_the_time_of_solvers_and_of_all_else_are_told_apart():
    amp, silence = load_amp("workshop-b"), np.zeros(144_000)
    play(amp, silence[:480], 48e3)

    def other_work() -> None:
        begin = time.process_time()
        while time.process_time() - begin < 0.5:
            sorted(range(1000))

    whole, solvers = over_solvers(other_work)
    assert solvers < 0.2 * whole
    whole, solvers = over_solvers(lambda: play(amp, silence, 48e3))
    assert solvers > 0.6 * whole
