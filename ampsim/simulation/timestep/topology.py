"""Which nets hang together: the combinatorial side of a circuit's equations, exact at any spread of values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ...circuit.nets import Groups

Array = NDArray[np.float64]
Pair = tuple[int, int]
_Pairs = tuple[Pair, ...]


def _join(pairs: Iterable[Pair] = ()) -> Groups[int]:
    """Nodes joined to one another; -1 stands for ground and every net that a source holds."""
    groups: Groups[int] = Groups(int)
    for first, second in pairs:
        groups.join(first, second)
    return groups


def basis(
    count: int, capacitors: Sequence[Pair], conductors: Sequence[Pair], shorts: Sequence[Pair] = ()
) -> tuple[Array, int, int]:
    """Nodes as sums of voltages that capacitors carry, that conductance fixes, and that only inductors reach.

    Parameters
    ----------
    count : int
        Nodes not held by a source.
    capacitors, conductors : sequence of (int, int)
        Between which nodes they lie; -1 for ground and held nets. Conductors are resistors and valves.
    shorts : sequence of (int, int)
        Conductors so good that their ends hardly differ, such as closed contacts. What hangs on others by them moves
        with those: its own voltage is the difference, which is not lost between two large ones.

    Returns
    -------
    tuple
        The basis [ratio], shape (count, count), of zeros and ones, its columns in that order; how many columns are of
        the first and of the second kind. In this basis capacitance is positive definite over the first kind and zero
        elsewhere, conductance is positive definite over the second kind and zero over the third.
    """
    return _basis(count, tuple(capacitors), tuple(conductors), tuple(shorts))


@lru_cache(maxsize=64)  # of the positions of an amp most hang together alike
def _basis(count: int, capacitors: _Pairs, conductors: _Pairs, shorts: _Pairs) -> tuple[Array, int, int]:
    charged = _join(capacitors)
    linked = _join([*capacitors, *conductors])
    groups: dict[int, list[int]] = {}
    for node in range(count):
        groups.setdefault(charged.find(node), []).append(node)
    behind = _behind(groups, [(charged.find(one), charged.find(other)) for one, other in shorts])
    # In the order of the groups, shorts or not: contacts move, and what capacitors hold stays where it is.
    first = [_indicator(count, [node]) for group, nodes in groups.items() for node in nodes if node != group]
    second, wholes = [], dict[int, Array]()
    # What is behind a short comes after what it hangs on: of each island the first group is the one that is left out.
    for representative in sorted(groups, key=lambda group: len(behind.get(group, ()))):
        nodes = groups[representative]
        if representative >= 0:
            moving = [
                node for group in groups if representative in (group, *behind.get(group, ())) for node in groups[group]
            ]
            whole, floating = _indicator(count, moving), linked.find(representative)
            if floating >= 0 and floating not in wholes:
                wholes[floating] = _indicator(count, nodes)
            elif floating >= 0:
                wholes[floating] = wholes[floating] + _indicator(count, nodes)
                second.append(whole)
            else:
                second.append(whole)
    columns = np.array([*first, *second, *wholes.values()]).reshape(count, count)
    columns.setflags(write=False)
    return columns.T, len(first), len(second)


def _behind(groups: Iterable[int], shorts: Sequence[Pair]) -> dict[int, tuple[int, ...]]:
    """To each group all those, one behind the other, that it hangs on by shorts; nothing hangs on ground."""
    found: dict[int, tuple[int, ...]] = {}
    for root in (-1, *groups):
        edge = [] if root in found else [root]
        found.setdefault(root, ())
        while edge:
            near = edge.pop()
            for far in (other for pair in shorts if near in pair for other in pair if other not in found):
                found[far] = (*found[near], near) if near >= 0 else ()
                edge.append(far)
    return found


def _indicator(count: int, nodes: Iterable[int]) -> Array:
    column = np.zeros(count)
    column[list(nodes)] = 1.0
    return column


def currents_basis(islands: Array) -> tuple[Array, list[int]]:
    """Inductor currents as sums of those of some inductors, so that no island gains or loses any.

    Parameters
    ----------
    islands : array, shape (islands, inductors)
        Which inductor leaves (1) or enters (-1) which group of nodes that only inductors reach.

    Returns
    -------
    tuple
        The basis [ratio], shape (inductors, loops), and the numbers of the inductors whose currents are those of the
        loops.

    Raises
    ------
    LinAlgError
        When a part of the circuit hangs in the air: no conductor, capacitor or inductor leads to ground.

    Notes
    -----
    A spanning tree over the islands: what flows in its inductors follows from the others. All entries are 0, 1, -1.
    """
    count, inductors = islands.shape
    if not count:
        return np.eye(inductors), list(range(inductors))
    ends = [_ends(islands[:, number]) for number in range(inductors)]
    joined = _join()
    tree = [number for number, pair in enumerate(ends) if joined.join(*pair)]
    loops = [number for number in range(inductors) if number not in tree]
    if len(tree) < count:
        raise np.linalg.LinAlgError("a part of the circuit hangs in the air")
    found = np.zeros((inductors, len(loops)))
    found[loops, range(len(loops))] = 1.0
    found[tree] = -np.round(np.linalg.solve(islands[:, tree], islands[:, loops]))
    return found, loops


def _ends(column: Array) -> Pair:
    touched = [int(row) for row in np.flatnonzero(column)]
    if not touched:
        return (-1, -1)
    return (touched[0], touched[1]) if len(touched) == 2 else (touched[0], -1)
