"""A matrix stored by columns times a vector, eight columns at a time, in code that is compiled."""

from __future__ import annotations

from .compiled import inline_late
from .kernel_arguments import Array


@inline_late
def add_eight(columns: Array, column: int, known: Array, height: int, into: Array) -> None:
    """Add eight columns of a matrix times their numbers.

    Parameters
    ----------
    columns : ndarray
        The matrix, stored by columns.
    column : int
        The first of the eight.
    known : ndarray
        A number to each column, in the unit of what it stands for, such as [V] or [A].
    height : int
        How many rows to add; below them the columns are zero.
    into : ndarray
        Added to.
    """
    a, b, c, d = known[column], known[column + 1], known[column + 2], known[column + 3]
    e, f, g, h = known[column + 4], known[column + 5], known[column + 6], known[column + 7]
    one, two, three, four = columns[column], columns[column + 1], columns[column + 2], columns[column + 3]
    five, six, seven, eight = columns[column + 4], columns[column + 5], columns[column + 6], columns[column + 7]
    for row in range(height):
        first = one[row] * a + two[row] * b + three[row] * c + four[row] * d
        into[row] += first + (five[row] * e + six[row] * f + seven[row] * g + eight[row] * h)


@inline_late
def multiply(columns: Array, known: Array, into: Array) -> None:
    """Matrix, stored by columns, times a vector, such as K [ohm] times currents [A]; a multiple of eight columns."""
    for row in range(into.shape[0]):
        into[row] = 0.0
    add_product(columns, known, into)


@inline_late
def add_product(columns: Array, known: Array, into: Array) -> None:
    """As `multiply`, added to what is there [V]."""
    for column in range(0, known.shape[0], 8):
        add_eight(columns, column, known, into.shape[0], into)
