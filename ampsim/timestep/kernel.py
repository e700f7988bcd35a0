"""The loop over samples, in code that is compiled: one matrix times what is known, then Newton's method."""

from __future__ import annotations

from typing import Any

from .compiled import jit
from .newton import (
    AT,
    CURRENT,
    ERROR,
    GUESS,
    LAST,
    OLD,
    OLD_P,
    REPAIRED,
    RIGHT,
    STEP,
    WANTED,
    V,
    lead,
    multiply,
    newton,
)


@jit
def march(
    columns: Any,
    by_input: Any,
    constant: Any,
    by_current: Any,
    states: int,
    signal: Any,
    heard: Any,
    known: Any,
    into: Any,
    spans: Any,
    places: Any,
    grids: Any,
    blocks: Any,
    tables: Any,
    coupling: Any,
    unit: Any,
    work: Any,
    inverse: Any,
    state: Any,
) -> bool:
    """Go through the samples of `signal` [V] and put what is heard into `heard` [V]; whether all were solved.

    `columns` takes `known` (states, currents, last input, one) to the next states, what the circuit gives at the
    ports without the new currents, and the same at the place listened at. After a sample that was not solved all is as
    before it, its voltages in row `LAST`. There are `states` states.
    """
    ports = by_current.shape[0]
    v, current, p, right, step = work[V], work[CURRENT], work[WANTED], work[RIGHT], work[STEP]
    for sample in range(signal.shape[0]):
        multiply(columns, known, into)
        drive = signal[sample]
        for port in range(ports):
            p[port] = into[states + port] + by_input[port] * drive + constant[port]
        # Newton's step from the last voltages needs no law: it is the change of p through the kept inverse. What that
        # missed at the last sample it will about miss again.
        for row in range(v.shape[0]):
            work[OLD, row] = v[row]
            right[row] = p[row] - work[OLD_P, row]
        multiply(inverse, right, step)
        for row in range(v.shape[0]):
            work[GUESS, row] = v[row] + step[row]
            v[row] = work[GUESS, row] + work[ERROR, row]
        if not newton(p, spans, places, grids, blocks, tables, coupling, unit, work, inverse, state):
            state[REPAIRED] += 1
            for row in range(v.shape[0]):
                work[LAST, row] = work[OLD, row]
            if not lead(spans, places, grids, blocks, tables, coupling, unit, work, inverse, state):
                state[AT] = sample
                return False
        out = into[states + ports] + by_input[ports] * drive + constant[ports]
        for port in range(ports):
            amount = current[port]
            out += by_current[port] * amount
            known[states + port] = amount
        for row in range(v.shape[0]):
            work[OLD_P, row] = p[row]
            work[ERROR, row] = v[row] - work[GUESS, row]
        for row in range(states):
            known[row] = into[row]
        known[states + ports] = drive
        heard[sample] = out
    return True
