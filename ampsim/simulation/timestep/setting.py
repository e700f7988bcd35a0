"""A circuit prepared for steps of one length."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from ...base.errors import EngineError
from ...circuit.nets import INPUT
from .branches import Parts
from .discretise import Discrete, discrete, levels_of
from .kernel_arguments import Array, Integers, Levels
from .sockets import Seats
from .state_space import Equations, equations

# Of steps that adapt, the shortest [s].
FINEST = 20e-9
# The same after contacts have moved, where each kind of step is prepared for few.
BRIEF = 0.8e-6
_NO_SOLUTION = "the circuit's equations have no solution ({})"


@dataclass(frozen=True, eq=False)
class Setting:
    """A circuit with its contacts somewhere: its equations, and a step.

    `brief`: it goes too few steps for what makes each of them cheaper (`discretise.discrete`).
    """

    parts: Parts
    equations: Equations
    seconds: float
    brief: bool = False
    fine: dict[tuple[int, float], Discrete] = field(default_factory=dict)
    _levels: dict[int, Levels] = field(default_factory=dict)
    _halves: dict[int, Discrete] = field(default_factory=dict)

    @cached_property
    def driven(self) -> Integers:
        """Which of the held nets are driven: the input, those of lines, pushes."""
        nets = (INPUT, *(line.emf for line in self.parts.lines), *self.parts.pushes)
        return np.array([self.equations.held.index(net) for net in nets])

    @cached_property
    def volts(self) -> Array:
        """What the held nets stand at [V], those that are driven at zero."""
        found = np.array([self.parts.held[net] for net in self.equations.held])
        found[self.driven] = 0.0
        return found

    @property
    def rest(self) -> tuple[Array, Array]:
        """`Equations.rest_ports` [ratio or ohm] and `Equations.rest_states` [ratio, ohm or S].

        Raises
        ------
        EngineError
            When its equations have no solution.
        """
        try:
            return self.equations.rest_ports, self.equations.rest_states
        except np.linalg.LinAlgError as error:
            raise EngineError(_NO_SOLUTION.format(error)) from error

    @cached_property
    def step(self) -> Discrete:
        """A step."""
        return self._discrete(self.seconds)

    @cached_property
    def half(self) -> Discrete:
        """A step of half the length by the backward rule: only after contacts have moved."""
        return self._discrete(self.seconds, smooth=True)

    def at(self, seconds: float) -> Setting:
        """The same circuit for steps of another length [s]."""
        return self if seconds == self.seconds else Setting(self.parts, self.equations, seconds, self.brief)

    def finer(self, depth: int, whole: float) -> Discrete:
        """Steps of `whole` / 2^`depth` of a sample, `whole` a share of it [ratio]."""
        if (depth, whole) not in self.fine:
            self.fine[depth, whole] = self._discrete(self.seconds * whole / 2**depth)
        return self.fine[depth, whole]

    @property
    def parts_of_step(self) -> int:
        """How many of the finest steps a step is, where steps adapt: a power of two."""
        finest = BRIEF if self.brief else FINEST
        return 1 << max(0, math.ceil(math.log2(self.seconds / finest)))

    def levels(self, seats: Seats, count: int) -> Levels:
        """A step, and its halves, and theirs..., so many or all there are, in front of the valves."""
        count = min(count, self.parts_of_step.bit_length())
        if count not in self._levels:
            finer = [self._half_of(depth) for depth in range(1, count)]
            given = self.volts, self.driven, seats, self.parts_of_step
            self._levels[count] = levels_of([self.step, *finer], *given)
        return self._levels[count]

    def _half_of(self, depth: int) -> Discrete:
        if depth not in self._halves:
            self._halves[depth] = self._discrete(self.seconds / 2**depth, turned=self.step.turned)
        return self._halves[depth]

    def _discrete(self, seconds: float, smooth: bool = False, turned: Array | None = None) -> Discrete:
        given = self.equations, self.volts, self.driven, self.parts.heard, seconds
        try:
            return discrete(*given, smooth=smooth, turn=not self.brief, turned=turned)
        except np.linalg.LinAlgError as error:
            raise EngineError(_NO_SOLUTION.format(error)) from error


def prepare(parts: Parts, seats: Seats, nets: Sequence[str], step: float, brief: bool = False) -> Setting:
    """Prepare a circuit for steps in time, listened to at nets.

    Parameters
    ----------
    parts : Parts
    seats : Seats
        Its valves.
    nets : sequence of str
        `Machine.run` hears the first, `Machine.observe` all.
    step : float
        Length of a step [s].
    brief : bool
        As `Setting.brief`.

    Raises
    ------
    EngineError
        When its equations have no solution.
    """
    try:
        sensed = [one for line in parts.lines for one in line.sense]
        listened = [nets[0], *sensed, *parts.watched, *nets[1:]]
        return Setting(parts, equations(parts, seats.ports, listened), step, brief)
    except np.linalg.LinAlgError as error:
        raise EngineError(_NO_SOLUTION.format(error)) from error
