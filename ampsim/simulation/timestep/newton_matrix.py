"""The inverse of Newton's matrix 1 - K i'(v), in code that is compiled: made whole, or mended where valves have moved.

At most samples few valves change their slopes. Each current whose slopes changed is one column of K times one row of
slopes, so the inverse follows by a product and a sum (J. Sherman, W. J. Morrison, Adjustment of an inverse matrix
corresponding to a change in one element of a given matrix, 1950; from memory), at a tenth of what making it anew takes.
"""

from __future__ import annotations

from .columns import multiply
from .compiled import jit
from .differentiate import GRID, LANES, PLATE, SCREEN
from .kernel_arguments import ALONG, CHANGE, FACTORISATIONS, HELD, STEP, Array, Solver, Valves

# As `state_space.PATH`.
PATH = 1e-6
# Of the next correction, how much a current may put wrong by slopes that are left as they were [ratio].
_LEFT = 0.02
# A change that takes the matrix so near to one without an inverse [ratio] is none to go on from.
_LEAST = 1e-3


@jit
def slope_of(block: Array, lane: int, row: int, column: int) -> float:
    """How the current of a valve's port goes with the voltage of another of its ports [S].

    Parameters
    ----------
    block : ndarray
        A block of `Valves.blocks`, after `evaluate`.
    lane : int
        The valve's place in the block.
    row, column : int
        The port with the current, the port with the voltage: 0 plate, 1 grid, 2 screen.
    """
    own = PATH if row == column else 0.0
    if row == 1:
        return block[GRID * LANES + lane] - own if column == 1 else 0.0
    return float(block[((PLATE if row == 0 else SCREEN) + 1 + column) * LANES + lane] - own)


@jit
def invert(valves: Valves, coupling: Array, inverse: Array) -> None:
    """Inverse of 1 - K i'(v), by columns, by Gauss and Jordan's method; `coupling` is K [ohm]."""
    spans, places, blocks = valves.spans, valves.places, valves.blocks
    width = coupling.shape[0]
    for column in range(width):
        for row in range(width):
            inverse[column, row] = 0.0
        inverse[column, column] = 1.0
    for number in range(spans.shape[0]):
        rows, block, place = spans[number, 1], blocks[number], places[number]
        for lane in range(spans[number, 2]):
            for column in range(rows):
                into = inverse[place[column * LANES + lane]]
                for source in range(rows):
                    slope, by = slope_of(block, lane, source, column), coupling[place[source * LANES + lane]]
                    if slope != 0.0:
                        for row in range(width):
                            into[row] -= by[row] * slope
    for number in range(spans.shape[0]):
        for pin in range(spans[number, 1]):
            for lane in range(spans[number, 2]):
                eliminate(inverse, places[number, pin * LANES + lane])


@jit
def eliminate(inverse: Array, pivot: int) -> None:
    """One step of Gauss and Jordan's method, four columns at a time, on a matrix of numbers [ratio]."""
    width = inverse.shape[0]
    own = inverse[pivot]
    by = 1.0 / own[pivot]
    own[pivot] = 0.0
    for column in range(0, width, 4):
        one, two, three, four = inverse[column], inverse[column + 1], inverse[column + 2], inverse[column + 3]
        a, b, c, d = one[pivot] * by, two[pivot] * by, three[pivot] * by, four[pivot] * by
        for row in range(width):
            factor = own[row]
            one[row] -= a * factor
            two[row] -= b * factor
            three[row] -= c * factor
            four[row] -= d * factor
        one[pivot], two[pivot], three[pivot], four[pivot] = a, b, c, d
    for row in range(width):
        own[row] *= -by
    own[pivot] = by


@jit
def renew(solver: Solver) -> None:
    """Make the inverse anew, of the slopes as they are."""
    invert(solver.valves, solver.coupling, solver.inverse)
    solver.state[FACTORISATIONS] += 1
    valves, work = solver.valves, solver.work
    for number in range(valves.spans.shape[0]):
        rows, block, place = valves.spans[number, 1], valves.blocks[number], valves.places[number]
        for lane in range(valves.spans[number, 2]):
            for source in range(rows):
                for column in range(rows):
                    work[HELD + column, place[source * LANES + lane]] = slope_of(block, lane, source, column)


@jit
def mend(solver: Solver, size: float) -> bool:
    """Mend the inverse for the currents whose slopes have changed; whether that was all there is to do.

    Parameters
    ----------
    solver : Solver
        After `evaluate`, its correction as the inverse has it.
    size : float
        Of that correction, in the units of the ports [ratio].
    """
    spans, places, blocks = solver.valves.spans, solver.valves.places, solver.valves.blocks
    work, coupling, unit = solver.work, solver.coupling, solver.unit
    step, found = work[STEP], False
    for number in range(spans.shape[0]):
        rows, block, place = spans[number, 1], blocks[number], places[number]
        for lane in range(spans[number, 2]):
            for source in range(rows):
                port, more = place[source * LANES + lane], 0.0
                for column in range(rows):
                    slope = slope_of(block, lane, source, column)
                    more += (slope - work[HELD + column, port]) * step[place[column * LANES + lane]]
                if abs(more * coupling[port, port]) * unit[port] > _LEFT * size:
                    if not follow(solver, number, lane, source):
                        return False
                    found = True
    return found


@jit
def follow(solver: Solver, number: int, lane: int, source: int) -> bool:
    """Put the new slopes of one current into the inverse; whether it can be.

    Parameters
    ----------
    solver : Solver
    number, lane : int
        The block of the valve, its place in it.
    source : int
        Which of its currents: 0 plate, 1 grid, 2 screen.
    """
    rows, block, place = solver.valves.spans[number, 1], solver.valves.blocks[number], solver.valves.places[number]
    work, inverse = solver.work, solver.inverse
    port, by = place[source * LANES + lane], work[ALONG]
    multiply(inverse, solver.coupling[port], by)
    whole = 1.0
    for column in range(rows):
        at = place[column * LANES + lane]
        work[CHANGE, at] = slope_of(block, lane, source, column) - work[HELD + column, port]
        whole -= work[CHANGE, at] * by[at]
    if not abs(whole) > _LEAST:
        return False
    for own in range(inverse.shape[0]):
        into, share = inverse[own], 0.0
        for column in range(rows):
            at = place[column * LANES + lane]
            share += work[CHANGE, at] * into[at]
        share /= whole
        for row in range(inverse.shape[0]):
            into[row] += share * by[row]
    for column in range(rows):
        work[HELD + column, port] += work[CHANGE, place[column * LANES + lane]]
    return True
