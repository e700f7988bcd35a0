"""The loop over samples, in code that is compiled: one matrix times what is known, then Newton's method."""

from __future__ import annotations

from typing import Any

from .compiled import jit
from .newton import AT, CURRENT, OLD, OLD_P, REPAIRED, WANTED, V, lead, newton


@jit
def multiply(columns: Any, known: Any, into: Any) -> None:
    """Matrix, stored by columns, times a vector; both sizes are multiples of four and eight."""
    height = into.shape[0]
    for row in range(height):
        into[row] = 0.0
    for column in range(0, known.shape[0], 4):
        a, b, c, d = known[column], known[column + 1], known[column + 2], known[column + 3]
        one, two, three, four = columns[column], columns[column + 1], columns[column + 2], columns[column + 3]
        for row in range(height):
            into[row] += one[row] * a + two[row] * b + three[row] * c + four[row] * d


@jit
def march(
    columns: Any,
    by_input: Any,
    constant: Any,
    by_current: Any,
    places: Any,
    signal: Any,
    heard: Any,
    known: Any,
    into: Any,
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
    """Go through the samples of `signal` [V] and put what is heard into `heard` [V]; whether all were solved.

    `columns` takes `known` (states, currents, last input, one) to the next states, what the circuit gives at the
    ports without the new currents, and the same at the place listened at: `places` says how many of each.
    """
    states, ports = places[0], places[1]
    v, current, p = work[V], work[CURRENT], work[WANTED]
    for sample in range(signal.shape[0]):
        multiply(columns, known, into)
        drive = signal[sample]
        for port in range(ports):
            p[port] = into[states + port] + by_input[port] * drive + constant[port]
        for port in range(ports):
            ahead = 2.0 * v[port] - work[OLD, port]
            work[OLD, port] = v[port]
            v[port] = ahead
        if not newton(p, seats, laws, tables, coupling, unit, work, slopes, factors, state):
            state[REPAIRED] += 1
            if not lead(seats, laws, tables, coupling, unit, work, slopes, factors, state):
                state[AT] = sample
                return False
        out = into[states + ports] + by_input[ports] * drive + constant[ports]
        for port in range(ports):
            out += by_current[port] * current[port]
            known[states + port] = current[port]
            work[OLD_P, port] = p[port]
        for row in range(states):
            known[row] = into[row]
        known[states + ports] = drive
        heard[sample] = out
    return True
