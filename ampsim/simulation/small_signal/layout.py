"""From a circuit as numbers to equations: which unknowns there are, and what each branch adds to them.

Modified nodal analysis (C. W. Ho, A. E. Ruehli, P. A. Brennan, IEEE Trans. Circuits Syst. 22, 1975): the volts of the
free nets, the currents through coils and through the wires that are looked at.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ...base.errors import EngineError
from ...circuit.nets import Groups
from ...circuit.stages.template import GROUND
from ..timestep.branches import Parts
from ..timestep.state_space import PATH
from .pivots import Array, Whole

# From a net that no direct current reaches to ground [S], and along every coil [ohm]: only so that each has its volts.
_LEAK, _COIL_OHMS = 1e-13, 1e-9
_GROUND = -1
PLAIN, RISING, FIRST_SPRING = 0, 1, 2
"""Kinds of factors: one, the complex frequency [1/s], and of each reverb tank what its springs hand on."""


@dataclass(frozen=True, eq=False)
class Port:
    """Where a law has a port: what its volts are read from, and whether and where its current flows."""

    seat: int
    place: int
    terms: tuple[tuple[int, str, float], ...]
    first: int
    second: int


class Layout:
    """The unknowns of a circuit and their equations.

    Parameters
    ----------
    parts : Parts
    wires : sequence of (net, net)
        Wires with nothing in them, whose currents are asked for or in which a voltage is put.
    """

    def __init__(self, parts: Parts, wires: Sequence[tuple[str, str]]) -> None:
        self.parts, self.wires = parts, tuple(wires)
        ends = [(each.first, each.second) for each in parts.branches]
        volts = [pair for seat in parts.seats for pair in seat.ports if pair[0] not in parts.fluxes]
        nets = dict.fromkeys(net for pair in (*ends, *volts, *wires) for net in pair)
        self.free = [net for net in nets if net != GROUND and net not in parts.held]
        self.coils = [each.name for each in parts.branches if each.kind == "l"]
        self.size = len(self.free) + len(self.coils) + len(self.wires)
        self.held = tuple(parts.held)
        self._number = {net: place for place, net in enumerate(self.free)}
        self._number |= {net: self.size + place for place, net in enumerate(self.held)} | {GROUND: _GROUND}
        self._branch = {each.name: place for place, each in enumerate(parts.branches)}
        self._entries: dict[tuple[int, int], int] = {}
        self._stamps: list[tuple[int, int, float, int]] = []
        # The numbers of a variant: one, a number of each branch, of each coupling, of each slope, of each flux.
        self.coupling = 1 + len(parts.branches)
        self.slope = self.coupling + len(parts.couplings)
        self.ports = list(self._ports())
        self.slopes = [(one, other) for one, first in enumerate(self.ports) for other, second in enumerate(self.ports)
                       if first.seat == second.seat and (first.place != 1 or second.place == 1)]  # fmt: skip
        self.fluxes: list[tuple[int, str, float]] = []
        self._stamp()
        self.numbers = self.slope + len(self.slopes) + len(self.fluxes)

    def placed(self, net: str, what: str) -> int:
        """The place of a net among unknowns and held nets, -1 for ground.

        Raises
        ------
        EngineError
            When nothing is on it; the message says what was to be done there.
        """
        if net not in self._number:
            raise EngineError(f"nothing to {what}: {net}")
        return self._number[net]

    def coil(self, name: str) -> int:
        """The unknown that is the current through a coil."""
        return len(self.free) + self.coils.index(name)

    def wire(self, place: int) -> int:
        """The unknown that is the current through a wire, from its first to its second end."""
        return len(self.free) + len(self.coils) + place

    def _ports(self) -> Iterator[Port]:
        for number, seat in enumerate(self.parts.seats):
            for place, (first, second) in enumerate(seat.ports):
                if first in self.parts.fluxes:
                    name, scale = self.parts.fluxes[first]
                    yield Port(number, place, tuple(self._flux(name, scale)), _GROUND, _GROUND)
                else:
                    one, other = self._number[first], self._number[second]
                    yield Port(number, place, ((one, "", 1.0), (other, "", -1.0)), one, other)

    def _flux(self, name: str, scale: float) -> Iterator[tuple[int, str, float]]:
        """Of each current that makes a coil's flux its unknown, whose inductance it is, and the factor on that."""
        yield self.coil(name), name, scale
        for first, second, _ in self.parts.couplings:
            if name in (first, second):
                other = second if name == first else first
                yield self.coil(other), f"{first} {second}", scale

    def inductance(self, source: str, numbers: Array) -> Array:
        """The inductance [H] of a coil, or the mutual one of two, of variants whose numbers are given."""
        first, _, second = source.partition(" ")
        if not second:
            return numbers[:, 1 + self._branch[first]]
        pairs = [(one, other) for one, other, _ in self.parts.couplings]
        return numbers[:, self.coupling + pairs.index((first, second))]

    def _add(self, row: int, column: int, source: int, sign: float, kind: int = PLAIN) -> None:
        if 0 <= row < self.size and column != _GROUND:
            entry = self._entries.setdefault((row, column), len(self._entries))
            self._stamps.append((entry, source, sign, kind))

    def _across(self, first: int, second: int, source: int, sign: float = 1.0, kind: int = PLAIN) -> None:
        """A conductance, or a capacitance, between two nets."""
        for row, one in ((first, 1.0), (second, -1.0)):
            for column, other in ((first, 1.0), (second, -1.0)):
                self._add(row, column, source, sign * one * other, kind)

    def _through(self, first: int, second: int, unknown: int) -> None:
        """A current that is an unknown, with the volts between its ends in its own row."""
        for net, sign in ((first, 1.0), (second, -1.0)):
            self._add(net, unknown, 0, sign)
            self._add(unknown, net, 0, sign)

    def _stamp(self) -> None:
        for place, each in enumerate(self.parts.branches, 1):
            first, second = self._number[each.first], self._number[each.second]
            if each.kind == "l":
                unknown = self.coil(each.name)
                self._through(first, second, unknown)
                self._add(unknown, unknown, place, -1.0, RISING)
                self._add(unknown, unknown, 0, -_COIL_OHMS)
            else:
                self._across(first, second, place, kind=RISING if each.kind == "c" else PLAIN)
        for place, (one, other, _) in enumerate(self.parts.couplings, self.coupling):
            first, second = self.coil(one), self.coil(other)
            self._add(first, second, place, -1.0, RISING)
            self._add(second, first, place, -1.0, RISING)
        for place, (first_net, second_net) in enumerate(self.wires):
            self._through(self._number[first_net], self._number[second_net], self.wire(place))
        for net in self._unreached():
            self._add(net, net, 0, _LEAK)
        for port in self.ports:
            self._across(port.first, port.second, 0, PATH)
        self._stamp_slopes()
        self._stamp_springs()

    def _stamp_slopes(self) -> None:
        for place, (one, other) in enumerate(self.slopes, self.slope):
            for row, sign in ((self.ports[one].first, 1.0), (self.ports[one].second, -1.0)):
                for column, source, scale in self.ports[other].terms:
                    if not source:
                        self._add(row, column, place, sign * scale)
        for one, other in self.slopes:
            for column, source, scale in self.ports[other].terms:
                if source:
                    self.fluxes.append((self.slopes.index((one, other)), source, scale))
                    place = self.slope + len(self.slopes) + len(self.fluxes) - 1
                    self._add(self.ports[one].first, column, place, 1.0)
                    self._add(self.ports[one].second, column, place, -1.0)

    def _stamp_springs(self) -> None:
        """What hangs on the net that springs hold follows the volts that they sense."""
        for tank, line in enumerate(self.parts.lines):
            emf, plus, minus = (self._number[net] for net in (line.emf, *line.sense))
            for entry, source, sign, kind in [*self._stamps]:
                row, column = list(self._entries)[entry]
                if column == emf and kind == PLAIN:
                    self._add(row, plus, source, sign, FIRST_SPRING + tank)
                    self._add(row, minus, source, -sign, FIRST_SPRING + tank)

    def _unreached(self) -> list[int]:
        """Free nets that no direct current reaches."""
        groups: Groups[int] = Groups(int)

        def join(first: int, second: int) -> None:
            groups.join(*(net if 0 <= net < self.size else _GROUND for net in (first, second)))

        for each in self.parts.branches:
            if each.kind != "c":
                join(self._number[each.first], self._number[each.second])
        for port in self.ports:
            join(port.first, port.second)
        for first, second in self.wires:
            join(self._number[first], self._number[second])
        return [net for net in range(len(self.free)) if groups.find(net) != groups.find(_GROUND)]

    @cached_property
    def stamps(self) -> tuple[Whole, Whole, Array, Whole]:
        """Of all that is added up the entry, the number of a variant that it takes, its sign [ratio], its factor."""
        entry, source, sign, kind = zip(*self._stamps, strict=True)
        return np.array(entry), np.array(source), np.array(sign), np.array(kind)

    @cached_property
    def places(self) -> Whole:
        """Row and column of each entry, shape (entries, 2); held nets are columns behind the unknowns."""
        return np.array(list(self._entries), dtype=np.int64).reshape(-1, 2)

    def column(self, net: int) -> list[tuple[int, int]]:
        """Row and entry of all that hangs on a net."""
        return [(row, entry) for (row, column), entry in self._entries.items() if column == net]
