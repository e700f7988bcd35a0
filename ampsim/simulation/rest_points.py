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

    NaN where no point was found that can be trusted.
    """

    volts: Array
    ohms: Array


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
        empty = np.zeros((0, self._heard))
        return (
            Points(*(np.concatenate([empty, *rows]) for rows in zip(*lots, strict=True)))
            if lots
            else Points(empty, empty)
        )

    def _solve(self, changes: Sequence[Change]) -> tuple[Array, Array]:
        where, more = self._siemens([each.ohms for each in changes])
        numbers = self._currents.numbers([each.sockets for each in changes])
        laws, heard = slice(0, self._laws), slice(self._laws, self._laws + self._heard)
        # Through what changes flows `drawn` of its volts as they would be without the change.
        across = self._ohms[where[:, :, None], where[:, None, :]]
        gain = np.linalg.inv(np.eye(where.shape[1]) - across * more[:, None, :])
        drawn = more[:, :, None] * gain
        poor = np.abs(gain).max(axis=(1, 2), initial=0.0) > _MOST_GAIN

        def seen(rows: slice, columns: slice) -> Array:
            change = np.moveaxis(self._ohms[rows][:, where], 1, 0) @ drawn @ self._ohms[where][:, :, columns]
            return np.asarray(self._ohms[rows, columns] + change)

        def still(rows: slice) -> Array:
            moved = np.moveaxis(self._ohms[rows][:, where], 1, 0) @ (drawn @ self._still[where][:, :, None])
            return np.asarray(self._still[rows] + moved[:, :, 0])

        inner, into = seen(laws, laws), seen(heard, laws)
        start = np.tile(self._start, (len(changes), 1))
        volts, good = settled(self._currents, still(laws), inner, numbers, start)
        flow, slope = self._currents.at(volts, numbers)
        found = still(heard) + (into @ flow[:, :, None])[:, :, 0]
        own = self._own(where, drawn)
        back = np.linalg.solve(np.eye(self._laws) - inner @ slope, seen(laws, heard))
        ohms = -(own + np.einsum("khl,klh->kh", into @ slope, back))
        bad = poor | ~good
        found[bad], ohms[bad] = np.nan, np.nan
        return found, ohms

    def _own(self, where: NDArray[np.int_], drawn: Array) -> Array:
        """What a current at each place heard does there by itself [ohm], shape (changes, heard)."""
        heard = slice(self._laws, self._laws + self._heard)
        there = np.moveaxis(self._ohms[heard][:, where], 1, 0)
        change = np.einsum("khm,kmn,knh->kh", there, drawn, self._ohms[where][:, :, heard], optimize=True)
        return np.asarray(np.diagonal(self._ohms[heard, heard]) + change)

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
