"""Which numbers of equations are divided and subtracted in which order, chosen once for all that have one pattern."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..timestep.compiled import jit

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Whole = NDArray[np.int64]
# A pivot is at least this share of the largest number of its column, in the variant by which pivots are chosen.
_THRESHOLD = 1e-2


class Program(NamedTuple):
    """What to do to the numbers of one pattern: which of them is divided, subtracted from which.

    `slot` (rows, columns): where a number is kept, -1 for none; `row_order` and `column_order`: which row and column is
    the first, the second ... The others are lists, a stretch of each to every pivot as the lists of starts say.
    """

    slot: Whole
    row_order: Whole
    column_order: Whole
    pivot: Whole
    below_start: Whole
    below: Whole
    below_row: Whole
    beside_start: Whole
    beside: Whole
    beside_column: Whole
    target_start: Whole
    target: Whole


def program_of(numbers: Complex, pattern: NDArray[np.bool_]) -> Program:
    """Choose pivots for square equations, few new numbers arising, and list what is to be done.

    Parameters
    ----------
    numbers : ndarray
        The equations of some variant at some frequency, shape (unknowns, unknowns); altered.
    pattern : ndarray
        Where other variants may have numbers too.

    Raises
    ------
    numpy.linalg.LinAlgError
        When they have no single solution.
    """
    size = len(numbers)
    rows, columns = np.zeros(size, np.int64), np.zeros(size, np.int64)
    filled = pattern.astype(np.int64)
    scratch = np.zeros((6, size))
    if _choose(numbers, filled, rows, columns, scratch, _THRESHOLD) < size:
        raise np.linalg.LinAlgError("a net has no voltage of its own")
    inside = filled[rows][:, columns] > 0
    slot = np.where(inside, np.cumsum(inside.ravel()).reshape(inside.shape) - 1, -1)
    below = [k + 1 + np.flatnonzero(inside[k + 1 :, k]) for k in range(size)]
    beside = [k + 1 + np.flatnonzero(inside[k, k + 1 :]) for k in range(size)]
    targets = [slot[one[:, None], other].ravel() for one, other in zip(below, beside, strict=True)]
    return Program(
        slot, rows, columns, slot.diagonal().copy(),
        _starts(below), _joined(slot[each, k] for k, each in enumerate(below)), _joined(below),
        _starts(beside), _joined(slot[k, each] for k, each in enumerate(beside)), _joined(beside),
        _starts(targets), _joined(targets),
    )  # fmt: skip


def _starts(lists: list[Whole]) -> Whole:
    return np.cumsum([0, *(len(each) for each in lists)])


def _joined(lists: Iterable[Whole]) -> Whole:
    return np.concatenate([np.zeros(0, np.int64), *lists])


@jit
def _choose(
    numbers: Complex, filled: Whole, rows: Whole, columns: Whole, scratch: Array, threshold: float
) -> int:  # pragma: no cover - compiled
    """Markowitz' choice: of the pivots that are large enough that which makes fewest new numbers."""
    size = len(rows)
    row_count, column_count, largest, row_done, column_done = 0, 1, 2, 3, 4
    for step in range(size):
        for i in range(size):
            scratch[row_count, i] = scratch[column_count, i] = scratch[largest, i] = 0.0
        for i in range(size):
            if scratch[row_done, i] == 0.0:
                for j in range(size):
                    if scratch[column_done, j] == 0.0 and filled[i, j] > 0:
                        scratch[row_count, i] += 1.0
                        scratch[column_count, j] += 1.0
                        big = abs(numbers[i, j].real) + abs(numbers[i, j].imag)
                        scratch[largest, j] = max(scratch[largest, j], big)
        best, share, row, column = 1e300, 0.0, -1, -1
        for i in range(size):
            if scratch[row_done, i] == 0.0:
                for j in range(size):
                    if scratch[column_done, j] == 0.0 and filled[i, j] > 0:
                        big = abs(numbers[i, j].real) + abs(numbers[i, j].imag)
                        if big > 0.0 and big >= threshold * scratch[largest, j]:
                            cost = (scratch[row_count, i] - 1.0) * (scratch[column_count, j] - 1.0)
                            own = big / scratch[largest, j]
                            if cost < best or (cost == best and own > share):
                                best, share, row, column = cost, own, i, j
        if row < 0:
            return step
        rows[step], columns[step] = row, column
        scratch[row_done, row] = scratch[column_done, column] = 1.0
        for i in range(size):
            if scratch[row_done, i] == 0.0 and filled[i, column] > 0:
                factor = numbers[i, column] / numbers[row, column]
                for j in range(size):
                    if scratch[column_done, j] == 0.0 and filled[row, j] > 0:
                        filled[i, j] = 1
                        numbers[i, j] -= factor * numbers[row, j]
    return size
