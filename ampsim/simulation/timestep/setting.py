"""A circuit prepared for steps of one length."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from ...base.errors import EngineError
from .branches import Parts
from .discretise import Discrete, discrete
from .sockets import Seats
from .state_space import Equations, equations


@dataclass(frozen=True, eq=False)
class Setting:
    """A circuit with its contacts somewhere: its equations, and a step."""

    parts: Parts
    equations: Equations
    seconds: float
    step: Discrete
    fine: dict[tuple[int, float], Discrete] = field(default_factory=dict)

    @cached_property
    def half(self) -> Discrete:
        """A step of half the length by the backward rule: only after contacts have moved."""
        return discrete(self.equations, self.parts, self.seconds, smooth=True)

    def at(self, seconds: float) -> Setting:
        """The same circuit for steps of another length [s]."""
        return self if seconds == self.seconds else _setting(self.parts, self.equations, seconds)

    def finer(self, depth: int, whole: float) -> Discrete:
        """Steps of `whole` / 2^`depth` of a sample, `whole` a share of it [ratio]."""
        if (depth, whole) not in self.fine:
            self.fine[depth, whole] = discrete(self.equations, self.parts, self.seconds * whole / 2**depth)
        return self.fine[depth, whole]


def prepare(parts: Parts, seats: Seats, nets: Sequence[str], step: float) -> Setting:
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

    Raises
    ------
    EngineError
        When its equations have no solution.
    """
    try:
        sensed = [one for line in parts.lines for one in line.sense]
        listened = [nets[0], *sensed, *parts.watched, *nets[1:]]
        return _setting(parts, equations(parts, seats.ports, listened), step)
    except np.linalg.LinAlgError as error:
        raise EngineError(f"the circuit's equations have no solution ({error})") from error


def _setting(parts: Parts, found: Equations, step: float) -> Setting:
    return Setting(parts, found, step, discrete(found, parts, step))
