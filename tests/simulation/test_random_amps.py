"""A sample of the random amps of `tests.tools.random_amps`, and whether its checks see what is wrong."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from ampsim import load_semiconductor
from ampsim.base.system import cores
from ampsim.circuit.semiconductors.spice import subcircuit_name
from ampsim.circuit.stages import TEMPLATES
from ampsim.circuit.supply.averaged import MEAN_RECTIFIER
from ampsim.circuit.supply.inrush import MEAN_THERMISTOR
from ampsim.simulation.devices import WRITERS
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Arrays
from tests.tools import random_amps, verdicts
from tests.tools.nodal_netlist import Known, read_netlist
from tests.tools.random_semiconductors import SEMICONDUCTORS
from tests.tools.random_supplies import RECTIFIERS

# Of amps 100,000 to 100,500 those that together have every template, kind and type of part; and as many others at rest
# and swept as a few seconds allow. `python -m tests.tools.random_amps --count 3000` does all of it with any number.
CHOSEN = (
    100_225, 100_190, 100_057, 100_333, 100_008, 100_237, 100_378, 100_321, 100_127, 100_068, 100_348, 100_101, 100_013,
    100_067, 100_056, 100_094, 100_040, 100_091,
)  # fmt: skip
OTHERS = 10


def test_random_amps_converge_and_tell_the_truth() -> None:
    cases = [random_amps.draw(number) for number in CHOSEN]
    cases += [random_amps.draw(number, with_transient=False) for number in range(200_000, 200_000 + OTHERS)]
    for found in random_amps.try_cases(cases):
        assert not found.failures, found.number
        assert not found.faults, found.number
        assert found.beside is None or found.beside < 1e-3, found.number


def test_every_number_draws_the_same_amp_again() -> None:
    for number in CHOSEN[:6]:
        first, second = random_amps.draw(number), random_amps.draw(number)
        assert first.amp == second.amp
        assert [one.digest for one in first.netlists] == [one.digest for one in second.netlists]


def test_the_chosen_amps_have_every_template_and_kind_of_part() -> None:
    amps = [random_amps.draw(number, with_transient=False).amp for number in CHOSEN]
    assert {stage.template for amp in amps for stage in amp.stages} == set(TEMPLATES)
    parts = [part for amp in amps for part in amp.parts]
    kinds = {part.kind for part in parts}
    # What stands for rectifiers, and what only moving or held circuits have, is no part of a drawing; rails are drawn.
    made = {"rail", "contact", "held volts", MEAN_RECTIFIER, MEAN_THERMISTOR}
    assert kinds | made == set(WRITERS) | {"mains transformer"}
    types = {getattr(part, "type", "") for part in parts}
    assert types >= {*random_amps.TRIODES, *random_amps.PUBLISHED, *random_amps.PENTODES, "EF86", *RECTIFIERS}
    assert types >= SEMICONDUCTORS
    assert any(math.isfinite(getattr(part, "saturation", math.inf)) for part in parts if part.kind == "transformer")
    assert {mod.name for amp in amps for mod in amp.mods} >= {
        "bright switch",
        "depth",
        "feedback with presence",
        "relay",
    }


@pytest.fixture(scope="module")
def answered() -> tuple[random_amps.Case, list[Arrays]]:
    case = random_amps.draw(100_068)
    outcomes = engine.run(case.netlists, workers=cores())
    assert all(isinstance(outcome, Arrays) for outcome in outcomes)
    assert verdicts.faults(verdicts.at(case.amp, case.position), case.netlists, outcomes) == []
    return case, [outcome for outcome in outcomes if isinstance(outcome, Arrays)]


@pytest.mark.parametrize("analysis", range(3))
def test_an_answer_that_is_a_little_off_is_seen(answered: tuple[random_amps.Case, list[Arrays]], analysis: int) -> None:
    """One per cent on any single plate, cathode or valve current, at rest, swept or in time."""
    case, outcomes = answered
    names = [name for name in outcomes[analysis].vectors if "plate" in name or "cathode" in name or ".ia" in name]
    assert len(names) > 4
    for name in names[:8]:
        vectors = dict(outcomes[analysis].vectors)
        if np.abs(vectors[name]).max() < 1e-3:
            continue
        vectors[name] = 1.01 * vectors[name]
        off = [*outcomes]
        off[analysis] = replace(outcomes[analysis], vectors=vectors)
        assert verdicts.faults(verdicts.at(case.amp, case.position), case.netlists, off), name


@pytest.mark.parametrize(("resistor", "seen"), [("", False), ("rload mid 0 1e9\n", True)])
def test_a_start_beside_the_operating_point_is_seen_unless_only_leakage_holds_it(resistor: str, seen: bool) -> None:
    """A net between two diodes of which one blocks: 0.2 V of 300 move nanoamperes, not so where a resistor is."""
    device = load_semiconductor("1N5242B")
    kind = subcircuit_name(device)
    known = Known({}, {kind: device})
    diodes = f"xd1 low mid {kind}\nxd2 high mid {kind}\n"
    elements = read_netlist(f"vlow low 0 296\nvhigh high 0 300\n{resistor}{diodes}", known)
    volts = {"0": 0.0, "low": 296.0, "high": 300.0, "mid": 299.8}
    for start, fault in ((299.8, False), (299.6, seen), (290.0, True)):
        moving = Arrays({"v(mid)": np.array([start, 299.0])}, np.array([0.0, 1e-5]), ())
        assert bool(list(verdicts.starts(elements, volts, moving))) == fault, start
