"""Steps that adapt to what happens, in code that is compiled: samples are taken in halves of halves where it is needed.

A step is as fine as it should be when a parabola through the last three voltages of a port meets the next one. Where it
does not, the step is thrown away and taken in halves; where it does by far, the next is twice as long. Stepping so,
without a second solution, is how simulators of circuits do it (L. W. Nagel, SPICE2, UCB/ERL M520, 1975, section 4.3).
"""

from __future__ import annotations

from .columns import multiply
from .compiled import inline_late, jit
from .kernel import advance
from .kernel_arguments import (
    AT,
    BEFORE,
    CURRENT,
    EARLIER,
    ERROR,
    FINENESS,
    FIRST,
    FRESH,
    GUESS,
    KEPT,
    LAST_TICKS,
    OLD,
    OLD_P,
    PREDICTED,
    REPAIRED,
    RIGHT,
    SECOND,
    STEP,
    THIRD,
    TICK,
    TICKS_BEFORE,
    WANTED,
    Array,
    Integers,
    Levels,
    Solver,
    V,
)
from .newton import largest, lead, newton

DONE, FULL, LOST, FINER = range(4)
# With less of the tolerance a step is followed by one twice as long, whose error is eight times as large.
_EASY = 1.0 / 16.0
# With so many times the tolerance halves of halves are gone to at once.
_FAR = 8.0


@inline_late
def _shift(levels: Levels, old: int, new: int, known: Array) -> None:
    """Say the states as steps of another fineness say them: neither charge nor flux changes."""
    states, away, back = levels.states, levels.offset[old], levels.offset[new]
    for each in range(away.shape[0]):
        by, one, other = known[states + each], away[each], back[each]
        for row in range(states):
            known[row] += (one[row] - other[row]) * by


@inline_late
def _enter(levels: Levels, level: int, known: Array, solver: Solver) -> None:
    """Have Newton's method begin anew from the voltages that were found last, for steps of a fineness."""
    work, states = solver.work, levels.states
    for port in range(levels.by_current.shape[2]):
        work[CURRENT, port] = known[states + port]
    multiply(levels.coupling[level], work[CURRENT], work[RIGHT])
    for row in range(work.shape[1]):
        work[OLD_P, row] = work[V, row] - work[RIGHT, row]
        work[ERROR, row] = work[BEFORE, row] = work[EARLIER, row] = 0.0
    solver.state[FRESH] = 0


@inline_late
def _predict(work: Array, ticks: float, last: float, before: float) -> None:
    """Go on along the parabola through the last voltages [V]; times between them, and to the next, in any unit."""
    first, second, third, predicted = work[FIRST], work[SECOND], work[THIRD], work[PREDICTED]
    straight, bent = ticks / last, ticks * (ticks + last) / (last + before)
    for row in range(first.shape[0]):
        rise = first[row] - second[row]
        bend = rise / last - (second[row] - third[row]) / before
        predicted[row] = first[row] + straight * rise + bent * bend


@inline_late
def _missed(work: Array, unit: Array) -> float:
    """The largest miss of a prediction [ratio], each port in its unit."""
    v, predicted, step = work[V], work[PREDICTED], work[STEP]
    for row in range(unit.shape[0]):
        step[row] = v[row] - predicted[row]
    return largest(step, unit)


@jit
def walk(
    levels: Levels,
    begin: int,
    signal: Array,
    heard: Array,
    every: int,
    record: Array,
    ticks: Integers,
    known: Array,
    into: Array,
    entry: Array,
    tolerance: float,
    solver: Solver,
) -> int:
    """Go through the samples of a signal; how that ended: all solved (`DONE`), or why not.

    No room is left (`FULL`), a sample has no solution (`LOST`), or it asks for finer steps than there are (`FINER`):
    with these it goes on in the middle of the sample.

    Parameters
    ----------
    levels : Levels
        The linear circuit, step by step half as long.
    begin : int
        The sample to begin with.
    signal : ndarray
        The inputs [V], shape (samples, inputs): straight lines from one to the next.
    heard : ndarray
        Takes what is heard at each sample [V], shape (samples, places).
    every : int
        Of whole samples one of so many is kept; of halves all are.
    record : ndarray
        Takes `known` then, as whole samples say it, a row each; `Solver.state` has the first free row.
    ticks : ndarray
        Takes, to each of these rows, when: sample, and part of it in the finest steps.
    known : ndarray
        States (as whole samples say them), currents [A], last inputs [V], one.
    into : ndarray
        Room for the product of a matrix with `known`.
    entry : ndarray
        Room for the inputs of a sample before.
    tolerance : float
        How far a prediction may miss [ratio].
    solver : Solver
        The valves behind the circuit.
    """
    work, state, states = solver.work, solver.state, levels.states
    places, ports = levels.by_current.shape[1:]
    inputs, first = entry.shape[0], 8 * ((ports + places + 7) // 8)
    deepest, full = levels.columns.shape[0] - 1, levels.ticks
    level, new = state[FINENESS], True
    last, before = float(state[LAST_TICKS]), float(state[TICKS_BEFORE])
    _shift(levels, 0, level, known)
    _enter(levels, level, known, solver)
    outcome, tick = DONE, state[TICK]
    for sample in range(begin, signal.shape[0]):
        if state[KEPT] + full > record.shape[0]:
            outcome = FULL
            state[AT] = sample
            break
        if tick == 0:
            for each in range(inputs):
                entry[each] = known[states + ports + each]
        while tick < full:
            size = full >> level
            share = (tick + size) / full
            v, current, p, right, change = work[V], work[CURRENT], work[WANTED], work[RIGHT], work[STEP]
            advance(levels.columns[level], levels.heights[level], known, into)
            for port in range(ports):
                p[port] = into[port] + levels.constant[level, port]
            for each in range(inputs):
                drive = entry[each] + share * (signal[sample, each] - entry[each])
                for port in range(ports):
                    p[port] += levels.by_input[level, each, port] * drive
            _predict(work, float(size), last, before)
            for row in range(v.shape[0]):
                work[OLD, row] = v[row]
                right[row] = p[row] - work[OLD_P, row]
            # As `kernel.march` begins; under an inverse of other steps the parabola is nearer.
            multiply(solver.inverse, right, change)
            for row in range(v.shape[0]):
                work[GUESS, row] = v[row] + change[row]
                if new:
                    v[row] = work[PREDICTED, row]
                else:
                    v[row] = work[GUESS, row] + 2.0 * work[ERROR, row] - work[BEFORE, row]
            own = Solver(
                solver.valves, levels.coupling[level], solver.unit, solver.tolerance, work, solver.inverse, state
            )
            solved = newton(p, own)
            miss = _missed(work, solver.unit) if solved else 2.0 * _FAR * tolerance
            if not miss <= tolerance and size > 1:
                finer = level + (2 if miss > _FAR * tolerance and size > 2 else 1)
                for row in range(v.shape[0]):
                    v[row] = work[OLD, row]
                if finer > deepest:
                    outcome = FINER
                    break
                _shift(levels, level, finer, known)
                level, new = finer, True
                _enter(levels, level, known, solver)
                continue
            if not solved:
                state[REPAIRED] += 1
                if not lead(own):
                    state[AT] = sample
                    return LOST
            tick += size
            if tick == full:
                for place in range(places):
                    out = into[ports + place] + levels.constant[level, ports + place]
                    for each in range(inputs):
                        out += levels.by_input[level, each, ports + place] * signal[sample, each]
                    for port in range(ports):
                        out += levels.by_current[level, place, port] * current[port]
                    heard[sample, place] = out
            for port in range(ports):
                known[states + port] = current[port]
            for row in range(v.shape[0]):
                work[OLD_P, row] = p[row]
                work[BEFORE, row] = 0.0 if new else work[ERROR, row]
                work[ERROR, row] = 0.0 if new else v[row] - work[GUESS, row]
                work[THIRD, row] = work[SECOND, row]
                work[SECOND, row] = work[FIRST, row]
                work[FIRST, row] = v[row]
            for row in range(states):
                known[row] = into[first + row]
            for each in range(inputs):
                known[states + ports + each] = entry[each] + share * (signal[sample, each] - entry[each])
            new, before, last = False, last, float(size)
            if level > 0 or (sample + 1) % every == 0:
                kept = state[KEPT]
                for row in range(states + ports + inputs + 1):
                    record[kept, row] = known[row]
                if level > 0:
                    _shift(levels, level, 0, record[kept])
                ticks[kept, 0], ticks[kept, 1] = sample, tick
                state[KEPT] = kept + 1
            if level > 0 and miss < _EASY * tolerance and tick % (2 * size) == 0:
                _shift(levels, level, level - 1, known)
                level, new = level - 1, True
                _enter(levels, level, known, solver)
        if outcome == FINER:
            state[AT] = sample
            break
        tick = 0
    state[TICK], state[FINENESS], state[LAST_TICKS], state[TICKS_BEFORE] = tick, level, int(last), int(before)
    _shift(levels, level, 0, known)
    _enter(levels, 0, known, solver)
    return outcome
