"""Transients by the time-step solver, a sample of them by ngspice as well; who asks does not know which answered.

The solver is a hundred times quicker than ngspice and as exact. What it cannot do, ngspice does. Where the two differ
by more than `TIMED_LIMIT` in the sample, both take it in steps half as long, or a quarter: if they come together so,
all is taken in such steps; if not, ngspice does everything.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from ..base.errors import AmpsimError
from ..base.progress import SIMULATIONS, Progress, ProgressBar
from ..base.system import as_done, cores
from ..circuit.build import SPEAKER
from ..circuit.switches.moving import SIDES
from .agreement import TIMED_LIMIT, Agreement
from .netlist import Netlist, node_vector
from .ngspice import engine
from .ngspice.engine import Arrays, Outcome
from .ngspice.kept_answers import fetch_answer, keep_answer
from .stimuli import Throw
from .timed_run import TimedRun, Tone
from .timestep.pace import Pace, solver_name
from .uneven_times import resample
from .unsettled import reasons

_Key = tuple[str, tuple[str, ...], Pace]
_QUIET = 1e-3  # V: of less movement no share is taken
INSTEAD = "ngspice had no answer: this is the time-step solver's"
ALONE = 2.5e-6
"""The steps [s] of the solver where it answers in the place of ngspice: half of what its finest studies take."""
# How often its steps are halved then. Amps far beyond clipping needed up to four; what is chaotic never comes together.
_HALVINGS = 4
_HALVINGS_CHECKED = 2  # the same of a sample that ngspice does too


class InTime:
    """Answers transients, and keeps count of how a sample of them agrees with ngspice.

    Parameters
    ----------
    checks : int
        How many runs ngspice does too: the loudest, and then those that their content says.
    progress : callable
        Called with (done, total).
    seconds : float
        How much of a stimulus is checked [s]: its beginning, of a burst less before, in and after it (`shorter` of each
        kind). What comes later follows from the same equations in the same steps.
    tone : Tone
        What ngspice plays instead, into the circuits that are checked: the laws and equations are the same, and whoever
        asked for that tone before has its answer. The beginning of a stimulus is then checked in steps half as long.
    """

    def __init__(
        self, checks: int = 1, progress: Progress | None = None, seconds: float = np.inf, tone: Tone | None = None
    ) -> None:
        self._checks, self._progress, self._halved, self._seconds = checks, progress, 0, seconds
        self._tone = tone
        self.agreement = Agreement(seconds=seconds, tone=tone.sine.duration if tone else 0.0)

    def run(self, runs: Sequence[TimedRun]) -> list[Outcome]:
        """Answer transients, equal ones once; an error for what neither solver nor ngspice could answer.

        Raises
        ------
        EngineError
            When no simulator process can work at all.
        """
        keys: list[_Key] = [(run.netlist.digest, run.netlist.form.vectors, run.pace) for run in runs]
        distinct = dict(zip(keys, runs, strict=True))
        known_broken = self.agreement.broken
        outcomes = {} if known_broken else self._checked(distinct)
        if self.agreement.broken:
            whole = reasons([*distinct.values()], self._by_ngspice([run.netlist for run in distinct.values()]))
            more = len(distinct) if known_broken else 0
            outcomes = dict(zip(distinct, whole, strict=True))
            known = self.agreement
            self.agreement = replace(known, solved=0, by_ngspice=known.solved + known.by_ngspice + more)
        return [outcomes[key] for key in keys]

    def _checked(self, distinct: Mapping[_Key, TimedRun]) -> dict[_Key, Outcome]:
        """What the solver answers, and ngspice in its place; nothing where the sample breaks the agreement."""
        found = self._solved(_finer(distinct, self._halved))
        answered = {key: run for key, run in _finer(distinct, self._halved).items() if isinstance(found[key], Arrays)}
        sample = self._sample(answered, self._checks - self.agreement.checked)
        apart = self._apart(sample)
        halvings, closer = self._come_together(sample, apart)
        if halvings:
            self._halved, apart, found = halvings, closer, self._solved(_finer(distinct, halvings))
        worst = max(apart, default=np.nan)
        if worst > TIMED_LIMIT:
            self.agreement += Agreement(len(distinct), 0, len(apart), worst)
            return {}
        reached = _instead(_finer(distinct, self._halved), found)
        found |= self._solved(reached) if reached else {}
        refused = [key for key in distinct if not isinstance(found[key], Arrays)]
        left = [reached.get(key, distinct[key]) for key in refused]
        told = reasons(left, self._by_ngspice([run.netlist for run in left]))
        why = tuple(dict.fromkeys(str(found[key]) for key in refused))
        solved = len(distinct) - len(refused)
        unchecked = len(sample) - len(apart)
        self.agreement += Agreement(solved, len(refused), len(apart), worst, why, unchecked=unchecked)
        arrays = {key: each for key, each in found.items() if isinstance(each, Arrays)}
        return {**arrays, **dict(zip(refused, told, strict=True))}

    def _come_together(self, sample: Mapping[_Key, TimedRun], apart: list[float]) -> tuple[int, list[float]]:
        """How often steps are halved, once for all, until both agree in a sample, and how far apart they are then."""
        last, differ = apart, max(apart, default=0.0) > TIMED_LIMIT
        for halvings in range(1, _HALVINGS_CHECKED + 1) if differ and not self._halved else ():
            closer = self._apart(_finer(sample, halvings))
            if len(closer) < len(apart) or not max(closer) < max(last):
                break
            if max(closer) <= TIMED_LIMIT:
                return halvings, closer
            last = closer
        return 0, apart

    def _solved(self, runs: Mapping[_Key, TimedRun]) -> dict[_Key, Outcome | AmpsimError]:
        with ProgressBar() as bar:
            return _solved(runs, self._progress or bar)

    def _by_ngspice(self, netlists: list[Netlist]) -> list[Outcome]:
        return engine.run_distinct(netlists, progress=self._progress) if netlists else []

    def _apart(self, chosen: Mapping[_Key, TimedRun]) -> list[float]:
        """How far the two are apart in a sample [ratio], where both answer."""
        theirs = self._from_ngspice({key: self._check_of(run) for key, run in chosen.items()})
        if not self._tone:
            return [*theirs.values()]
        begun = {key: run.sample(self._seconds) for key, run in chosen.items()}
        ours, halves = self._solved(begun), self._solved(_finer(begun, 1))
        own = _differences(begun, ours, halves)
        # Where half the steps lead nowhere ngspice does that beginning.
        own |= self._from_ngspice({key: begun[key] for key in theirs if key not in own})
        return [max(each, own[key]) for key, each in theirs.items() if key in own]

    def _from_ngspice(self, runs: Mapping[_Key, TimedRun]) -> dict[_Key, float]:
        """How far the solver's answers to runs are from ngspice's [ratio], where both answer."""
        ours = self._solved(runs)
        theirs = dict(zip(runs, self._by_ngspice([run.exact for run in runs.values()]), strict=True))
        told = [each for key, run in runs.items() for each in _told_apart(run, ours[key], theirs[key])]
        if told:
            share, what = max(told)
            self.agreement = replace(self.agreement, told=share, told_of=what)
        return _differences(runs, ours, theirs)

    def _check_of(self, run: TimedRun) -> TimedRun:
        """What ngspice does for a run that is checked."""
        return run.played(self._tone) if self._tone else run.sample(self._seconds)

    def _sample(self, runs: Mapping[_Key, TimedRun], count: int) -> dict[_Key, TimedRun]:
        """The loudest, of those one that is checked by many, and then any; which one is said by their content."""
        if count < 1:
            return {}
        by_content = sorted(runs, key=lambda key: key[0])
        most = max((run.level for run in runs.values()), default=0.0)
        loud = [key for key in by_content if runs[key].level == most]
        first = [min(loud, key=lambda key: self._check_of(runs[key]).exact.digest)] if len(loud) > 1 else loud
        chosen = [*first, *(key for key in by_content if key not in first)][:count]
        return {key: runs[key] for key in chosen}


def _told_apart(
    run: TimedRun, ours: Outcome | AmpsimError, theirs: Outcome | AmpsimError
) -> Iterator[tuple[float, str]]:
    """How far answers are apart in each number that is told of them, over the larger [ratio], and what that is."""
    if run.told and isinstance(ours, Arrays) and isinstance(theirs, Arrays):
        one, other = run.told(run.analysis, ours), run.told(run.analysis, theirs)
        for name in dict.fromkeys([*one, *other]):
            a, b = one.get(name, 0.0), other.get(name, 0.0)
            if largest := max(abs(a), abs(b)):
                yield abs(a - b) / largest, name


def _differences(
    runs: Mapping[_Key, TimedRun],
    ours: Mapping[_Key, Outcome | AmpsimError],
    theirs: Mapping[_Key, Outcome | AmpsimError],
) -> dict[_Key, float]:
    """`difference` of the answers to runs, where there are both."""
    both = {key: (ours[key], theirs[key]) for key in runs}
    return {
        key: difference(runs[key], one, other)
        for key, (one, other) in both.items()
        if isinstance(one, Arrays) and isinstance(other, Arrays)
    }


def solved_instead(runs: Sequence[TimedRun], outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Outcomes of ngspice, with the solver's where it gave none; a remark says so.

    The solver's is taken where steps half as long give the same within `TIMED_LIMIT`: what oscillates far beyond
    hearing has no answer from either. Where they do not yet they are halved on, as long as that brings answers
    together.
    """
    tried = [outcome if isinstance(outcome, Arrays) else _settled(run) or outcome
             for run, outcome in zip(runs, outcomes, strict=True)]  # fmt: skip
    return reasons(runs, tried)


def _settled(run: TimedRun) -> Arrays | None:
    """The solver's answer in steps so short that half of them change nothing; None where there are none."""
    (answer,), last = _of_one_circuit([run]), np.inf
    for _ in range(_HALVINGS):
        run, before = run.finer, answer
        (answer,) = _of_one_circuit([run])
        if not (isinstance(answer, Arrays) and isinstance(before, Arrays)):
            return None
        apart = difference(run, before, answer)
        if apart <= TIMED_LIMIT:
            return replace(answer, notes=(INSTEAD,))
        if not apart < last:
            return None
        last = apart
    return None


def difference(run: TimedRun, ours: Arrays, theirs: Arrays) -> float:
    """Rms difference of two answers at the speaker over rms of the movement there [ratio]; 0 where nothing moves."""
    vector = node_vector(run.wired, SPEAKER)
    if vector not in ours.vectors or vector not in theirs.vectors:
        vector = next(name for name in ours.vectors if name in theirs.vectors)
    both = ours.scale <= theirs.scale[-1]
    scale, one = ours.scale[both], ours.vectors[vector][both]
    time, wave = theirs.scale, theirs.vectors[vector]
    # A cubic would swing past the corners of a pop.
    pops = isinstance(run.analysis.stimulus, Throw)
    other = np.interp(scale, time, wave) if pops else resample(time, wave[None], scale)[0]
    moved = other - wave[0]
    weight = np.where(_moving(run.analysis.stimulus, scale), 0.0, np.gradient(scale))
    apart, whole = (float(np.sqrt(np.average(each**2, weights=weight))) for each in (one - other, moved))
    return apart / max(whole, _QUIET)


def _moving(stimulus: object, times: NDArray[np.float64]) -> NDArray[np.bool_]:
    """At which times [s] contacts move: in no time for the solver, through decades of resistance for ngspice."""
    edges = [at for side in SIDES for at, _ in stimulus.movements(side)] if isinstance(stimulus, Throw) else []
    return np.asarray([any(0.0 < time - at < Throw.edge for at in edges) for time in times], bool)


def _finer(runs: Mapping[_Key, TimedRun], halvings: int) -> dict[_Key, TimedRun]:
    return {key: reduce(lambda each, _: each.finer, range(halvings), run) for key, run in runs.items()}


def _instead(runs: Mapping[_Key, TimedRun], found: Mapping[_Key, Outcome | AmpsimError]) -> dict[_Key, TimedRun]:
    """The runs without an answer that have another circuit to take, with that."""
    return {
        key: replace(run, wired=run.instead, instead=None)
        for key, run in runs.items()
        if run.instead is not None and not isinstance(found[key], Arrays)
    }


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
    return found


def _of_one_circuit(runs: Sequence[TimedRun]) -> list[Outcome | AmpsimError]:
    from .timestep.transient import transient

    found: list[Outcome | AmpsimError] = []
    for run in runs:
        try:
            answer = transient(run.wired, run.setting, run.analysis, run.netlist.form.vectors, run.pace)
            if not run.passing:
                keep_answer(run.netlist, answer.scale, answer.vectors, (), solver_name(run.pace))
            found.append(answer)
        except AmpsimError as problem:
            found.append(problem)
    return found
