"""A supply over one period of the mains, when it has come to rest: volts and currents in time.

The filter behind the rectifiers is linear: nodal equations with the currents of coils, brought forward in steps by a
rule next to the trapezoidal one, and the current that comes in solves v = p + K i(e - v), where K stays: a table turned
round once. Of several ways the one with the most electromotive force left conducts alone. The period's beginning
follows by Newton's method on the map from one beginning to the next (T. J. Aprille, T. N. Trick, Steady-state analysis
of nonlinear circuits with periodic inputs, Proc. IEEE 60, 1972), for many loads at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...base.errors import EngineError
from ..conductances import stamp, voltage_row
from ..stages.template import GROUND
from .paths import Rectified, Way

Array = NDArray[np.float64]
STEPS = 1000
"""Steps to a period of the mains."""
# Share of the new values in each step: a little more than half, so that what is quicker than the steps dies away.
_NEW = 0.52
_LEAK = 1e-10
_PASSES = 90


@dataclass(frozen=True)
class Filter:
    """What lies behind the rectifiers: resistors [ohm], capacitors [F], and coils [H] between nets."""

    resistors: tuple[tuple[str, str, float], ...]
    capacitors: tuple[tuple[str, str, float], ...]
    coils: tuple[tuple[str, str, float], ...]

    @property
    def nets(self) -> list[str]:
        """Its nets, ground left out."""
        every = (net for kind in (self.resistors, self.capacitors, self.coils) for each in kind for net in each[:2])
        return [net for net in dict.fromkeys(every) if net != GROUND]


@dataclass(frozen=True, eq=False)
class Period:
    """What repeats itself in a supply that has come to rest, for each of several loads.

    `seconds` [s] it takes, `volts` [V] by net and the `amps` [A] of each different way, both of the shape
    (steps + 1, loads); `counts` says how many ways each of them stands for, whose turns are then in other periods.
    """

    seconds: float
    volts: Mapping[str, Array]
    amps: tuple[Array, ...]
    counts: tuple[int, ...]

    def mean(self, net: str) -> Array:
        """The mean volts [V] of a net, shape (loads,)."""
        return np.asarray(self.volts[net][:-1].mean(axis=0))

    def swing(self, net: str) -> Array:
        """The ripple of a net from peak to peak [V], shape (loads,)."""
        return np.asarray(np.ptp(self.volts[net], axis=0))

    def ripple(self, net: str) -> Array:
        """The ripple of a net [V rms], shape (loads,)."""
        return np.asarray(self.volts[net][:-1].std(axis=0))

    def way_amps(self, way: int) -> tuple[Array, Array, Array]:
        """Mean, rms and peak current [A] of one way, shape (loads,) each."""
        amps, count = self.amps[way][:-1], self.counts[way]
        return amps.mean(axis=0) / count, np.sqrt((amps**2).mean(axis=0) / count), amps.max(axis=0)

    @property
    def total(self) -> Array:
        """The mean current [A] of all ways together, shape (loads,)."""
        return np.asarray(np.sum([each[:-1].mean(axis=0) for each in self.amps], axis=0))


def different_ways(source: Rectified) -> tuple[list[tuple[Way, int]], bool]:
    """The ways that differ, with how many each stands for; whether every half period is like the other."""
    left, found = list(source.ways), []
    while left:
        way = left.pop(0)
        other = next((each for each in left if _mirrors(way, each)), None)
        if other is None:
            return [(each, 1) for each in source.ways], False
        left.remove(other)
        found.append((way, 2))
    return found, True


def _mirrors(way: Way, other: Way) -> bool:
    same = math.isclose(way.peak, -other.peak, rel_tol=1e-9) and math.isclose(way.ohms, other.ohms, rel_tol=1e-9)
    alike = [(each.types, each.thermistors, each.start, each.net) for each in (way, other)]
    return same and alike[0] == alike[1]


class _Way:
    """The current of a way by the volts that would be left across it if none flowed."""

    def __init__(self, way: Way, couple: float, half: bool) -> None:
        self.peak, self._half = way.peak, half
        amps = np.concatenate([[0.0], np.geomspace(1e-9, 300.0, 1500)])
        volts = np.concatenate([[-50.0], way.drop(amps[1:]) + couple * amps[1:]])
        self.volts, self.amps = volts, amps

    def at(self, cosine: float, volts: Array) -> Array:
        """Current [A] at an instant, where without it the net is at so many volts [V]."""
        force = self.peak * cosine
        return np.asarray(np.interp((abs(force) if self._half else force) - volts, self.volts, self.amps))


class Supply:
    """A filter with the rectifiers that feed it.

    Parameters
    ----------
    given : Filter
    source : Rectified
    """

    def __init__(self, given: Filter, source: Rectified) -> None:
        self.source = source
        self.nets = list(dict.fromkeys([source.net, *given.nets]))
        ways, half = different_ways(source)
        self.steps = STEPS // 2 if half else STEPS
        self.seconds = (0.5 if half else 1.0) / source.frequency
        self._equations(given, self.seconds / self.steps)
        ends = [(way.net or source.net, way.start if way.net else source.start) for way, _ in ways]
        # What current of each way moves, and what it sees.
        self._moves = [self._into(net) - self._into(start) for net, start in ends]
        self._sees = [voltage_row(net, start, {each: n for n, each in enumerate(self.nets)}) for net, start in ends]
        couples = [float(row @ moves[: len(self.nets)]) for row, moves in zip(self._sees, self._moves, strict=True)]
        self.ways = [_Way(way, couple, half) for (way, _), couple in zip(ways, couples, strict=True)]
        self.counts = tuple(count for _, count in ways)
        self.cosine = np.cos(2.0 * math.pi * np.arange(self.steps + 1) / STEPS)

    def _into(self, net: str) -> Array:
        """What a current [A] into a net moves in a step."""
        return self._new[:, self.nets.index(net)] if net in self.nets else np.zeros(len(self._new))

    def _equations(self, given: Filter, step: float) -> None:
        """Work out what a step multiplies with."""
        index = {net: number for number, net in enumerate(self.nets)}
        nodes = len(self.nets)
        size = nodes + len(given.coils)
        store, lose = np.zeros((size, size)), np.zeros((size, size))
        lose[:nodes, :nodes] += np.eye(nodes) * _LEAK
        for first, second, ohms in given.resistors:
            stamp(lose[:nodes, :nodes], voltage_row(first, second, index), 1.0 / ohms)
        for first, second, farads in given.capacitors:
            stamp(store[:nodes, :nodes], voltage_row(first, second, index), farads)
        for number, (first, second, henries) in enumerate(given.coils, nodes):
            row = voltage_row(first, second, index)
            lose[:nodes, number], lose[number, :nodes] = row, -row
            store[number, number] = henries
        # What holds neither charge nor flux follows the rest at once.
        new = np.where(store.any(axis=1), _NEW, 1.0)[:, None]
        left = np.linalg.inv(store / step + new * lose)
        self._keep = left @ (store / step - (1.0 - new) * lose)
        into = np.eye(size)[:, :nodes]
        # Current that comes in counts for the whole step, so that no charge is lost between two periods.
        self._new = left @ into

    def settled(self, loads: Array) -> Period:
        """What repeats itself under loads.

        Parameters
        ----------
        loads : array, shape (nets, loads)
            Current [A] drawn out of each of `nets`, to ground of a positive supply and from it of a negative one.

        Raises
        ------
        EngineError
            When it does not come to rest.
        """
        states = np.full((len(self._keep), loads.shape[1]), 0.8 * self.source.peak)
        states[len(self.nets) :] = loads.sum(axis=0)
        base, change, last = states, np.zeros_like(states), np.full(loads.shape[1], np.inf)
        share = np.ones(loads.shape[1])
        for tried in range(_PASSES):
            after, slope = self._slopes(states, loads)
            off = after - states
            size = np.abs(off).max(axis=0)
            if size.max() < 1e-7 * self.source.peak:
                return self._record(states, loads)
            if tried < 2:
                states = after
                continue
            # (1 - M) change = off for each load, M the slopes of the map.
            newton = np.linalg.solve(np.eye(len(states)) - slope, off.T[:, :, None])[:, :, 0].T
            wild = np.abs(newton).max(axis=0) > 2.0 * self.source.peak
            # Where it still leads further away, as at a current that just ceases to flow through a choke, half as far.
            worse = (size > last) & (share > 1e-3) & (tried > _PASSES // 3)
            base, change = np.where(worse, base, states), np.where(worse, change, np.where(wild, off, newton))
            share, last = np.where(worse, 0.5 * share, 1.0), np.where(worse, last, size)
            states = base + share * change
        rectifiers = ", ".join(dict.fromkeys(name for way in self.source.ways for name in way.rectifiers))
        raise EngineError(
            f"the supply from {self.source.transformer} through {rectifiers} does not come to rest: its volts do not "
            "repeat themselves from one period of the mains to the next; look at the values of its reservoirs, chokes "
            "and loads"
        )

    def _slopes(self, states: Array, loads: Array) -> tuple[Array, Array]:
        """Where a period leads, and how that goes with each beginning; the latter of shape (loads, size, size)."""
        size, count = states.shape
        little = np.where(np.arange(size) < len(self.nets), 1e-3, 1e-6)
        moved = states[:, None, :] + np.concatenate([np.zeros((size, 1)), np.diag(little)], axis=1)[:, :, None]
        after = self.through(moved.reshape(size, -1), np.tile(loads, (1, size + 1)))
        after = after.reshape(size, size + 1, count)
        slope = (after[:, 1:] - after[:, :1]) / little[None, :, None]
        return after[:, 0], np.moveaxis(slope, 2, 0)

    def through(
        self, states: Array, loads: Array, keep: Callable[[int, Array, list[Array]], None] | None = None
    ) -> Array:
        """Go through one period.

        Parameters
        ----------
        states : array, shape (nets and coils, loads)
            Volts [V] and amperes [A] at its beginning, the instant of the mains' peak.
        loads : array
            As those of `settled`.
        keep : callable
            Called with each step's number, its states and the current of each way [A].
        """
        drawn, count = -self._new @ loads, len(self.nets)
        for number in range(1, self.steps + 1):
            known = self._keep @ states + drawn
            seen = [row @ known[:count] for row in self._sees]
            amps = [way.at(self.cosine[number], volts) for way, volts in zip(self.ways, seen, strict=True)]
            if len(amps) > 1:
                most = np.argmax(amps, axis=0)
                amps = [np.where(most == way, each, 0.0) for way, each in enumerate(amps)]
            states = known + sum(np.outer(moves, each) for moves, each in zip(self._moves, amps, strict=True))
            if keep:
                keep(number, states, amps)
        return states

    def _record(self, states: Array, loads: Array) -> Period:
        rows = np.zeros((self.steps + 1, *states.shape))
        amps = np.zeros((len(self.ways), self.steps + 1, states.shape[1]))

        def keep(number: int, now: Array, flowing: list[Array]) -> None:
            rows[number] = now
            amps[:, number] = flowing

        self.through(states, loads, keep)
        # What repeats itself ends as it began.
        rows[0], amps[:, 0] = rows[-1], amps[:, -1]
        volts = {net: self.source.sign * rows[:, place] for place, net in enumerate(self.nets)}
        return Period(self.seconds, volts, tuple(amps), self.counts)
