"""The arithmetic of ports: parts put at ports of a table of impedances, one after the other, many sets at a time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Complex = NDArray[np.complex128]
# A resistive change that passes less than this at rest leaves the operating point as it is [A].
BIAS_AMPS = 1e-12


def admittance(kind: str, value: float | None, frequency: NDArray[np.float64]) -> Complex:
    """Admittance [S] of a "resistor" [ohm] or "capacitor" [F], shape (f,); None is no part at all."""
    if value is None:
        return np.zeros(frequency.size, complex)
    if kind == "capacitor":
        return np.asarray(2j * np.pi * frequency * value)
    return np.full(frequency.size, 1.0 / value, complex)


def bias_moves(volts: NDArray[np.float64], siemens: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether changes of conductance [S] under voltages at rest [V] move the operating point; shapes broadcast.

    Where no changed resistor has a voltage across it, the operating point of the stock circuit solves the changed
    one too, jointly for all of them. So the measure is the current that the change would pass: more than 1e-12 A.
    """
    return np.asarray(np.abs(volts * siemens) > BIAS_AMPS)


def without_first(table: Complex, change: NDArray[Any]) -> Complex:
    """Put a change [S] at the first port of tables and drop that port from them.

    `table` has shape (..., rows, columns, f), `change` (..., f); the dimensions in front are broadcast.
    All ports dropped one after the other leave h0 - H D (1 + Z D)^-1 z0 with the changes D on a diagonal
    (superposition; Sherman and Morrison's rule of rank one).
    """
    share = change / (1.0 + change * table[..., 0, 0, :])
    column = table[..., 1:, :1, :] * share[..., None, None, :]
    return np.asarray(table[..., 1:, 1:, :] - column * table[..., :1, 1:, :])


def with_changes(table: Complex, ports: Sequence[int], changes: NDArray[np.float64]) -> Complex:
    """Put changes of conductance at some ports of a table, all at once; every port stays in it.

    Parameters
    ----------
    table : ndarray
        Shape (rows, columns, f).
    ports : sequence of int
        Rows, and columns, of the ports.
    changes : ndarray
        The change at each [S].
    """
    if not len(ports):
        return table
    seen, at = np.moveaxis(table, -1, 0), list(ports)
    whole = np.eye(len(at)) + seen[:, at][:, :, at] * changes
    return np.moveaxis(seen - (seen[:, :, at] * changes) @ np.linalg.solve(whole, seen[:, at]), 0, -1)


def branches(table: Complex, changes: Sequence[Complex], most: int = 4096) -> Iterator[Complex]:
    """Put every combination of changes at the first ports of a table.

    Parameters
    ----------
    table : ndarray
        Shape (rows, columns, f).
    changes : sequence of ndarray
        For each of the first ports all its changes [S], shape (n, f).
    most : int
        About how many sets to a block.

    Yields
    ------
    ndarray
        What is left of the table, shape (sets of this block, .., .., f), in the order of `itertools.product`. Each
        port is eliminated once for all that follows it.
    """
    yield from _branches(table[None], list(changes), most)


def _branches(table: Complex, changes: list[Complex], most: int) -> Iterator[Complex]:
    if not changes:
        yield table
        return
    rest = int(np.prod([len(change) for change in changes[1:]], dtype=int))
    step = max(1, most // (rest * len(table)))
    for start in range(0, len(changes[0]), step):
        part = without_first(table[:, None], changes[0][start : start + step])
        part = part.reshape(-1, *part.shape[2:])
        # Blocks stay in order: a table is opened up only while all that follows it fits into one block.
        if rest * len(part) <= most or len(part) == 1:
            yield from _branches(part, changes[1:], most)
        else:
            for each in part:
                yield from _branches(each[None], changes[1:], most)


def loop_gain_of_cut(table: Complex) -> Complex:
    """Loop gain from what is seen at the wires of a cut, the loop closed.

    Parameters
    ----------
    table : ndarray
        Shape (..., 2 n, 2 n, f). Rows: the voltages of the n wires [V], on the side of the parts that lead back, then
        the currents through them from the driving side [A]. Columns: 1 A into each wire, then 1 V in each, from the
        driving side to the other.

    Returns
    -------
    ndarray
        complex, without unit, shape (..., f), positive and real where the feedback is negative.

    Notes
    -----
    1 + T is the determinant of the closed circuit over that of the circuit whose cut wires carry no signal over but
    see the same impedances, so it counts both directions of the loop. For one wire that is the double injection of
    M. Tian et al. (derived from the admittances of both sides; `tests/simulation/test_loop_gain.py` compares).
    """
    wires = table.shape[-3] // 2
    seen = np.moveaxis(table, -1, -3)
    ohms, gain = seen[..., :wires, :wires], seen[..., :wires, wires:]
    share, siemens = seen[..., wires:, :wires], seen[..., wires:, wires:]
    # All admittances are counted in those of the closed circuit, which are the inverse of `ohms`.
    across = ohms @ share @ np.linalg.inv(ohms)
    open_wires = np.eye(wires) + across + gain - 2.0 * ohms @ siemens + 2.0 * across @ gain
    return np.asarray(1.0 / np.linalg.det(open_wires) - 1.0)
