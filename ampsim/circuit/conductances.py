"""Nodal matrices: the currents that leave nets for the voltages on them (Kirchhoff's current law)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from .stages.template import GROUND

Array = NDArray[np.float64]
Branch = tuple[str, str, float]


def voltage_row(first: str, second: str, index: Mapping[str, int]) -> Array:
    """The voltage [V] from one net to another, as a row over all nets but ground."""
    row = np.zeros(len(index))
    for net, sign in ((first, 1.0), (second, -1.0)):
        if net != GROUND:
            row[index[net]] += sign
    return row


def stamp(matrix: Array, row: Array, value: float) -> None:
    """Add what lies between two nets, given as a `voltage_row`, to a nodal matrix: siemens [S], or farads [F]."""
    ends = np.flatnonzero(row)
    for one in ends:  # two at most: whole rows and index grids would take most of the time
        for other in ends:
            matrix[one, other] += value * (row[one] * row[other])


def nodal_matrix(branches: Iterable[Branch], index: Mapping[str, int], loose: float = 0.0) -> Array:
    """The nodal matrix [S] of resistances between nets.

    Parameters
    ----------
    branches : iterable of (net, net, ohm)
        Resistances [ohm]; one with both ends on one net does nothing.
    index : mapping
        Net to its row, of all nets but ground.
    loose : float
        From every net to ground [S], so that the equations have one answer where a net hangs in the air.
    """
    # Entry by entry: cautions and diagnosis ask for hundreds, and rows of zeros would take most of the time.
    matrix = np.diag(np.full(len(index), loose))
    for first, second, ohms in branches:
        if first == second:
            continue
        ends = [index[net] for net in (first, second) if net != GROUND]
        for row in ends:
            matrix[row, row] += 1.0 / ohms
        if len(ends) == 2:
            matrix[ends[0], ends[1]] -= 1.0 / ohms
            matrix[ends[1], ends[0]] -= 1.0 / ohms
    return matrix
