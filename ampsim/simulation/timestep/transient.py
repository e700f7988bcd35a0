"""A transient by the time-step solver, with the same names and units as ngspice's answer."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from ...base.errors import EngineError
from ...circuit.build import Circuit
from ...circuit.switches.moving import SIDES
from ..analyses import Transient
from ..band_limit import slow_part
from ..ngspice.engine import Arrays
from ..stimuli import Burst, Sine, Throw, Waveform
from .branches import BEFORE, parts_of
from .kernel_arguments import Array, Integers
from .machine import Unsolved
from .pace import Pace
from .setting import Setting, prepare
from .sockets import seats_of
from .vectors import Reading, reading
from .walker import Walker

Stimulus = Sine | Burst | Waveform | Throw
_CHUNK = 4096  # steps between two looks at what they gave
_ALIKE = 1e-9  # s
_SPRING_STEP = 10e-6  # s; at twice that an echo is 1 % off


@dataclass(frozen=True)
class _Phase:
    """A stretch of time [s] in equal steps, `every` one of which is kept; after a movement of contacts or not.

    `brief`: of a circuit that is hardly played again.
    """

    begin: float
    end: float
    steps: int
    every: int
    closed: tuple[str, ...] = BEFORE
    moved: bool = False
    brief: bool = False

    @property
    def step(self) -> float:
        return (self.end - self.begin) / self.steps


class _Bench:
    """A circuit that is listened at, ready to be played again and again."""

    def __init__(self, wired: Circuit, setting: Mapping[str, float | str], vectors: Sequence[str]) -> None:
        parts = parts_of(wired, setting, still=True)
        self._seats, self.has_springs = seats_of(parts.seats), bool(parts.lines)
        self.reading = reading(wired, parts, self._seats, vectors)
        self._parts = parts
        self._prepared: dict[tuple[str, ...], Setting] = {}
        self._paced: dict[tuple[tuple[str, ...], float], Setting] = {}

    def setting(self, phase: _Phase) -> Setting:
        """The circuit with its contacts as in a phase, for the phase's steps."""
        key = phase.closed, round(phase.step, 15)
        if key not in self._paced:
            if phase.closed not in self._prepared:
                parts = self._parts.with_closed(phase.closed)
                self._prepared[phase.closed] = prepare(parts, self._seats, self.reading.nets, phase.step, phase.brief)
            self._paced[key] = self._prepared[phase.closed].at(phase.step)
        return self._paced[key]

    def machine(self, phase: _Phase, drive: float, residue: float, springs: float) -> Walker:
        """The circuit at rest before anything moves, for a phase.

        `drive` is what stands at its input [V], `residue` that of `Pace`, `springs` the steps of its springs [s].
        """
        return Walker(self.setting(replace(phase, closed=BEFORE)), self._seats, drive, residue, springs)


@lru_cache(maxsize=16)
def _bench(wired: Circuit, setting: tuple[tuple[str, float | str], ...], vectors: tuple[str, ...]) -> _Bench:
    return _Bench(wired, dict(setting), vectors)


def transient(
    wired: Circuit, setting: Mapping[str, float | str], analysis: Transient, vectors: Sequence[str], pace: Pace
) -> Arrays:
    """Play a transient.

    Parameters
    ----------
    wired : Circuit
        With its switches as the setting says.
    setting : mapping
        Every control with its rotation or position.
    analysis : Transient
        Its step and tolerance are ngspice's; `pace` says those of the solver.
    vectors : sequence of str
        What is wanted, by the names of `netlist.node_vector`, `valve_vectors` and `device_vectors`.
    pace : Pace

    Raises
    ------
    EngineError
        When the circuit has no solution, or a sample of it.
    DescriptionError
        When the solver does not know something that is in the circuit.
    """
    if analysis.moving:
        raise EngineError("oscillators that are set going are left to ngspice")
    stimulus = analysis.stimulus
    bench = _bench(wired, tuple(setting.items()), tuple(vectors))
    phases = _phases_with_springs(stimulus, pace) if bench.has_springs else list(_phases(stimulus, pace))
    springs = _spring_steps(pace) if isinstance(stimulus, Throw) else phases[0].step
    machine = bench.machine(phases[0], float(stimulus.volts(np.zeros(1))[0]), pace.residue, springs)
    rest = machine.rest[None, bench.reading.columns]
    times, rows, heard = [np.array([0.0])], [rest], [np.array([machine.rest_volts])]
    if phases[0].begin > 0.0:
        times, rows = [np.array([0.0, phases[0].begin])], [rest, rest]
    for phase in phases:
        machine.move(bench.setting(phase))
        for time, seen, fine in _played(machine, phase, stimulus, pace, bench.reading.columns):
            times.append(time)
            rows.append(seen)
            heard.append(fine)
    scale = np.concatenate(times)
    first = int(np.searchsorted(scale, pace.since - _ALIKE))
    columns = np.empty((len(bench.reading.units), scale.size))
    np.concatenate([each.T for each in rows], axis=1, out=columns)
    columns = columns[:, first:]
    columns *= bench.reading.units[:, None]
    if pace.slow:
        _take_slow(columns, bench.reading, np.concatenate(heard), phases[-1], pace)
    if not np.isfinite(columns).all():
        raise EngineError("the solver's answer is not finite")
    return Arrays(dict(zip(bench.reading.names, columns, strict=True)), scale[first:], ())


def _phases_with_springs(stimulus: Stimulus, pace: Pace) -> list[_Phase]:
    """As `_phases`, where there are springs, which go in steps of one length (`_spring_steps`).

    A tone or a burst is soon done in the shortest ones. After contacts have moved these would be too many: the amp
    goes in its own, and meets the springs again where one of theirs is over.
    """
    if not isinstance(stimulus, Throw):
        return list(_phases(stimulus, pace.even))
    steps = _spring_steps(pace)
    phases = list(_phases(stimulus, replace(pace, step=steps)))
    met = [_met(each, phases[0].begin, steps) if each.step > 0.5 * steps else [each] for each in phases]
    return [each for some in met for each in some]


def _spring_steps(pace: Pace) -> float:
    """The steps of springs while contacts move [s]."""
    return min(pace.step, _SPRING_STEP)


def _met(phase: _Phase, start: float, steps: float) -> list[_Phase]:
    """A phase in whole steps [s] of springs that began at a time [s], and what is left of it before and after them."""
    first = math.ceil((phase.begin - start) / steps - 1e-6)
    last = math.floor((phase.end - start) / steps + 1e-6)
    whole = np.clip(start + steps * np.array([first, last]), phase.begin, phase.end)
    edges = sorted([phase.begin, *whole.tolist(), phase.end])
    return [
        replace(phase, begin=begin, end=end, steps=count, every=1)
        for (begin, end), count in zip(itertools.pairwise(edges), (1, max(1, last - first), 1), strict=True)
        if end - begin > _ALIKE
    ]


def _take_slow(columns: Array, found: Reading, heard: Array, last: _Phase, pace: Pace) -> None:
    """Put the slow part of what is heard in the last phase in place of what was kept of it."""
    count = columns.shape[1] - 1
    slow = slow_part(heard[-count * last.every - 1 :], count, pace.slow)
    columns[found.columns == 0] = slow


def _phases(stimulus: Stimulus, pace: Pace) -> Iterator[_Phase]:
    """How a stimulus is taken; what stands still before contacts move is left out."""
    if isinstance(stimulus, Throw):
        yield from _throw_phases(stimulus, pace)
    elif isinstance(stimulus, Burst) and pace.fine:
        if stimulus.start > 0.0:
            yield _phase(0.0, stimulus.start, pace.step, pace)
        yield from _stages(stimulus.start, stimulus.duration, pace)
    else:
        if pace.settled > 0.0:
            yield _phase(0.0, pace.settled, pace.coarse, pace)
        yield _phase(pace.settled, stimulus.duration, pace.step, pace)


def _throw_phases(throw: Throw, pace: Pace) -> Iterator[_Phase]:
    # ngspice moves contacts evenly through decades of resistance: half-way through they are open or closed.
    edges = sorted((at + 0.5 * throw.edge, side, closed) for side in SIDES for at, closed in throw.movements(side))
    stand = {SIDES[0]}
    for (begin, side, closed), (end, *_) in itertools.pairwise([*edges, (throw.duration, "", False)]):
        (stand.add if closed else stand.discard)(side)
        for number, phase in enumerate(_stages(begin, end, pace) if end > begin else ()):
            yield replace(phase, closed=tuple(sorted(stand)), moved=not number, brief=True)


def _stages(begin: float, end: float, pace: Pace) -> Iterator[_Phase]:
    """Through the fine steps to the usual ones."""
    for seconds, step in (*pace.fine, (math.inf, pace.step)):
        until = min(end, begin + seconds)
        if until - begin > 1e-9:
            yield _phase(begin, until, step, pace)
        begin = until


def _phase(begin: float, end: float, step: float, pace: Pace) -> _Phase:
    every = max(1, round(pace.keep / step))
    return _Phase(begin, end, every * math.ceil((end - begin) / step / every - 1e-6), every)


def _played(
    machine: Walker, phase: _Phase, stimulus: Stimulus, pace: Pace, wanted: Integers
) -> Iterator[tuple[Array, Array, Array]]:
    """Times [s] of a phase and what is seen then, of the steps that are kept, and what is heard after each step.

    `wanted` is that of `Machine.observe`.
    """
    every = phase.every
    time: Array = phase.begin + phase.step * np.arange(1.0, phase.steps + 1.0)
    signal = np.ascontiguousarray(stimulus.volts(time))
    length = every * (_CHUNK // every + 1)
    for first in range(0, phase.steps, length):
        here = slice(first, first + length)
        kept = time[here][every - 1 :: every]
        try:
            if time[here][-1] < pace.since - _ALIKE:
                machine.run(signal[here])
            elif phase.moved and not first:
                seen, heard = machine.observe_after_move(signal[here], signal[0], wanted)
                yield kept, seen[every - 1 :: every], heard
            elif pace.miss:
                at, seen = machine.walk(signal[here], wanted, every, pace.miss)
                yield phase.begin + phase.step * (first + at), seen, np.zeros(0)
            else:
                yield kept, *machine.observe(signal[here], wanted, every=every)
        except Unsolved as error:
            at = time[min(first + error.sample, phase.steps - 1)]
            raise EngineError(f"no solution was found {at:.6f} s from the start") from error
