"""From branches to state equations, for every circuit in the same way; no equation is written for one amp.

Nodal equations with inductor currents: C v' + Ck u' + G v + Gk u + A j + N i = 0 and L j' = A^T v + Ak^T u, where u
holds the driven nets and i the currents of the valves, which are functions of voltages between nodes. They are
brought to E x' = S x + B w, v = D x + F w with w = (u, i) by the basis of `graph.basis`, so by sums of nodes alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

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


@dataclass(frozen=True, eq=False)
class Equations:
    """E x' = S x + B w and y = D x + F w with w = (held voltages, currents through the ports).

    `energy` E, `slope` S: (n, n); `drive` B: (n, held + ports); `read` D, `through` F: rows are the voltages across
    the ports, then the nets listened at. `rest_ports` (rows, held + ports) gives the same rows at rest, and
    `rest_states` the states, from w alone. `held` are the nets in w.
    """

    energy: Array
    slope: Array
    drive: Array
    read: Array
    through: Array
    rest_ports: Array
    rest_states: Array
    held: tuple[str, ...]
    ports: int

    @cached_property
    def scale(self) -> Array:
        """What turns states into those that hold alike much [square roots of F and H]."""
        return np.sqrt(np.diag(self.energy))


class _Assembly:
    """The matrices of the nodal equations, over free nodes and held nets."""

    def __init__(self, parts: Parts, ports: Sequence[tuple[str, str]]) -> None:
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
    given = _Assembly(parts, ports)
    free, held, count = given.free, len(given.held), len(ports)
    change, charged, fixed = topology.basis(free, given.pairs["c"], given.pairs["r"], given.pairs["short"])
    d, a, island = np.split(change, [charged, charged + fixed], axis=1)
    loops, own = topology.currents_basis(island.T @ given.coils[:free])
    coils, held_coils = given.coils[:free] @ loops, given.coils[free:] @ loops
    g, gk = given.conductance[:free, :free], given.conductance[:free, free:]
    # What enters the nodes with v = d v_d + a v_a: the second kind follows from the rest without memory.
    inverse = np.linalg.inv(a.T @ g @ a) if fixed else np.zeros((0, 0))
    sources = np.hstack([gk, given.ports[:free]])
    # Beside a closed contact the order counts: what enters a group of nodes is summed up before it is multiplied.
    by_charge = d - a @ (inverse @ (a.T @ (g @ d)))
    by_loop = -a @ (inverse @ (a.T @ coils))
    by_source = -a @ (inverse @ (a.T @ sources))
    # A capacitor at a held net passes the change of its voltage: the state is the charge that is left.
    store = d.T @ given.capacitance[:free, :free] @ d
    shift = np.zeros((charged, held + count))
    if charged:
        shift[:, :held] = -np.linalg.solve(store, d.T @ given.capacitance[:free, free:])
    nodes = np.hstack([by_charge, by_loop])
    nodes_w = by_source + by_charge @ shift
    energy = _blocks(store, loops.T @ given.inductance @ loops)
    held_drive = np.hstack([held_coils.T, np.zeros((loops.shape[1], count))])
    # The change of currents through the coils: L j' = A^T v.
    slope = np.vstack([-d.T @ (g @ nodes + np.hstack([np.zeros((free, charged)), coils])), coils.T @ nodes])
    drive = np.vstack([-d.T @ (g @ nodes_w + sources), coils.T @ nodes_w + held_drive])
    rows = np.vstack([given.ports.T, *(given.row(net, GROUND)[None] for net in listened)])
    direct = np.zeros((len(rows), held + count))
    direct[:, :held] = rows[:, free:]
    more = _island_voltages(given, island, loops, nodes, nodes_w)
    read, through = rows[:, :free] @ (nodes + more[0]), rows[:, :free] @ (nodes_w + more[1]) + direct
    read[:count, charged:] += given.fluxes @ loops
    rest_nodes, rest_coils = _rest(given)
    charges = np.linalg.solve(change, rest_nodes)[:charged] - shift
    rest_states = np.vstack([charges, rest_coils[own]])
    rest_rows = rows[:, :free] @ rest_nodes + direct
    rest_rows[:count] += given.fluxes @ rest_coils
    return Equations(energy, slope, drive, read, through, rest_rows, rest_states, given.held, count)


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
