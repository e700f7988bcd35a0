"""The simulations behind the ratings: at rest and cold by ngspice, driven in time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import cast

from ...base.progress import SIMULATIONS, Progress, part_of
from ...circuit.build import Circuit
from ...circuit.plugs import PLUGGED
from ...circuit.pot_tracks import track_stretches
from ...circuit.semiconductors.description import LIGHT_PIN, PINS
from ...circuit.stages.template import Element
from ...circuit.supply.averaged import supplied
from ...simulation.analyses import Analysis, OperatingPoint, Transient
from ...simulation.in_time import InTime
from ...simulation.netlist import Netlist, write
from ...simulation.ngspice import engine
from ...simulation.ngspice.engine import Arrays, Outcome
from ...simulation.request import Case
from ...simulation.stimuli import Sine
from ...simulation.timed_run import TimedRun, Told
from ...simulation.timestep.pace import Pace

# Against 1e-4: means within 2 %, peaks within 1.5 %, in a third of the time (an overdriven amp of four triodes,
# inverter and push-pull pair with feedback).
_TOLERANCE = 1e-3
_BATCH = 4
Job = tuple[Case, Analysis, Netlist]
"""Whose amp, what is done to it, and what ngspice would read."""
# Cycles of a tone are taken in so many steps where nothing happens; where an output valve lets go of its transformer,
# or a loop snaps over, in up to a thousand times as many.
_STEPS = 100
_LONGEST_STEP = 40e-6  # s
MISS = 0.1
"""`Pace.miss` with which peaks and pulses are within 2 % of what ever finer steps come to; in even steps, 800 to
a cycle, they were up to 77 % low."""
QUICK_MISS = 1.0
"""With which they are read up to 6 % low, means up to 1 %, in half the time."""


def elements_of(wired: Circuit, *kinds: str) -> list[Element]:
    """The elements of some kinds, without what is plugged in."""
    return [element for element in wired.elements if element.kind in kinds and element.stage != PLUGGED]


def drive(tone: Sine) -> Transient:
    """The amp driven with a tone."""
    return Transient(tone, min(50e-6, 0.02 / tone.frequency), _TOLERANCE)


def _name(run: Analysis) -> str:
    if isinstance(run, Transient):
        return f"driven at {cast('Sine', run.stimulus).frequency:g} Hz"
    return "cold" if run == OperatingPoint(cold=True) else "at rest"


def netlist_of(case: Case, run: Analysis) -> Netlist:
    """What is simulated of a case: every pin that has a rating."""
    return write(case.wired, case.setting, run, _heard(case), currents=True)


def _heard(case: Case) -> tuple[str, ...]:
    heard = elements_of(supplied(case.wired), "resistor", "capacitor", "pot", "valve", *PINS)
    return tuple(f"{element.designator}.{pin}" for element in heard for pin, _ in element.pins if pin != LIGHT_PIN)


def answers_of(
    jobs: list[Job],
    solver: InTime,
    progress: Progress | None,
    told: Callable[[Case, Netlist], Told],
    miss: float = MISS,
) -> Iterator[tuple[Case, Analysis, Netlist, Arrays]]:
    """Run every different netlist once, in time a few at a go: waveforms at every place fill the memory.

    Parameters
    ----------
    jobs : list
    solver : InTime
    progress : callable
        Called with (done, total).
    told : callable
        From a case to what is told of it [V, W, A]: where both solvers answer, that is compared.
    miss : float
        `Pace.miss` [ratio].
    """
    alone = list({(run, netlist.digest): (case, run, netlist) for case, run, netlist in jobs}.values())
    still = [job for job in alone if not isinstance(job[1], Transient)]
    outcomes = engine.run_distinct([netlist for *_, netlist in still], progress=part_of(progress, 0, len(alone)))
    yield from _named(still, outcomes)
    moving = [job for job in alone if isinstance(job[1], Transient)]
    for start in range(0, len(moving), _BATCH):
        batch = moving[start : start + _BATCH]
        yield from _named(
            batch, solver.run([replace(_timed(case, run, miss), told=told(case, own)) for case, run, own in batch])
        )
        if progress:
            progress(len(still) + start + len(batch), len(alone), SIMULATIONS)


def _named(jobs: list[Job], outcomes: list[Outcome]) -> Iterator[tuple[Case, Analysis, Netlist, Arrays]]:
    for (case, run, netlist), outcome in zip(jobs, outcomes, strict=True):
        yield case, run, netlist, case.arrays(outcome, _name(run))


def _timed(case: Case, run: Analysis, miss: float) -> TimedRun:
    analysis = cast("Transient", run)
    step = min(_LONGEST_STEP, 1.0 / (_STEPS * cast("Sine", analysis.stimulus).frequency))
    pace, quick = Pace(step, miss=miss), miss == QUICK_MISS  # of which only what was read is asked for again
    return TimedRun(case.wired, case.setting, analysis, _heard(case), pace, True, passing=quick)


def pin_pairs(element: Element) -> list[tuple[str, str]]:
    """The pairs of pins a voltage can stand between; of a pot first the stretches of its track."""
    if element.kind != "pot":
        return [("1", "2")]
    return [*((first, second) for _, first, second in track_stretches(element)), ("top", "bottom")]
