"""An amp at one position, ready to be driven sample by sample: at rest first, then on and on; contacts may move."""

from __future__ import annotations

import itertools

import numpy as np

from ...base.errors import EngineError
from ..netlist_writer import PUSH_AMPS, PUSH_SECONDS
from .arrival import arrive
from .branches import PUSH_OHMS
from .compiled import align
from .differentiate import LANES
from .discretise import Discrete
from .kernel import march
from .kernel_arguments import (
    AT,
    BEFORE,
    COUNTS,
    CURRENT,
    EARLIER,
    ERROR,
    EVALUATIONS,
    FRESH,
    LAST,
    MENDING,
    OLD_P,
    REPAIRED,
    ROWS,
    TOLERANCE,
    WANTED,
    Array,
    Integers,
    Solver,
    V,
)
from .newton import newton
from .newton_matrix import slope_of
from .resampling import halves
from .setting import Setting
from .sockets import Seats
from .springs import Drive, Springs
from .state_space import PATH

# Seconds that an oscillator gets to come to its swing, in steps of so many seconds.
SETTLING, COARSE = 6.0, 1.0 / 8000.0
# Samples after a movement that are taken as two halves by the backward rule.
SMOOTH = 2
# A sample that cannot be solved as a whole is taken in up to two to this power.
DEEPEST = 12
NOT_RECORDED = np.empty((0, 0))


class Machine:
    """The state of an amp that is being driven.

    Parameters
    ----------
    setting : Setting
        Where it starts.
    seats : Seats
        Its valves.
    drive : float
        What has stood at its input for ever [V].
    tolerance : float
        How large the last correction of a sample may be [ratio], volts in the unit of their port.
    springs : float
        The steps of its springs [s], whatever those of the amp are; by default those of the setting.
    """

    def __init__(
        self, setting: Setting, seats: Seats, drive: float = 0.0, tolerance: float = TOLERANCE, springs: float = 0.0
    ) -> None:
        self.setting, self.seats, self._tolerance = setting, seats, tolerance
        self._work = align(np.zeros((ROWS, seats.width)))
        self._inverse = align(np.eye(seats.width))
        # A block holds voltages and currents while it is worked on: each machine has its own.
        self._valves = seats.valves._replace(blocks=align(seats.valves.blocks))
        self._state = np.zeros(COUNTS, dtype=np.int64)
        self._step: Discrete | None = None
        self._known = self._into = np.zeros(0)
        found, self._senses = self._come_to_rest(drive), 2 * len(setting.parts.lines)
        self.rest, self.rest_volts = self._seen(found), float(found[0])
        self._sensed = -np.diff(found[1 : 1 + self._senses])[::2]
        self._spring_steps = springs
        self._springs = Springs(setting.parts.lines, springs or setting.seconds, self._sensed)

    @property
    def evaluations(self) -> int:
        """How often the laws of all valves were worked out."""
        return int(self._state[EVALUATIONS])

    @property
    def repaired(self) -> int:
        """How many samples were solved by going there in smaller steps."""
        return int(self._state[REPAIRED])

    def for_long(self) -> None:
        """Get ready for a signal of a million samples: Newton's matrix is mended where valves move, not made anew."""
        self._state[MENDING] = 1

    def slopes(self) -> Array:
        """How the current through each port goes with the volts across each [S], where its laws were last asked."""
        ports = self.setting.equations.ports
        found = np.zeros((ports, ports))
        for (_, rows, count), place, block in zip(*self._valves[:2], self._valves.blocks, strict=True):
            for lane, row, column in itertools.product(range(count), range(rows), range(rows)):
                found[place[row * LANES + lane], place[column * LANES + lane]] = slope_of(block, lane, row, column)
        return found

    def _solver(self, coupling: Array) -> Solver:
        """The valves behind a circuit that couples them so; K over the ports, by columns."""
        whole = align(self.seats.spread(coupling))
        return Solver(self._valves, whole, self.seats.unit, self._tolerance, self._work, self._inverse, self._state)

    def _come_to_rest(self, drive: float) -> Array:
        """Find the operating point, supplies raised from zero; what `Discrete.observe` gives there."""
        found, (rest_ports, rest_states) = self.setting.equations, self.setting.rest
        held, ports = len(found.held), found.ports
        volts = self.setting.volts.copy()
        volts[self.setting.driven[0]] = drive
        self._work[WANTED] = self.seats.spread(rest_ports[:ports, :held] @ volts)
        solver = self._solver(rest_ports[:ports, held:].T)
        arrived = arrive(solver)
        # The first answer is within the tolerance of a sample; at rest two more corrections cost nothing.
        for _ in range(2):
            self._state[FRESH] = 0
            arrived = arrived and newton(self._work[WANTED], solver)
        if not arrived:
            raise EngineError("no operating point was found")
        currents = self._work[CURRENT, : found.ports]
        w = np.concatenate([volts, currents])
        self._state[:] = 0
        self._stand = rest_states @ w * found.scale, w
        return np.concatenate([rest_ports[ports:] @ w, currents + PATH * (rest_ports[:ports] @ w)])

    def _seen(self, observed: Array) -> Array:
        """What was asked for among what `Discrete.observe` gives, without what the loop hears for itself."""
        return np.delete(observed, range(1, self.setting.parts.heard), axis=-1)

    def _enter(self, step: Discrete) -> None:
        """Put where it stands into what the loop knows, for steps of a kind."""
        states, w = self._stand
        columns, driven = step.step.columns, self.setting.driven
        if len(self._known) != len(columns) or len(self._into) != columns.shape[1]:
            self._known, self._into = align(np.zeros(len(columns))), align(np.zeros(columns.shape[1]))
        self._step = step
        currents = w[len(self.setting.volts) :]
        known = np.concatenate([step.turned.T @ (states - step.keep @ w), currents, w[driven], [1.0]])
        self._known[: len(known)] = known
        self._work[OLD_P] = self._work[V] - self.seats.spread(step.coupling.T @ currents)
        self._work[[ERROR, BEFORE, EARLIER]] = 0.0
        self._inverse[:] = np.eye(self.seats.width)
        self._state[FRESH] = 0

    def _leave(self) -> None:
        """Note where it stands: scaled states, and the inputs w."""
        step, self._step = self._step, None
        if step is None:
            return
        count, ports, driven = len(step.turned), len(self.seats.ports), self.setting.driven
        w = np.concatenate([self.setting.volts, self._known[count : count + ports]])
        w[driven] = self._known[count + ports : count + ports + len(driven)]
        self._stand = step.turned @ self._known[:count] + step.keep @ w, w

    def run(self, signal: Array, half: bool = False) -> Array:
        """Drive the amp with samples [V]; what is heard at them [V]. `half`: by steps of half the length.

        Raises
        ------
        Unsolved
            When a sample cannot be solved.
        """
        return self._run(signal, half, NOT_RECORDED)

    def observe(
        self, signal: Array, wanted: Integers | None = None, half: bool = False, every: int = 1
    ) -> tuple[Array, Array]:
        """As `run`, and what is seen besides: voltages [V] of nets listened at, currents [A] through ports.

        Parameters
        ----------
        signal : ndarray
            Samples [V].
        wanted : ndarray of int
            Which of all nets and, after them, all ports; by default all.
        half : bool
            By steps of half the length.
        every : int
            Of so many samples the last one is looked at.

        Returns
        -------
        ndarray, shape (samples looked at, wanted)
        ndarray, shape (samples,)
            What is heard at every sample [V].
        """
        step = self.setting.half if half else self.setting.step
        record = np.empty((len(signal) // every, len(step.step.columns)))
        heard = self._run(signal, half, record, every)
        matrix = self._seen(step.observe)
        matrix = matrix if wanted is None else matrix[:, wanted]
        return np.asarray(record[:, : len(matrix)] @ matrix), heard

    def _run(self, signal: Array, half: bool, record: Array, every: int = 1) -> Array:
        return self._in_pieces(signal, half, lambda one, two, at: self._drive(one, two, at, half, record, every))

    def _in_pieces(self, signal: Array, half: bool, drive: Drive) -> Array:
        """Drive the amp as `Springs.beside`; what is heard [V]."""
        parts = self.setting.parts
        heard = np.empty((len(signal), parts.heard))
        inputs = np.zeros((len(signal), 1 + len(parts.lines) + len(parts.pushes)))
        inputs[:, 0] = signal
        self._springs.beside(drive, inputs, heard, self.setting.seconds, half)
        return heard[:, 0]

    def idle(self, seconds: float, push: float = 0.0) -> Array:
        """Let time pass without a signal, `push` [V] at the pushes; the watched nets meanwhile (samples, nets) [V]."""
        parts, count = self.setting.parts, round(seconds / self.setting.seconds)
        signal = np.zeros((count, 1 + len(parts.lines) + len(parts.pushes)))
        signal[:, 1 + len(parts.lines) :] = push
        heard = np.empty((count, parts.heard))
        self._drive(signal, heard, 0, False, NOT_RECORDED)
        return heard[:, 1 + self._senses :]

    def set_going(self) -> None:
        """Push the oscillators, and wait until they swing as they always will."""
        self.idle(PUSH_SECONDS, -PUSH_AMPS * PUSH_OHMS)
        self.idle(SETTLING - PUSH_SECONDS)

    def _drive(self, signal: Array, heard: Array, begin: int, half: bool, record: Array, every: int = 1) -> None:
        """As `run`, of samples with all inputs (samples, inputs) [V]; at all places listened at (samples, places)."""
        step = self.setting.half if half else self.setting.step
        if step is not self._step:
            self._leave()
            self._enter(step)
        while not self._march(step, begin, signal, heard, record, every):
            at = int(self._state[AT])
            finer = self._finer(step, signal[at], 0.5 if half else 1.0)
            if finer is None:
                raise Unsolved(at)
            heard[at], begin = finer, at + 1
            if begin % every == 0 and begin // every <= len(record):
                record[begin // every - 1] = self._known

    def _march(
        self, step: Discrete, begin: int, signal: Array, heard: Array, record: Array = NOT_RECORDED, every: int = 1
    ) -> bool:
        solver, inputs = self._solver(step.coupling), np.ascontiguousarray(signal)
        return bool(march(step.step, begin, inputs, heard, every, record, self._known, self._into, solver))

    def _finer(self, step: Discrete, drive: Array, whole: float) -> Array | None:
        """One sample in as many steps as it takes: an amp that latches over does so faster than any sample."""
        self._work[V] = self._work[LAST]
        volts, driven = self._work[V].copy(), self.setting.driven
        self._leave()
        stand = self._stand
        for depth in range(1, DEEPEST + 1):
            fine, count = self.setting.finer(depth, whole), 2**depth
            self._work[V], self._stand = volts, stand
            self._enter(fine)
            ramp = stand[1][driven] + np.outer(np.arange(1, count + 1) / count, drive - stand[1][driven])
            heard = np.empty((count, len(step.step.by_current)))
            if self._march(fine, 0, ramp, heard):
                self._leave()
                self._enter(step)
                return np.asarray(heard[-1])
        return None

    def move(self, setting: Setting) -> None:
        """Go on as another setting of the same circuit: capacitors and inductors keep what they hold."""
        if setting is self.setting:
            return
        self._leave()
        if setting.seconds != self.setting.seconds and not self._spring_steps:
            self._springs = Springs(setting.parts.lines, setting.seconds, self._sensed)
        self.setting = setting

    def run_after_move(self, signal: Array, before: float) -> Array:
        """As `run`, right after `move`; `before` is the sample of the signal before these [V]."""
        heard = self.run(halves(signal[:SMOOTH], before), half=True)[1::2]
        return np.concatenate([heard, self.run(signal[SMOOTH:])])

    def observe_after_move(self, signal: Array, before: float, wanted: Integers | None = None) -> tuple[Array, Array]:
        """As `observe`, right after `move`; `before` is the sample of the signal before these [V]."""
        smooth, first = self.observe(halves(signal[:SMOOTH], before), wanted, half=True, every=2)
        rest, then = self.observe(signal[SMOOTH:], wanted)
        return np.concatenate([smooth, rest]), np.concatenate([first[1::2], then])


class Unsolved(EngineError):
    """A sample could not be solved; `sample` counts within the piece that was run."""

    def __init__(self, sample: int) -> None:
        super().__init__("a sample could not be solved")
        self.sample = sample
