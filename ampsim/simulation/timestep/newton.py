"""Newton's method for the voltages across the valves, in code that is compiled.

Solves v = p + K i(v), where p is what the linear circuit gives. The inverse of the matrix is kept from sample to sample
as long as corrections fall; when they grow under a fresh one, the last step is halved (natural monotonicity test:
P. Deuflhard, Newton Methods for Nonlinear Problems, 2004, section 3.3). What does not converge is led there in small
steps of p.
"""

from __future__ import annotations

import numpy as np

from .columns import add_product, multiply
from .compiled import inline_late, jit
from .compiled_laws import currents
from .differentiate import GRID, LANES, PLATE, SCREEN
from .grid_currents import grid_current
from .kernel_arguments import (
    AHEAD,
    BASE,
    CURRENT,
    EVALUATIONS,
    FRESH,
    MENDING,
    OLD,
    OLD_P,
    RIGHT,
    STEP,
    TRIAL,
    WANTED,
    Array,
    Solver,
    V,
    Valves,
)
from .newton_matrix import PATH, mend, renew

TRIES = 40
SLOW = 0.2
# How often within a sample the inverse is mended before it is made anew.
MENDS = 3


@inline_late
def evaluate(v: Array, valves: Valves, current: Array) -> None:
    """Work out the currents [A] through all ports at the voltages `v` [V]; their slopes [S] stay in the blocks.

    The linear circuit counts `PATH` across each port already: that is left out.
    """
    spans, places, grids, blocks, tables = valves.spans, valves.places, valves.grids, valves.blocks, valves.tables
    for number in range(spans.shape[0]):
        rows, count, block, place = spans[number, 1], spans[number, 2], blocks[number], places[number]
        for lane in range(rows * LANES):
            block[lane] = v[place[lane]]
        currents(spans[number, 0], block)
        for lane in range(count):
            current[place[lane]] = block[PLATE * LANES + lane] - PATH * block[lane]
            if rows == 1:
                continue
            volts = block[LANES + lane]
            grid, block[GRID * LANES + lane] = grid_current(tables[grids[number, lane]], volts)
            current[place[LANES + lane]] = grid - PATH * volts
        if rows == 3:
            for lane in range(count):
                at = 2 * LANES + lane
                current[place[at]] = block[SCREEN * LANES + lane] - PATH * block[at]


@inline_late
def residual(p: Array, coupling: Array, v: Array, current: Array, right: Array) -> None:
    """What is left of v = p + K i.

    Parameters
    ----------
    p : ndarray
        What the linear circuit gives at the ports [V].
    coupling : ndarray
        K [ohm], by columns.
    v : ndarray
        Voltages of the ports [V].
    current : ndarray
        Their currents [A].
    right : ndarray
        Takes p + K i - v [V].
    """
    for row in range(right.shape[0]):
        right[row] = p[row] - v[row]
    add_product(coupling, current, right)


@inline_late
def largest(step: Array, unit: Array) -> float:
    """Greatest of the corrections [V], each times its unit [1/V]; NaN stays NaN."""
    # Four side by side: in a row each would wait for the one before.
    a, b, c, d = 0.0, 0.0, 0.0, 0.0
    for row in range(0, step.shape[0], 4):
        a = _larger(a, abs(step[row]) * unit[row])
        b = _larger(b, abs(step[row + 1]) * unit[row + 1])
        c = _larger(c, abs(step[row + 2]) * unit[row + 2])
        d = _larger(d, abs(step[row + 3]) * unit[row + 3])
    return _larger(_larger(a, b), _larger(c, d))


@inline_late
def _larger(one: float, other: float) -> float:
    """The larger of two sizes [ratio]; NaN where one of them is."""
    return one if other <= one or one != one else other


@inline_late
def finish(valves: Valves, work: Array) -> None:
    """Take the last correction of the voltages [V], and the currents with it, in `work`."""
    spans, places, blocks = valves.spans, valves.places, valves.blocks
    v, current, step = work[V], work[CURRENT], work[STEP]
    for number in range(spans.shape[0]):
        rows, block, place = spans[number, 1], blocks[number], places[number]
        for lane in range(spans[number, 2]):
            plate = step[place[lane]]
            slope = (PLATE + 1) * LANES + lane
            more = (block[slope] - PATH) * plate
            if rows == 1:
                current[place[lane]] += more
                continue
            grid = step[place[LANES + lane]]
            more += block[slope + LANES] * grid
            current[place[LANES + lane]] += (block[GRID * LANES + lane] - PATH) * grid
            if rows == 3:
                at = place[2 * LANES + lane]
                screen = step[at]
                more += block[slope + 2 * LANES] * screen
                slope = (SCREEN + 1) * LANES + lane
                last = block[slope] * plate + block[slope + LANES] * grid
                current[at] += last + (block[slope + 2 * LANES] - PATH) * screen
            current[place[lane]] += more
    for row in range(v.shape[0]):
        v[row] += step[row]


@jit
def newton(p: Array, solver: Solver) -> bool:
    """Solve v = p + K i(v) from the voltages in `Solver.work`, `p` in [V]; whether it converged."""
    work, coupling, inverse, unit, state = solver.work, solver.coupling, solver.inverse, solver.unit, solver.state
    v, current, right, step, base = work[V], work[CURRENT], work[RIGHT], work[STEP], work[BASE]
    tolerance = solver.tolerance
    damping, last, new, mended = 1.0, np.inf, False, 0
    for turn in range(TRIES):
        evaluate(v, solver.valves, current)
        state[EVALUATIONS] += 1
        residual(p, coupling, v, current, right)
        made = state[FRESH] == 0
        if made:
            renew(solver)
            state[FRESH] = 1
        multiply(inverse, right, step)
        size = largest(step, unit)
        if size <= tolerance:
            finish(solver.valves, work)
            return True
        if not size <= SLOW * last and turn > 0 and not made:
            if new and not size <= (1.0 - 0.5 * damping) * last:
                damping *= 0.5
                if damping < 1e-3:
                    return False
                for row in range(v.shape[0]):
                    v[row] = base[row] + damping * work[TRIAL, row]
                continue
            if not new and not size <= last:
                state[FRESH] = 0
                for row in range(v.shape[0]):
                    v[row] = base[row]
                last = np.inf
                continue
            # A few times to a sample the valves that have moved are enough; then all of it is made anew.
            made = not (state[MENDING] == 1 and mended < MENDS and mend(solver, size))
            if made:
                renew(solver)
            mended += 1
            multiply(inverse, right, step)
            size = largest(step, unit)
            if size <= tolerance:
                finish(solver.valves, work)
                return True
        new, last = made, size
        damping = min(1.0, 2.0 * damping)
        for row in range(v.shape[0]):
            base[row] = v[row]
            work[TRIAL, row] = step[row]
            v[row] += damping * step[row]
    return False


@jit
def lead(solver: Solver) -> bool:
    """Go from the old p and its solution to the new p in steps as small as needed; whether it arrived."""
    work = solver.work
    v, p, old, before, ahead = work[V], work[WANTED], work[OLD], work[OLD_P], work[AHEAD]
    done, length = 0.0, 0.5
    while done < 1.0:
        share = min(1.0, done + length)
        for row in range(v.shape[0]):
            v[row] = old[row]
            ahead[row] = before[row] + share * (p[row] - before[row])
        solver.state[FRESH] = 0
        if newton(ahead, solver):
            done = share
            length *= 2.0
            for row in range(v.shape[0]):
                old[row] = v[row]
        else:
            length *= 0.5
            if length < 1e-7:
                return False
    return True
