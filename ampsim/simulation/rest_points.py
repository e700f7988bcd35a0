"""Operating points of one circuit, many at once: resistances and valves changed, nothing else; no simulator is asked.

The circuit is reduced once to the ports of its laws and of the resistances that may change. A change of a resistance
is then a change of low rank, and what is left is Newton's method in the volts of a few ports.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..base.errors import EngineError
from ..circuit.valves.description import Valve
from .port_currents import PortCurrents
from .port_volts import raised, settled
from .timestep.branches import Parts
from .timestep.state_space import PATH, rest_rows

Array = NDArray[np.float64]
_CHUNK = 1000  # points that are solved together
# Beyond this factor a change of resistance takes away what determines a net: too few digits are left.
_MOST_GAIN = 1e13


@dataclass(frozen=True)
class Change:
    """What differs from the circuit as given.

    `ohms` gives resistances by their names in a netlist other values [ohm]; one that is not there is left out.
    `sockets` puts very valves into sockets (in lower case), each of the law of its type.
    """

    ohms: Mapping[str, float] = field(default_factory=dict)
    sockets: Mapping[str, Valve] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Points:
    """Volts across the places heard [V] and the resistance that they have there [ohm], shape (changes, heard).

    NaN where no point was found that can be trusted. `laws` are the volts at the ports of the circuit's laws [V], shape
    (changes, ports): what differs little from one of these is found sooner from there.
    """

    volts: Array
    ohms: Array
    laws: Array


@dataclass(frozen=True, eq=False)
class _Moved:
    """Resistances that change, one row of them to each change.

    Attributes
    ----------
    where
        Their ports.
    drawn
        The currents through them [A] of the volts across them as they would be without the change.
    poor
        Of which changes too few digits are left.
    """

    where: NDArray[np.int_]
    drawn: Array
    poor: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class _Settled:
    """The laws at rest: volts [V], currents [A] and slopes [S] of their ports, what these do there [ohm], where not."""

    volts: Array
    flow: Array
    slope: Array
    inner: Array
    bad: NDArray[np.bool_]


class RestPoints:
    """A circuit whose operating points are asked for.

    Parameters
    ----------
    parts : Parts
        With every resistance that may change.
    heard : sequence of str
        Resistances, each between two nets that are listened at, in order; they may change too.

    Raises
    ------
    EngineError
        When the circuit as given has no operating point, or nothing lies where it is listened at.
    """

    def __init__(self, parts: Parts, heard: Sequence[str]) -> None:
        branches = {each.name: each for each in parts.branches if each.kind == "r"}
        if missing := [name for name in heard if name not in branches]:
            raise EngineError(f"nothing to listen at: {missing[0]}")
        self._names = {name: number for number, name in enumerate(dict.fromkeys([*heard, *branches]))}
        linear = [(branches[name].first, branches[name].second) for name in self._names]
        self._drawn = np.array([branches[name].value for name in self._names])
        self._currents = PortCurrents(parts.seats, parts.fluxes)
        self._laws, self._heard = len(self._currents.ports), len(heard)
        volts = np.array(list(parts.held.values()))
        try:
            rows = rest_rows(parts, [*self._currents.ports, *linear])
            self._still, self._ohms = self._without_paths(rows[:, : volts.size] @ volts, rows[:, volts.size :])
        except np.linalg.LinAlgError as error:
            raise EngineError(f"the circuit's equations have no solution ({error})") from error
        self._start = self._first()

    def drawn(self, name: str) -> float | None:
        """A resistance as given [ohm]; None where none has that name."""
        return float(self._drawn[self._names[name]]) if name in self._names else None

    def _without_paths(self, still: Array, ohms: Array) -> tuple[Array, Array]:
        """The volts at the ports [V] and what currents through them do [ohm], without the paths beside resistances."""
        over = slice(self._laws, None)
        inner = np.linalg.solve(np.eye(len(self._names)) + PATH * ohms[over, over],
                                np.column_stack([still[over], ohms[over]]))  # fmt: skip
        return still - PATH * ohms[:, over] @ inner[:, 0], ohms - PATH * ohms[:, over] @ inner[:, 1:]

    def _first(self) -> Array:
        """The volts at the laws' ports of the circuit as given [V], its sources raised from nothing."""
        laws, numbers = self._laws, self._currents.numbers([{}])
        volts, good = raised(self._currents, self._still[None, :laws], self._ohms[None, :laws, :laws], numbers)
        if not good.all():
            raise EngineError("no operating point was found")
        return np.asarray(volts[0])

    def solve(self, changes: Sequence[Change]) -> Points:
        """The operating point with each change."""
        lots = [self._solve(changes[first : first + _CHUNK]) for first in range(0, len(changes), _CHUNK)]
        empty = np.zeros((0, self._heard)), np.zeros((0, self._heard)), np.zeros((0, self._laws))
        return Points(*(np.concatenate(rows) for rows in zip(empty, *lots, strict=True)))

    def volts_at(self, changes: Sequence[Change], places: Sequence[int], near: Array) -> Array:
        """The volts across one place heard with each change [V], shape (changes,); NaN as in `Points`.

        Parameters
        ----------
        changes : sequence of Change
        places : sequence of int
            Which place is listened at with each.
        near : ndarray
            Volts at the ports of the laws from which to begin [V], shape (changes, ports).
        """
        lots = [slice(first, first + _CHUNK) for first in range(0, len(changes), _CHUNK)]
        rows = np.asarray(places, dtype=int)
        return np.concatenate([np.zeros(0), *(self._volts_at(changes[lot], rows[lot], near[lot]) for lot in lots)])

    def _solve(self, changes: Sequence[Change]) -> tuple[Array, Array, Array]:
        moved, laws = self._moved(changes), slice(0, self._laws)
        heard = slice(self._laws, self._laws + self._heard)
        at = self._settle(changes, moved, np.tile(self._start, (len(changes), 1)))
        into = self._seen(moved, heard, laws)
        found = self._unlet(moved, heard) + (into @ at.flow[:, :, None])[:, :, 0]
        back = np.linalg.solve(np.eye(self._laws) - at.inner @ at.slope, self._seen(moved, laws, heard))
        ohms = -(self._own(moved) + np.einsum("khl,klh->kh", into @ at.slope, back))
        found[at.bad], ohms[at.bad] = np.nan, np.nan
        return found, ohms, at.volts

    def _volts_at(self, changes: Sequence[Change], places: NDArray[np.int_], near: Array) -> Array:
        moved, rows = self._moved(changes), self._laws + places
        at = self._settle(changes, moved, near)
        there = (self._ohms[rows[:, None], moved.where][:, None, :] @ moved.drawn)[:, 0, :, None]
        into = self._ohms[rows, : self._laws] + np.sum(there * self._ohms[:, : self._laws][moved.where], axis=1)
        found = self._still[rows] + np.sum(there[:, :, 0] * self._still[moved.where], axis=1)
        return np.where(at.bad, np.nan, found + np.sum(into * at.flow, axis=1))

    def _moved(self, changes: Sequence[Change]) -> _Moved:
        where, more = self._siemens([each.ohms for each in changes])
        across = self._ohms[where[:, :, None], where[:, None, :]]
        gain = np.linalg.inv(np.eye(where.shape[1]) - across * more[:, None, :])
        poor = np.abs(gain).max(axis=(1, 2), initial=0.0) > _MOST_GAIN
        return _Moved(where, more[:, :, None] * gain, poor)

    def _settle(self, changes: Sequence[Change], moved: _Moved, start: Array) -> _Settled:
        numbers = self._currents.numbers([each.sockets for each in changes])
        laws = slice(0, self._laws)
        inner = self._seen(moved, laws, laws)
        volts, good = settled(self._currents, self._unlet(moved, laws), inner, numbers, start)
        return _Settled(volts, *self._currents.at(volts, numbers), inner, moved.poor | ~good)

    def _seen(self, moved: _Moved, rows: slice, columns: slice) -> Array:
        """What a current through each of some ports does at others [ohm], shape (changes, rows, columns)."""
        change = np.moveaxis(self._ohms[rows][:, moved.where], 1, 0) @ moved.drawn
        return np.asarray(self._ohms[rows, columns] + change @ self._ohms[:, columns][moved.where])

    def _unlet(self, moved: _Moved, rows: slice) -> Array:
        """The volts at some ports while no law lets anything through [V], shape (changes, rows)."""
        change = np.moveaxis(self._ohms[rows][:, moved.where], 1, 0) @ (
            moved.drawn @ self._still[moved.where][:, :, None]
        )
        return np.asarray(self._still[rows] + change[:, :, 0])

    def _own(self, moved: _Moved) -> Array:
        """What a current at each place heard does there by itself [ohm], shape (changes, heard)."""
        heard = slice(self._laws, self._laws + self._heard)
        there = np.moveaxis(self._ohms[heard][:, moved.where], 1, 0) @ moved.drawn
        back = np.swapaxes(self._ohms[:, heard][moved.where], 1, 2)
        return np.asarray(np.diagonal(self._ohms[heard, heard]) + np.sum(there * back, axis=2))

    def _siemens(self, changes: Sequence[Mapping[str, float]]) -> tuple[NDArray[np.int_], Array]:
        """Where resistances change, and by how much [S]; rows of one length, filled up with changes by nothing."""
        known = [{name: ohms for name, ohms in each.items() if name in self._names} for each in changes]
        width = max(map(len, known), default=0)
        where, more = np.full((len(known), width), self._laws), np.zeros((len(known), width))
        for row, each in enumerate(known):
            for column, (name, ohms) in enumerate(each.items()):
                place = self._names[name]
                where[row, column] = self._laws + place
                more[row, column] = 1.0 / ohms - 1.0 / self._drawn[place]
        return where, more
