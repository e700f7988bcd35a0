"""The loop over samples, in code that is compiled: one matrix times what is known, then Newton's method."""

from __future__ import annotations

from typing import Any

from .compiled import jit
from .newton import AT, CURRENT, LAST, OLD, OLD_P, REPAIRED, RIGHT, STEP, WANTED, V, lead, multiply, newton


@jit
def march(
    columns: Any,
    by_input: Any,
    constant: Any,
    by_current: Any,
    at: Any,
    signal: Any,
    heard: Any,
    known: Any,
    into: Any,
    spans: Any,
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
    before it, its voltages in row `LAST`. `at` says where each port is
    in `work`, and last how many states there are.
    """
    ports, states = at.shape[0] - 1, at[at.shape[0] - 1]
    v, current, p, right, step = work[V], work[CURRENT], work[WANTED], work[RIGHT], work[STEP]
    for sample in range(signal.shape[0]):
        multiply(columns, known, into)
        drive = signal[sample]
        for port in range(ports):
            p[at[port]] = into[states + port] + by_input[port] * drive + constant[port]
        # Newton's step from the last voltages needs no law: it is the change of p through the kept inverse.
        for row in range(v.shape[0]):
            work[OLD, row] = v[row]
            right[row] = p[row] - work[OLD_P, row]
        multiply(inverse, right, step)
        for row in range(v.shape[0]):
            v[row] += step[row]
        if not newton(p, spans, grids, blocks, tables, coupling, unit, work, inverse, state):
            state[REPAIRED] += 1
            for row in range(v.shape[0]):
                work[LAST, row] = work[OLD, row]
            if not lead(spans, grids, blocks, tables, coupling, unit, work, inverse, state):
                state[AT] = sample
                return False
        out = into[states + ports] + by_input[ports] * drive + constant[ports]
        for port in range(ports):
            amount = current[at[port]]
            out += by_current[port] * amount
            known[states + port] = amount
        for row in range(v.shape[0]):
            work[OLD_P, row] = p[row]
        for row in range(states):
            known[row] = into[row]
        known[states + ports] = drive
        heard[sample] = out
    return True
