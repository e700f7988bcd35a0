"""What the compiled loop works on, in named tuples, which compiled code takes as one argument each.

Ports are the places where valve current flows. There is a multiple of eight; through those added for that nothing
flows. Matrices are stored by columns.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

# Rows of `Solver.work`: voltages [V] and currents [A] of the ports, residual, correction, and what was before.
V, CURRENT, RIGHT, STEP, BASE, OLD, OLD_P, WANTED, AHEAD, TRIAL, LAST, GUESS, ERROR, BEFORE, EARLIER = range(15)
# Of steps that adapt: the last three voltages of the ports, and the parabola through them at the next step.
FIRST, SECOND, THIRD, PREDICTED = range(15, 19)
# The slopes [S] that the inverse was made of, by the port whose current it is: three rows, of a valve's electrodes. Two
# rows are where it is mended.
HELD, CHANGE, ALONG = 19, 22, 23
ROWS = 24
# Places of `Solver.state`: whether there is an inverse, counts, and the last sample.
FRESH, EVALUATIONS, FACTORISATIONS, REPAIRED, AT = range(5)
# Of steps that adapt: how fine, how long the last two were, how many rows were kept, and how far the sample has come.
FINENESS, LAST_TICKS, TICKS_BEFORE, KEPT, TICK = range(5, 10)
# Whether the inverse is mended valve by valve.
MENDING = 10
COUNTS = 11
# How large the last correction of a sample may be [ratio], where nothing finer is asked.
TOLERANCE = 1e-3


class Valves(NamedTuple):
    """Valves in blocks of four of one law, as `differentiate` writes the laws for.

    `spans` (blocks, 3): a block's law, its electrodes, its valves. `places` (blocks, 12): the ports of its plates, of
    its grids, of its screens; where there is no valve, those of the first. `grids` (blocks, 4): each valve's table in
    `tables` (kinds, knots, 2): grid current [A] and slope [S]. `blocks`: parameters, voltages, currents and slopes.
    """

    spans: Integers
    places: Integers
    grids: Integers
    blocks: Array
    tables: Array


class Solver(NamedTuple):
    """The equations v = p + K i(v) but for p, and what solving them leaves behind.

    `coupling` is K [ohm]; `unit` one over the scale of each voltage [1/V], `tolerance` how large the last correction
    may be [ratio]. `work` (rows, ports), `inverse` (ports, ports) of Newton's matrix, and `state`: see above.
    """

    valves: Valves
    coupling: Array
    unit: Array
    tolerance: float
    work: Array
    inverse: Array
    state: Integers


class Step(NamedTuple):
    """One step of the linear circuit in time.

    `columns` takes what is known (states, currents, last inputs, one) to the ports' voltages without the new currents,
    the same at the places listened at, and, from the next row divisible by eight on, the next states, of which there
    are `states`; `heights` says how far each eight columns reach. `by_input` (inputs, rows), `constant` (rows: ports,
    places listened at): what the new inputs and the supplies add. `by_current` (places, ports) [ohm]: what the new
    currents add at the places listened at.
    """

    columns: Array
    heights: Integers
    by_input: Array
    constant: Array
    by_current: Array
    states: int


class Levels(NamedTuple):
    """Steps of one linear circuit, each half as long as the one before.

    Each entry is a stack of those of `Step`, and of `Solver.coupling`. The states of all are turned alike; `offset`
    (levels, currents and inputs and one, states) is what each keeps apart from them: x = turned (s + offset w).
    `ticks`: how many of the finest that may be asked for are one of the first; those that were not yet are not there.
    """

    columns: Array
    heights: Integers
    by_input: Array
    constant: Array
    by_current: Array
    coupling: Array
    offset: Array
    states: int
    ticks: int
