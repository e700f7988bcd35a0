"""The loop over samples, in code that is compiled: one matrix times what is known, then Newton's method.

The linear circuit has states s and is driven by the input u, by supplies that stay, and by the currents i that the
valves draw at their ports. For a step everything but the new currents is one product of a matrix with what is known;
what the new currents i and the new input u add stands beside it, and the ports' voltages v follow from the valves'
laws i(v). What is `known` after a step is then what the next one begins with.

      known                columns                   Newton
    +-----------+        +---------------+    p    +------------------+  v, i
    | states s  |------->| ports         |--(+)--->| v = p + K i(v)   |------+
    | currents i|        |---------------|   |     +------------------+      |
    | input u   |        | listened at   |--(+)--------------(+)-------------|--> heard
    | 1         |        |---------------|   |               |               |
    +-----------+        | next states s |   |           by_current * i <----+
      ^  ^  ^            +---------------+   |                               |
      |  |  |                    |     by_input * u + constant               |
      |  |  +--------------------|---- the new input u                       |
      |  +-----------------------|---- the new currents i <------------------+
      +--------------------------+
"""

from __future__ import annotations

from typing import Any

from .compiled import inline_late, jit
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
    add_eight,
    lead,
    multiply,
    newton,
)


@inline_late
def advance(columns: Any, heights: Any, known: Any, into: Any) -> None:
    """As `multiply`, of a matrix whose columns end at heights, one to each eight of them."""
    for row in range(into.shape[0]):
        into[row] = 0.0
    for eight in range(heights.shape[0]):
        add_eight(columns, 8 * eight, known, heights[eight], into)


@jit
def march(
    columns: Any,
    heights: Any,
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

    `columns` takes `known` (states, currents, last input, one) to what the circuit gives at the ports without the new
    currents, the same at the place listened at, and, from the next row divisible by eight on, the next states, of which
    there are `states`; `heights` as `advance` has them. After a sample that was not solved all is as before it, its
    voltages in row `LAST`.
    """
    ports = by_current.shape[0]
    first = 8 * (ports // 8 + 1)
    v, current, p, right, step = work[V], work[CURRENT], work[WANTED], work[RIGHT], work[STEP]
    for sample in range(signal.shape[0]):
        advance(columns, heights, known, into)
        drive = signal[sample]
        for port in range(ports):
            p[port] = into[port] + by_input[port] * drive + constant[port]
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
        out = into[ports] + by_input[ports] * drive + constant[ports]
        for port in range(ports):
            amount = current[port]
            out += by_current[port] * amount
            known[states + port] = amount
        for row in range(v.shape[0]):
            work[OLD_P, row] = p[row]
            work[ERROR, row] = v[row] - work[GUESS, row]
        for row in range(states):
            known[row] = into[first + row]
        known[states + ports] = drive
        heard[sample] = out
    return True
