"""From branches to state equations, for every circuit in the same way; no equation is written for one amp.

Nodal equations with inductor currents: C v' + Ck u' + G v + Gk u + A j + N i = 0 and L j' = A^T v + Ak^T u, where u
holds the driven nets and i the currents of the valves, which are functions of voltages between nodes. They are
brought to E x' = S x + B w, v = D x + F w with w = (u, i) by the basis of `graph.basis`, so by sums of nodes alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...circuit.conductances import voltage_row
from ...circuit.nets import Groups
from ...circuit.stages.template import GROUND
from . import topology
from .branches import Branch, Parts

Array = NDArray[np.float64]
# Every path through a valve counts as this many siemens, taken away again from the valve's law: then a node that
# nothing but valves and inductors reach has a voltage of its own. The circuit stays exactly the same.
PATH = 1e-6
# A resistor below so many ohms is a short as far as `topology.basis` goes, such as a closed contact.
_SHORT = 0.02
# At a net that else hangs by inductors alone a resistor counts as so many ohms at most, such as an open contact: what
# flows there is the small difference of their currents, and ten times the ohms lose a digit more of it.
_OPEN = 1e10


class _Motion(NamedTuple):
    slope: Array
    drive: Array
    read: Array
    through: Array


class Equations:
    """E x' = S x + B w and y = D x + F w with w = (held voltages, currents through the ports).

    `energy` E, `slope` S: (n, n); `drive` B: (n, held + ports); `read` D, `through` F: rows are the voltages across
    the ports, then the nets listened at. `rest_ports` (rows, held + ports) gives the same rows at rest, and
    `rest_states` the states, from w alone. `held` are the nets in w. Motion, or rest, is worked out when it is asked
    for: before contacts move there is none, after it no rest. Both may raise numpy's `LinAlgError`.
    """

    def __init__(self, given: _Assembly) -> None:
        self._given, self.held, self.ports = given, given.held, given.ports.shape[1]
        pairs = (given.pairs[kind] for kind in ("c", "r", "short"))
        self._change, charged, fixed = topology.basis(given.free, *pairs)
        self._charge, self._follow, self._island = np.split(self._change, [charged, charged + fixed], axis=1)
        self._loops, self._own = topology.currents_basis(self._island.T @ given.coils[: given.free])
        self._store = self._charge.T @ given.capacitance[: given.free, : given.free] @ self._charge
        self.energy = _blocks(self._store, self._loops.T @ given.inductance @ self._loops)

    @cached_property
    def scale(self) -> Array:
        """What turns states into those that hold alike much [square roots of F and H]."""
        return np.sqrt(np.diag(self.energy))

    @property
    def slope(self) -> Array:
        """S [S, ohm or ratio]."""
        return self._motion.slope

    @property
    def drive(self) -> Array:
        """B [S or ratio]."""
        return self._motion.drive

    @property
    def read(self) -> Array:
        """D [ratio or ohm]."""
        return self._motion.read

    @property
    def through(self) -> Array:
        """F [ratio or ohm]."""
        return self._motion.through

    @property
    def rest_ports(self) -> Array:
        """The rows of `read` at rest, from w alone [ratio or ohm]."""
        return self._rest[0]

    @property
    def rest_states(self) -> Array:
        """The states at rest, from w alone [ratio, ohm or S]."""
        return self._rest[1]

    @cached_property
    def _shift(self) -> Array:
        # A capacitor at a held net passes the change of its voltage: the state is the charge that is left.
        given, found = self._given, np.zeros((len(self._store), len(self.held) + self.ports))
        if len(found):
            held = self._charge.T @ given.capacitance[: given.free, given.free :]
            found[:, : len(self.held)] = -np.linalg.solve(self._store, held)
        return found

    @cached_property
    def _direct(self) -> Array:
        found = np.zeros((len(self._given.rows), len(self.held) + self.ports))
        found[:, : len(self.held)] = self._given.rows[:, self._given.free :]
        return found

    @cached_property
    def _motion(self) -> _Motion:
        given, d, a, loops = self._given, self._charge, self._follow, self._loops
        free, count, charged = given.free, self.ports, d.shape[1]
        coils, held_coils = given.coils[:free] @ loops, given.coils[free:] @ loops
        g, gk = given.conductance[:free, :free], given.conductance[:free, free:]
        # What enters the nodes with v = d v_d + a v_a: the second kind follows from the rest without memory.
        inverse = np.linalg.inv(a.T @ g @ a) if a.shape[1] else np.zeros((0, 0))
        sources = np.hstack([gk, given.ports[:free]])
        # Beside a closed contact the order counts: what enters a group of nodes is summed up before it is multiplied.
        by_charge = d - a @ (inverse @ (a.T @ (g @ d)))
        by_loop = -a @ (inverse @ (a.T @ coils))
        by_source = -a @ (inverse @ (a.T @ sources))
        nodes = np.hstack([by_charge, by_loop])
        nodes_w = by_source + by_charge @ self._shift
        held_drive = np.hstack([held_coils.T, np.zeros((loops.shape[1], count))])
        # The change of currents through the coils: L j' = A^T v.
        slope = np.vstack([-d.T @ (g @ nodes + np.hstack([np.zeros((free, charged)), coils])), coils.T @ nodes])
        drive = np.vstack([-d.T @ (g @ nodes_w + sources), coils.T @ nodes_w + held_drive])
        more = _island_voltages(given, self._island, loops, nodes, nodes_w)
        rows = given.rows[:, :free]
        read, through = rows @ (nodes + more[0]), rows @ (nodes_w + more[1]) + self._direct
        read[:count, charged:] += given.fluxes @ loops
        return _Motion(slope, drive, read, through)

    @cached_property
    def _rest(self) -> tuple[Array, Array]:
        given, charged = self._given, self._charge.shape[1]
        nodes, coils = _rest(given)
        charges = np.linalg.solve(self._change, nodes)[:charged] - self._shift
        rows = given.rows[:, : given.free] @ nodes + self._direct
        rows[: self.ports] += given.fluxes @ coils
        return rows, np.vstack([charges, coils[self._own]])


class _Assembly:
    """The matrices of the nodal equations, over free nodes and held nets."""

    def __init__(self, parts: Parts, ports: Sequence[tuple[str, str]], listened: Sequence[str] = ()) -> None:
        nets = {net for branch in parts.branches for net in (branch.first, branch.second)}
        volts = [pair for pair in ports if pair[0] not in parts.fluxes]
        nets |= {net for pair in volts for net in pair}
        self.held = tuple(parts.held)
        free = sorted(nets - set(self.held) - {GROUND})
        self.free = len(free)
        self.index = {net: number for number, net in enumerate([*free, *self.held])}
        total = len(self.index)
        self.capacitance, self.conductance = np.zeros((total, total)), np.zeros((total, total))
        self.pairs: dict[str, list[topology.Pair]] = {"c": [], "r": [], "short": []}
        coils = [branch for branch in parts.branches if branch.kind == "l"]
        self.coils = np.array([self.row(coil.first, coil.second) for coil in coils]).reshape(len(coils), total).T
        self.inductance = _inductance(coils, parts.couplings)
        rows = [self.row(*pair) if pair in volts else np.zeros(total) for pair in ports]
        self.ports = np.array(rows).reshape(len(ports), total).T
        self.rows = np.vstack([self.ports.T, *(self.row(net, GROUND)[None] for net in listened)])
        # What a port reads of the currents through the coils [1 / A]: nothing, but for those that read a flux.
        self.fluxes = np.zeros((len(ports), len(coils)))
        for number, pair in enumerate(ports):
            if pair not in volts:
                name, scale = parts.fluxes[pair[0]]
                self.fluxes[number] = scale * self.inductance[[coil.name for coil in coils].index(name)]
        at_coils = _at_coils(parts, volts)
        for branch in parts.branches:
            if branch.kind == "c":
                self._stamp(self.capacitance, ("c",), (branch.first, branch.second), branch.value)
            elif branch.kind == "r":
                kinds = ("r", "short") if branch.value < _SHORT else ("r",)
                ohms = _OPEN if branch.name in at_coils else branch.value
                self._stamp(self.conductance, kinds, (branch.first, branch.second), 1.0 / ohms)
        for pair in volts:
            self._stamp(self.conductance, ("r",), pair, PATH)

    def row(self, first: str, second: str) -> Array:
        """The voltage from one net to another, as a row over all nets."""
        return voltage_row(first, second, self.index)

    def _stamp(self, matrix: Array, kinds: Sequence[str], pair: tuple[str, str], value: float) -> None:
        first, second = ends = self.index.get(pair[0], -1), self.index.get(pair[1], -1)
        # Ground has no number. Place by place: a row over all nets to each branch took most of the time.
        if first != second:
            for number in ends:
                if number >= 0:
                    matrix[number, number] += value
            if min(ends) >= 0:
                matrix[first, second] -= value
                matrix[second, first] -= value
        one, other = (number if number < self.free else -1 for number in ends)
        for kind in kinds:
            self.pairs[kind].append((one, other))


def _at_coils(parts: Parts, ports: Sequence[tuple[str, str]]) -> frozenset[str]:
    """Resistors above `_OPEN` at nets that without them hang by inductors alone."""
    # What pushes does so through a large resistor, which stays as it is.
    large = {
        each.name: {each.first, each.second}
        for each in parts.branches
        if each.kind == "r" and each.value > _OPEN and not {each.first, each.second} & set(parts.pushes)
    }
    if not large:
        return frozenset()
    tied = Groups[str](lambda net: (net != GROUND, net))
    others = [(each.first, each.second) for each in parts.branches if each.kind != "l" and each.name not in large]
    for first, second in (*((GROUND, net) for net in parts.held), *others, *ports):
        tied.join(first, second)
    coils = {tied.find(net) for each in parts.branches if each.kind == "l" for net in (each.first, each.second)}
    return frozenset(name for name, ends in large.items() if {tied.find(net) for net in ends} & (coils - {GROUND}))


def _inductance(coils: Sequence[Branch], couplings: Sequence[tuple[str, str, float]]) -> Array:
    places = {coil.name: number for number, coil in enumerate(coils)}
    found = np.diag([coil.value for coil in coils]).reshape(len(coils), len(coils))
    for first, second, factor in couplings:
        one, other = places[first], places[second]
        found[one, other] = found[other, one] = factor * np.sqrt(found[one, one] * found[other, other])
    return found


def equations(parts: Parts, ports: Sequence[tuple[str, str]], listened: Sequence[str]) -> Equations:
    """State equations of a circuit.

    Parameters
    ----------
    parts : Parts
    ports : sequence of (net, net)
        Pairs of nets between which a current flows that depends on voltages.
    listened : sequence of net

    Raises
    ------
    numpy.linalg.LinAlgError
        When a part of the circuit has no voltage of its own.
    """
    return Equations(_Assembly(parts, ports, listened))


def rest_rows(parts: Parts, ports: Sequence[tuple[str, str]]) -> Array:
    """What ports read at rest [V], shape (ports, held + ports): of w as `Equations` has it, `PATH` beside each.

    Raises
    ------
    numpy.linalg.LinAlgError
        When a part of the circuit has no voltage of its own.
    """
    given = _Assembly(parts, ports)
    nodes, coils = _rest(given)
    found = given.ports[: given.free].T @ nodes + given.fluxes @ coils
    found[:, : len(given.held)] += given.ports[given.free :].T
    return np.asarray(found)


def _blocks(first: Array, second: Array) -> Array:
    size, other = len(first), len(second)
    found = np.zeros((size + other, size + other))
    found[:size, :size], found[size:, size:] = first, second
    return found


def _island_voltages(
    given: _Assembly, island: Array, loops: Array, nodes: Array, nodes_w: Array
) -> tuple[Array, Array]:
    """Voltages of the groups that only inductors reach: what keeps the sums of their currents at zero."""
    if not island.shape[1]:
        return np.zeros_like(nodes), np.zeros_like(nodes_w)
    free, held = given.free, len(given.held)
    cut = island.T @ given.coils[:free]
    lively = np.linalg.solve(
        given.inductance, np.hstack([cut.T, given.coils[:free].T @ nodes, given.coils[:free].T @ nodes_w])
    )
    lively[:, cut.shape[0] + nodes.shape[1] :][:, :held] += np.linalg.solve(given.inductance, given.coils[free:].T)
    right = cut @ lively
    size = cut.shape[0]
    found = -island @ np.linalg.solve(right[:, :size], right[:, size:])
    return found[:, : nodes.shape[1]], found[:, nodes.shape[1] :]


def _rest(given: _Assembly) -> tuple[Array, Array]:
    """Node voltages and inductor currents at rest, from w = (u, i): inductors carry no voltage, capacitors nothing."""
    free, held, ports = given.free, len(given.held), given.ports.shape[1]
    coils = given.coils.shape[1]
    matrix = np.zeros((free + coils, free + coils))
    matrix[:free, :free] = given.conductance[:free, :free]
    matrix[:free, free:], matrix[free:, :free] = given.coils[:free], given.coils[:free].T
    right = np.zeros((free + coils, held + ports))
    right[:free] = -np.hstack([given.conductance[:free, free:], given.ports[:free]])
    right[free:, :held] = -given.coils[free:].T
    try:
        found = np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)
    except np.linalg.LinAlgError:
        # Inductors in a ring: the current around it is any; none is taken.
        found = np.asarray(np.linalg.lstsq(matrix, right, rcond=1e-15)[0], dtype=np.float64)
    return found[:free], found[free:]
