"""The loop over samples, in code that is compiled: one matrix times what is known, then Newton's method.

The linear circuit has states s and is driven by the input u (and by what comes late out of lines, if it has some, as
more such inputs), by supplies that stay, and by the currents i that the
valves draw at their ports. For a step everything but the new currents is one product of a matrix with what is known;
what the new currents i and the new input u add stands beside it, and the ports' voltages v follow from the valves'
laws i(v). What is `known` after a step is then what the next one begins with.

      known                Step.columns              Solver
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

from .columns import add_eight, multiply
from .compiled import inline_late, jit
from .kernel_arguments import (
    AT,
    BEFORE,
    CURRENT,
    EARLIER,
    ERROR,
    GUESS,
    LAST,
    OLD,
    OLD_P,
    REPAIRED,
    RIGHT,
    STEP,
    WANTED,
    Array,
    Integers,
    Solver,
    Step,
    V,
)
from .newton import lead, newton


@inline_late
def advance(columns: Array, heights: Integers, known: Array, into: Array) -> None:
    """As `multiply`, of a matrix whose columns end early.

    Parameters
    ----------
    columns : ndarray
        `Step.columns`.
    heights : ndarray
        `Step.heights`: where each eight columns end.
    known : ndarray
        States, currents [A], last inputs [V], one; filled up to a multiple of eight.
    into : ndarray
        Takes the product.
    """
    for row in range(into.shape[0]):
        into[row] = 0.0
    for eight in range(heights.shape[0]):
        add_eight(columns, 8 * eight, known, heights[eight], into)


# The order of the arguments is for speed: with `solver` before the vectors LLVM makes a loop of up to twice the time.
@jit
def march(
    step: Step,
    begin: int,
    signal: Array,
    heard: Array,
    every: int,
    record: Array,
    known: Array,
    into: Array,
    solver: Solver,
) -> bool:
    """Go through the samples of a signal; whether all were solved.

    After a sample that was not solved all is as before it, its voltages in row `LAST`.

    Parameters
    ----------
    step : Step
        The linear circuit.
    begin : int
        The sample to begin with.
    signal : ndarray
        The inputs [V], shape (samples, inputs).
    heard : ndarray
        Takes what is heard [V], shape (samples, places).
    every : int
        After which samples `known` is kept: this one of each so many.
    record : ndarray
        Takes `known` then, a row each, where it has a row for it.
    known : ndarray
        States, currents [A], last inputs [V], one; afterwards those after the last sample.
    into : ndarray
        Room for the product of the matrix with `known`.
    solver : Solver
        The valves behind the circuit.
    """
    columns, heights, states = step.columns, step.heights, step.states
    by_input, constant, by_current = step.by_input, step.constant, step.by_current
    work, inverse, state = solver.work, solver.inverse, solver.state
    places, ports = by_current.shape
    inputs, first = by_input.shape[0], 8 * ((ports + places + 7) // 8)
    by_first = by_input[0]
    v, current, p, right, change = work[V], work[CURRENT], work[WANTED], work[RIGHT], work[STEP]
    row_of = begin // every
    due = (row_of + 1) * every - 1
    for sample in range(begin, signal.shape[0]):
        advance(columns, heights, known, into)
        drive = signal[sample, 0]
        for port in range(ports):
            p[port] = into[port] + by_first[port] * drive + constant[port]
        for more in range(1, inputs):
            for port in range(ports):
                p[port] += by_input[more, port] * signal[sample, more]
        # Newton's step from the last voltages needs no law: it is the change of p through the kept inverse. What that
        # missed at the last three samples goes on as the straight line nearest to it (least squares).
        for row in range(v.shape[0]):
            work[OLD, row] = v[row]
            right[row] = p[row] - work[OLD_P, row]
        multiply(inverse, right, change)
        for row in range(v.shape[0]):
            work[GUESS, row] = v[row] + change[row]
            v[row] = work[GUESS, row] + (4.0 * work[ERROR, row] + work[BEFORE, row] - 2.0 * work[EARLIER, row]) / 3.0
        if not newton(p, solver):
            state[REPAIRED] += 1
            for row in range(v.shape[0]):
                work[LAST, row] = work[OLD, row]
            if not lead(solver):
                state[AT] = sample
                return False
        for place in range(places):
            out = into[ports + place] + by_first[ports + place] * drive + constant[ports + place]
            for more in range(1, inputs):
                out += by_input[more, ports + place] * signal[sample, more]
            for port in range(ports):
                out += by_current[place, port] * current[port]
            heard[sample, place] = out
        for port in range(ports):
            known[states + port] = current[port]
        for row in range(v.shape[0]):
            work[OLD_P, row] = p[row]
            work[EARLIER, row] = work[BEFORE, row]
            work[BEFORE, row] = work[ERROR, row]
            work[ERROR, row] = v[row] - work[GUESS, row]
        for row in range(states):
            known[row] = into[first + row]
        for each in range(inputs):
            known[states + ports + each] = signal[sample, each]
        if sample == due:
            if row_of < record.shape[0]:
                for row in range(states + ports + inputs + 1):
                    record[row_of, row] = known[row]
            row_of += 1
            due += every
    return True
