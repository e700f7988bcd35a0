"""Transients by the time-step solver, a sample of them by ngspice as well; who asks does not know which answered.

The solver is a hundred times quicker than ngspice and as exact. What it cannot do, ngspice does; where the two differ
by more than `STATED` in the sample, ngspice does everything.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..base.errors import AmpsimError
from ..base.progress import SIMULATIONS, Progress, ProgressBar
from ..base.system import as_done, cores
from ..circuit.build import SPEAKER, Circuit
from .analyses import Transient
from .facts import Fact
from .netlist import Netlist, is_rail_vector, node_vector, write
from .ngspice import engine
from .ngspice.engine import Arrays, Outcome
from .ngspice.kept_answers import fetch_answer, forget_oldest, keep_answer
from .timestep.pace import Pace, solver_name
from .uneven_times import resample

_Key = tuple[str, tuple[str, ...], Pace]
STATED = 0.03
"""How far [ratio] the two may differ: rms of the difference at the speaker over rms of the movement there."""
_QUIET = 1e-3  # V: of less movement no share is taken
_FINEST = 1e-4  # the tolerance of ngspice in a check, at most


@dataclass(frozen=True)
class TimedRun:
    """A circuit with its knobs set, what is played into it, and the places and currents that are looked at."""

    wired: Circuit
    setting: Mapping[str, float | str]
    analysis: Transient
    nodes: tuple[str, ...]
    pace: Pace
    currents: bool = False

    @cached_property
    def netlist(self) -> Netlist:
        """What ngspice reads; of currents those of valves and semiconductors."""
        return self._netlist(self.analysis)

    @property
    def exact(self) -> Netlist:
        """What ngspice reads for a check: twice as fine."""
        finer = replace(self.analysis, step=0.5 * self.analysis.step, tolerance=min(self.analysis.tolerance, _FINEST))
        return self._netlist(finer)

    def _netlist(self, analysis: Transient) -> Netlist:
        whole = write(self.wired, self.setting, analysis, self.nodes, self.currents)
        vectors = tuple(name for name in whole.form.vectors if not is_rail_vector(name))
        return Netlist(whole.form._replace(vectors=vectors), whole.values)

    @property
    def level(self) -> float:
        """The level of its stimulus [V]."""
        return float(getattr(self.analysis.stimulus, "level", 0.0))


@dataclass(frozen=True)
class Agreement:
    """How the solver and ngspice agree.

    `solved` and `by_ngspice`: how many runs each of them answered; `checked` how many of the first ngspice did too;
    `worst` the largest difference among them [ratio], NaN without any; `refused`: why the solver did not, in words.
    """

    solved: int = 0
    by_ngspice: int = 0
    checked: int = 0
    worst: float = np.nan
    refused: tuple[str, ...] = ()

    def __add__(self, other: Agreement) -> Agreement:
        return Agreement(
            self.solved + other.solved,
            self.by_ngspice + other.by_ngspice,
            self.checked + other.checked,
            float(np.fmax(self.worst, other.worst)),
            tuple(dict.fromkeys([*self.refused, *other.refused])),
        )

    @property
    def broken(self) -> bool:
        """Whether they differ by more than stated; then every answer is ngspice's."""
        return self.worst > STATED


AGREEMENT = Fact("agreement", Agreement)
"""How the solver and ngspice agree in a response."""


class InTime:
    """Answers transients, and keeps count of how a sample of them agrees with ngspice.

    Parameters
    ----------
    checks : int
        How many runs ngspice does too: the loudest, and then those that their content says.
    progress : callable
        Called with (done, total).
    """

    def __init__(self, checks: int = 1, progress: Progress | None = None) -> None:
        self._checks, self._progress = checks, progress
        self.agreement = Agreement()

    def run(self, runs: Sequence[TimedRun]) -> list[Outcome]:
        """Answer transients, equal ones once; an error for what neither solver nor ngspice could answer.

        Raises
        ------
        EngineError
            When no simulator process can work at all.
        """
        keys: list[_Key] = [(run.netlist.digest, run.netlist.form.vectors, run.pace) for run in runs]
        distinct = dict(zip(keys, runs, strict=True))
        outcomes = {} if self.agreement.broken else self._checked(distinct)
        if self.agreement.broken:
            whole = engine.run_distinct([run.netlist for run in distinct.values()], progress=self._progress)
            more = 0 if outcomes else len(distinct)
            outcomes = dict(zip(distinct, whole, strict=True))
            known = self.agreement
            self.agreement = replace(known, solved=0, by_ngspice=known.solved + known.by_ngspice + more)
        return [outcomes[key] for key in keys]

    def _checked(self, distinct: Mapping[_Key, TimedRun]) -> dict[_Key, Outcome]:
        """What the solver answers, and ngspice in its place; where the sample breaks the agreement, no matter what."""
        with ProgressBar() as bar:
            found = _solved(distinct, self._progress or bar)
        answered = {key: each for key, each in found.items() if isinstance(each, Arrays)}
        refused = [key for key in distinct if key not in answered]
        sample = _sample({key: distinct[key] for key in answered}, self._checks - self.agreement.checked)
        netlists = [distinct[key].exact for key in sample] + [distinct[key].netlist for key in refused]
        told = engine.run_distinct(netlists, progress=self._progress) if netlists else []
        apart = [
            difference(distinct[key], answered[key], outcome)
            for key, outcome in zip(sample, told, strict=False)
            if isinstance(outcome, Arrays)
        ]
        reasons = tuple(dict.fromkeys(str(found[key]) for key in refused))
        self.agreement += Agreement(len(answered), len(refused), len(apart), max(apart, default=np.nan), reasons)
        return {**answered, **dict(zip(refused, told[len(sample) :], strict=True))}


def difference(run: TimedRun, ours: Arrays, theirs: Arrays) -> float:
    """Rms difference of two answers at the speaker over rms of the movement there [ratio]; 0 where nothing moves."""
    vector = node_vector(run.wired, SPEAKER)
    if vector not in ours.vectors or vector not in theirs.vectors:
        vector = next(name for name in ours.vectors if name in theirs.vectors)
    one, other = ours.vectors[vector], resample(theirs.scale, theirs.vectors[vector][None], ours.scale)[0]
    moved = other - theirs.vectors[vector][0]
    weight = np.gradient(ours.scale)
    apart, whole = (float(np.sqrt(np.average(each**2, weights=weight))) for each in (one - other, moved))
    return apart / max(whole, _QUIET)


def _sample(runs: Mapping[_Key, TimedRun], count: int) -> list[_Key]:
    """The loudest, and then any; which one is said by their content."""
    by_content = sorted(runs, key=lambda key: key[0])
    loudest = sorted(by_content, key=lambda key: -runs[key].level)[:1]
    return [*loudest, *(key for key in by_content if key not in loudest)][:count]


def _solved(runs: Mapping[_Key, TimedRun], progress: Progress) -> dict[_Key, Outcome | AmpsimError]:
    """What the solver gives, or has given before; those of one circuit one after the other."""
    found: dict[_Key, Outcome | AmpsimError] = {}
    circuits: dict[object, list[_Key]] = {}
    for key, run in runs.items():
        kept = fetch_answer(run.netlist, solver_name(run.pace))
        if kept:
            found[key] = engine.outcome_of(run.netlist, *kept)
        else:
            circuits.setdefault((id(run.wired), tuple(run.setting.items()), key[1]), []).append(key)
    with ThreadPoolExecutor(cores()) as pool:
        jobs = {pool.submit(_of_one_circuit, [runs[key] for key in keys]): keys for keys in circuits.values()}
        for job in as_done(jobs):
            found |= dict(zip(jobs[job], job.result(), strict=True))
            progress(len(found), len(runs), SIMULATIONS)
    if circuits:
        forget_oldest()
    return found


def _of_one_circuit(runs: Sequence[TimedRun]) -> list[Outcome | AmpsimError]:
    from .timestep.transient import transient

    found: list[Outcome | AmpsimError] = []
    for run in runs:
        try:
            answer = transient(run.wired, run.setting, run.analysis, run.netlist.form.vectors, run.pace)
            keep_answer(run.netlist, answer.scale, answer.vectors, (), solver_name(run.pace))
            found.append(answer)
        except AmpsimError as problem:
            found.append(problem)
    return found
