"""A sample of the random amps of `tests.tools.random_amps`, and whether its checks see what is wrong."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ampsim.base.system import cores
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Arrays
from tests.tools import random_amps, verdicts

# All of them at rest and swept; in time as many as a minute or two allow. `python -m tests.figures` does 3,000 of each.
COUNT, TRANSIENTS = 300, 200


def test_random_amps_converge_and_tell_the_truth() -> None:
    total = random_amps.run(COUNT, first=100_000, transients=TRANSIENTS)
    assert (total.tried, total.transients) == (COUNT, TRANSIENTS)
    assert total.wrong == []
    assert total.failed_percent <= 0.34, total.failures


def test_every_number_draws_the_same_amp_again() -> None:
    for number in range(20):
        first, second = random_amps.draw(number), random_amps.draw(number)
        assert first.amp == second.amp
        assert [one.digest for one in first.netlists] == [one.digest for one in second.netlists]


def test_the_lot_reaches_every_kind_of_amp() -> None:
    amps = [random_amps.draw(number, with_transient=False).amp for number in range(300)]
    templates = {stage.template for amp in amps for stage in amp.stages}
    from ampsim.circuit.stages import TEMPLATES

    files = Path(random_amps.__file__).parent.glob("random_*.py")
    named = "".join(path.read_text(encoding="utf-8") for path in files)
    # Free wiring is in an amp that comes with ampsim; a template that the tool does not know is tried by its own test.
    assert templates == {name for name in TEMPLATES if f'"{name}"' in named} | {"free wiring"}
    types = {part.type for amp in amps for part in amp.parts if part.kind == "valve"}  # type: ignore[union-attr]
    assert types >= {*random_amps.TRIODES, *random_amps.PUBLISHED, *random_amps.PENTODES}
    assert {mod.name for amp in amps for mod in amp.mods} >= {"bright switch", "depth", "feedback with presence"}


@pytest.fixture(scope="module")
def answered() -> tuple[random_amps.Case, list[Arrays]]:
    case = random_amps.draw(12)
    outcomes = engine.run(case.netlists, workers=cores())
    assert all(isinstance(outcome, Arrays) for outcome in outcomes)
    assert verdicts.faults(case.amp, case.netlists, outcomes) == []
    return case, [outcome for outcome in outcomes if isinstance(outcome, Arrays)]


@pytest.mark.parametrize("analysis", range(3))
def test_an_answer_that_is_a_little_off_is_seen(answered: tuple[random_amps.Case, list[Arrays]], analysis: int) -> None:
    """One per cent on any single plate, cathode or valve current, at rest, swept or in time."""
    case, outcomes = answered
    names = [name for name in outcomes[analysis].vectors if "plate" in name or "cathode" in name or ".ia" in name]
    assert len(names) > 4
    for name in names:
        vectors = dict(outcomes[analysis].vectors)
        if np.abs(vectors[name]).max() < 1e-3:
            continue
        vectors[name] = 1.01 * vectors[name]
        off = [*outcomes]
        off[analysis] = replace(outcomes[analysis], vectors=vectors)
        assert verdicts.faults(case.amp, case.netlists, off), name
