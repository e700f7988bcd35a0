"""An amp that is driven in steps that adapt (`walk`): what stands still is taken in few of them, a spike in many."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .kernel_arguments import (
    AT,
    FINENESS,
    FIRST,
    KEPT,
    LAST_TICKS,
    SECOND,
    THIRD,
    TICK,
    TICKS_BEFORE,
    Array,
    Integers,
    V,
)
from .machine import Machine, Unsolved
from .walk import DONE, FINER, FULL, LOST, walk

# Rows that are kept until they are looked at, besides those of one sample.
_ROOM = 8192
# Of steps that are finer than all so far, so many are prepared at once: what stays quiet asks for none.
_MORE = 4


class Walker(Machine):
    """As `Machine`, also in steps that adapt."""

    def walk(self, signal: Array, wanted: Integers, every: int, tolerance: float) -> tuple[Array, Array]:
        """Drive the amp with samples [V]; when something is seen, and what.

        Parameters
        ----------
        signal : ndarray
            Samples [V].
        wanted : ndarray of int
            As in `Machine.observe`.
        every : int
            Of whole samples the last of so many is looked at, of halves of one each.
        tolerance : float
            How far what comes may be off what was foreseen [ratio], volts in the unit of their port.

        Returns
        -------
        ndarray, shape (looks,)
            Times, in samples, the first of them at 1.
        ndarray, shape (looks, wanted)

        Raises
        ------
        Unsolved
            When a sample cannot be solved.
        """
        path = _Path(every, tolerance, self._seen(self.setting.step.observe)[:, wanted], self.setting.parts_of_step)
        self._in_pieces(signal, False, lambda *piece: self._walk(path, *piece))
        return np.concatenate(path.times), np.concatenate(path.rows)

    def _walk(self, path: _Path, signal: Array, heard: Array, begin: int) -> None:
        step = self.setting.step
        if step is not self._step:
            self._leave()
            self._enter(step)
            self._work[[FIRST, SECOND, THIRD]] = self._work[V]
            self._state[[FINENESS, LAST_TICKS, TICKS_BEFORE]] = 0, path.full, path.full
        self._state[TICK] = 0
        levels = self.setting.levels(self.seats, 1 + int(self._state[FINENESS]))
        room = _ROOM + path.full
        record, ticks = np.empty((room, len(self._known))), np.empty((room, 2), dtype=np.int64)
        solver, entry, inputs = self._solver(step.coupling), np.zeros(signal.shape[1]), np.ascontiguousarray(signal)
        outcome = FULL
        while outcome != DONE:
            self._state[KEPT] = 0
            outcome = walk(
                levels, begin, inputs, heard, path.every, record, ticks, self._known, self._into, entry,
                path.tolerance, solver,
            )  # fmt: skip
            begin = int(self._state[AT])
            path.take(record, ticks, int(self._state[KEPT]))
            if outcome == LOST:
                raise Unsolved(begin)
            if outcome == FINER:
                levels = self.setting.levels(self.seats, len(levels.columns) + _MORE)


@dataclass(frozen=True, eq=False)
class _Path:
    """What is seen in steps that adapt; `observe` as in `Discrete`, `full` how many of the finest are a sample."""

    every: int
    tolerance: float
    observe: Array
    full: int
    times: list[Array] = field(default_factory=list)
    rows: list[Array] = field(default_factory=list)

    def take(self, record: Array, ticks: Integers, count: int) -> None:
        """Note what was seen in so many steps."""
        self.times.append(ticks[:count] @ np.array([1.0, 1.0 / self.full]))
        self.rows.append(record[:count, : len(self.observe)] @ self.observe)
