"""Newton's method for the voltages across the valves, in code that is compiled.

Solves v = p + K i(v), where p is what the linear circuit gives. Factors are kept from sample to sample as long as
corrections fall; when they grow under fresh factors, the last step is halved (natural monotonicity test: P. Deuflhard,
Newton Methods for Nonlinear Problems, 2004, section 3.3). What does not converge is led there in small steps of p.

`seats` (valves, 4): law, grid table, first port, ports of each valve; `laws` (valves, parameters); `tables` (kinds,
rows, 2): grid current and slope; `coupling` is K transposed; `unit` one over the scale of each voltage [1/V]. `work`
(rows, ports): voltages, currents, residual, correction, and what was before. `factors` (2, ports, ports): the
triangular factors by columns, and the pivots' inverses. `state`: whether factors are there; counts.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from .compiled import currents, jit

V, CURRENT, RIGHT, STEP, BASE, OLD, OLD_P, WANTED, AHEAD, TRIAL = range(10)
ROWS = 10
FRESH, EVALUATIONS, FACTORISATIONS, REPAIRED, AT = range(5)
COUNTS = 5
TOLERANCE = 2e-3
TRIES = 40
SLOW = 0.2
# Grid tables: fine steps up to the first knot where the grid conducts well, wide ones from there.
LOWEST, KNEE, HIGHEST, FINE, WIDE = -3.0, 5.0, 105.0, 0.02, 0.5
FINE_COUNT = round((KNEE - LOWEST) / FINE)
KNOTS = FINE_COUNT + round((HIGHEST - KNEE) / WIDE) + 1
# As `equations.PATH`.
PATH = 1e-6


@jit
def grid_current(table: Any, volts: float) -> Any:
    """Current and slope at a grid voltage from a table, by cubics; beyond the table straight on."""
    if volts <= LOWEST:
        return table[0, 0], 0.0
    if volts >= HIGHEST:
        return table[KNOTS - 1, 0] + table[KNOTS - 1, 1] * (volts - HIGHEST), table[KNOTS - 1, 1]
    if volts < KNEE:
        step = FINE
        at = (volts - LOWEST) / FINE
        row = int(at)
        x = at - row
    else:
        step = WIDE
        at = (volts - KNEE) / WIDE
        row = int(at)
        x = at - row
        row += FINE_COUNT
    row = min(row, KNOTS - 2)
    low, high = table[row, 0], table[row + 1, 0]
    a, b = table[row, 1] * step, table[row + 1, 1] * step
    rise = high - low
    c, d = 3.0 * rise - 2.0 * a - b, a + b - 2.0 * rise
    return low + x * (a + x * (c + x * d)), (a + x * (2.0 * c + 3.0 * x * d)) / step


@jit
def evaluate(v: Any, seats: Any, laws: Any, tables: Any, current: Any, slopes: Any) -> None:
    """Currents through all ports, less what the linear circuit counts already, and their slopes (ports, 3)."""
    for seat in range(seats.shape[0]):
        kind, table, port = seats[seat, 0], seats[seat, 1], seats[seat, 2]
        whole = seats[seat, 3] == 3
        screen = v[port + 2] if whole else 0.0
        plate, a, b, c, other, d, e, f = currents(kind, laws[seat], v[port], v[port + 1], screen)
        grid, g = grid_current(tables[table], v[port + 1])
        current[port] = plate - PATH * v[port]
        slopes[port, 0], slopes[port, 1], slopes[port, 2] = a - PATH, b, c
        current[port + 1] = grid - PATH * v[port + 1]
        slopes[port + 1, 0], slopes[port + 1, 1], slopes[port + 1, 2] = 0.0, g - PATH, 0.0
        if whole:
            current[port + 2] = other - PATH * screen
            slopes[port + 2, 0], slopes[port + 2, 1], slopes[port + 2, 2] = d, e, f - PATH


@jit
def factorise(seats: Any, coupling: Any, slopes: Any, factors: Any) -> None:
    """Triangular factors of 1 - K i'(v)."""
    lower, inverse = factors[0], factors[1, 0]
    count = coupling.shape[0]
    for seat in range(seats.shape[0]):
        port, width = seats[seat, 2], seats[seat, 3]
        for column in range(width):
            into = lower[port + column]
            for row in range(count):
                into[row] = 0.0
            into[port + column] = 1.0
            for source in range(width):
                slope = slopes[port + source, column]
                if slope != 0.0:
                    by = coupling[port + source]
                    for row in range(count):
                        into[row] -= by[row] * slope
    for pivot in range(count):
        left = lower[pivot]
        inverse[pivot] = 1.0 / left[pivot]
        for row in range(pivot + 1, count):
            left[row] *= inverse[pivot]
        for column in range(pivot + 1, count):
            right = lower[column]
            factor = right[pivot]
            if factor != 0.0:
                for row in range(pivot + 1, count):
                    right[row] -= factor * left[row]


@jit
def solve(factors: Any, right: Any, found: Any) -> None:
    """Solve with the factors."""
    lower, inverse = factors[0], factors[1, 0]
    count = inverse.shape[0]
    for row in range(count):
        found[row] = right[row]
    for column in range(count):
        factor, by = found[column], lower[column]
        for row in range(column + 1, count):
            found[row] -= factor * by[row]
    for column in range(count - 1, -1, -1):
        by = lower[column]
        factor = found[column] * inverse[column]
        found[column] = factor
        for row in range(column):
            found[row] -= factor * by[row]


@jit
def residual(p: Any, coupling: Any, v: Any, current: Any, right: Any) -> None:
    """What is left of v = p + K i."""
    count = coupling.shape[0]
    for row in range(count):
        right[row] = p[row] - v[row]
    for source in range(count):
        by, amount = coupling[source], current[source]
        for row in range(count):
            right[row] += by[row] * amount


@jit
def largest(step: Any, unit: Any) -> float:
    """Size of a correction in scaled volts; NaN stays NaN."""
    size = 0.0
    for row in range(step.shape[0]):
        one = abs(step[row]) * unit[row]
        if not one <= size:
            size = one
    return size


@jit
def finish(seats: Any, work: Any, slopes: Any) -> None:
    """Take the last correction, and the currents with it."""
    v, current, step = work[V], work[CURRENT], work[STEP]
    for seat in range(seats.shape[0]):
        port, width = seats[seat, 2], seats[seat, 3]
        for row in range(width):
            for column in range(width):
                current[port + row] += slopes[port + row, column] * step[port + column]
    for row in range(v.shape[0]):
        v[row] += step[row]


@jit
def newton(
    p: Any,
    seats: Any,
    laws: Any,
    tables: Any,
    coupling: Any,
    unit: Any,
    work: Any,
    slopes: Any,
    factors: Any,
    state: Any,
) -> bool:
    """Solve from the voltages in `work`; whether it converged."""
    v, current, right, step, base = work[V], work[CURRENT], work[RIGHT], work[STEP], work[BASE]
    damping, last, new = 1.0, np.inf, False
    for turn in range(TRIES):
        evaluate(v, seats, laws, tables, current, slopes)
        state[EVALUATIONS] += 1
        residual(p, coupling, v, current, right)
        made = state[FRESH] == 0
        if made:
            factorise(seats, coupling, slopes, factors)
            state[FACTORISATIONS] += 1
            state[FRESH] = 1
        solve(factors, right, step)
        size = largest(step, unit)
        if size <= TOLERANCE:
            finish(seats, work, slopes)
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
            factorise(seats, coupling, slopes, factors)
            state[FACTORISATIONS] += 1
            solve(factors, right, step)
            size = largest(step, unit)
            made = True
            if size <= TOLERANCE:
                finish(seats, work, slopes)
                return True
        new, last = made, size
        damping = min(1.0, 2.0 * damping)
        for row in range(v.shape[0]):
            base[row] = v[row]
            work[TRIAL, row] = step[row]
            v[row] += damping * step[row]
    return False


@jit
def lead(
    seats: Any, laws: Any, tables: Any, coupling: Any, unit: Any, work: Any, slopes: Any, factors: Any, state: Any
) -> bool:
    """Go from the old p and its solution to the new p in steps as small as needed; whether it arrived."""
    v, p, old, before, ahead = work[V], work[WANTED], work[OLD], work[OLD_P], work[AHEAD]
    done, length = 0.0, 0.5
    while done < 1.0:
        share = min(1.0, done + length)
        for row in range(v.shape[0]):
            v[row] = old[row]
            ahead[row] = before[row] + share * (p[row] - before[row])
        state[FRESH] = 0
        if newton(ahead, seats, laws, tables, coupling, unit, work, slopes, factors, state):
            done = share
            length *= 2.0
            for row in range(v.shape[0]):
                old[row] = v[row]
        else:
            length *= 0.5
            if length < 1e-7:
                return False
    return True
