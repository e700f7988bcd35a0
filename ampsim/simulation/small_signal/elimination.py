"""Compiled elimination: the equations of every variant at every frequency, by pivots chosen once (`pivots`).

Rows and columns are in the order of the pivots wherever it is not said otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from ..timestep.compiled import jit
from .pivots import Array, Complex, Program, Whole

# An answer is improved, a few times, where a row misses by more than this share of what it sums up.
_IMPROVE, MOST_IMPROVED = 1e-14, 2
# The rows of the kernel's memory.
NUMBERS, ENTRIES, RIGHT, FOUND, LEFT, SUM = range(6)
TRUSTED = 1e-9
NOTHING = 1e-4
"""The residual [ratio] beyond which an answer is not taken."""


class Stamps(NamedTuple):
    """Numbers of the equations as sums: to `entry` goes `sign` times the variant's number `source`, by factor `kind`.

    `slot`, `row`, `column`: where each entry is kept, and where it stands; slot -1 beside the square, of a held net.
    `current` (unknowns,): 1 for those that are currents, 0 for volts.
    """

    entry: Whole
    source: Whole
    sign: Array
    kind: Whole
    slot: Whole
    row: Whole
    column: Whole
    current: Whole


class Drives(NamedTuple):
    """Right sides as sums: to `row` of number `drive` goes `share` times an entry of the equations; entry -1 is one."""

    drive: Whole
    row: Whole
    entry: Whole
    share: Array


@dataclass(frozen=True, eq=False)
class Answers:
    """Unknowns that were read, shape (variants, frequencies, drives, reads), and the worst residual of each variant."""

    values: Complex
    residual: Array


def solve(program: Program, stamps: Stamps, drives: Drives, reads: Whole, sources: Array, factors: Complex) -> Answers:
    """Solve the equations of variants at frequencies.

    Parameters
    ----------
    program : Program
    stamps : Stamps
    drives : Drives
    reads : ndarray of int
        The columns of the unknowns that are asked for.
    sources : ndarray
        The numbers of each variant, shape (variants, sources) [in the unit of each].
    factors : ndarray
        The factor of each kind at each frequency, shape (frequencies, kinds).
    """
    count = int(drives.drive.max(initial=0)) + 1
    size, entries = len(program.pivot), len(stamps.slot)
    found = np.zeros((len(sources), len(factors), count, len(reads)), complex)
    residual = np.zeros(len(sources))
    kept = np.zeros((factors.shape[1], entries))
    work = np.zeros((6, max(size, entries, int(program.slot.max(initial=0)) + 1)), complex)
    rest = tuple(program)[3:]
    _solve(rest, tuple(stamps), tuple(drives), reads, np.ascontiguousarray(sources), np.ascontiguousarray(factors),
           kept, work, found, residual, _IMPROVE)  # fmt: skip
    return Answers(found, residual)


@jit
def _solve(
    program: Any, stamps: Any, drives: Any, reads: Whole, sources: Array, factors: Complex, kept: Array,
    work: Complex, found: Complex, residual: Array, improve: float,
) -> None:  # fmt: skip  # pragma: no cover - compiled
    at, source, sign, kind = stamps[0], stamps[1], stamps[2], stamps[3]
    drive, drive_row, drive_entry, share = drives
    size = len(program[0])
    for variant in range(len(sources)):
        kept[:] = 0.0
        for s in range(len(at)):
            kept[kind[s], at[s]] += sign[s] * sources[variant, source[s]]
        for frequency in range(len(factors)):
            _eliminate(program, stamps, kept, factors, frequency, work)
            for which in range(found.shape[2]):
                for k in range(size):
                    work[RIGHT, k] = work[FOUND, k] = 0.0
                for d in range(len(drive)):
                    if drive[d] == which:
                        amount = work[ENTRIES, drive_entry[d]] if drive_entry[d] >= 0 else complex(1.0)
                        work[RIGHT, drive_row[d]] += share[d] * amount
                for k in range(size):
                    work[LEFT, k] = work[RIGHT, k]
                _substitute(program, work)
                missed = _missed(stamps, work, size)
                for _ in range(MOST_IMPROVED):
                    if missed > improve:
                        _substitute(program, work)
                        missed = _missed(stamps, work, size)
                residual[variant] = max(residual[variant], missed)
                for r in range(len(reads)):
                    found[variant, frequency, which, r] = work[FOUND, reads[r]]


@jit
def _eliminate(
    program: Any, stamps: Any, kept: Array, factors: Complex, frequency: int, work: Complex
) -> None:  # pragma: no cover - compiled
    """The numbers of one variant at one frequency, and their elimination; of each pivot the inverse is kept."""
    pivot, below_start, below, _, beside_start, beside, _, target_start, target = program
    slot = stamps[4]
    for k in range(work.shape[1]):
        work[NUMBERS, k] = 0.0
    for e in range(len(slot)):
        value = kept[0, e] * factors[frequency, 0]
        for which in range(1, factors.shape[1]):
            value += kept[which, e] * factors[frequency, which]
        work[ENTRIES, e] = value
        if slot[e] >= 0:
            work[NUMBERS, slot[e]] = value
    for k in range(len(pivot)):
        inverse = 1.0 / work[NUMBERS, pivot[k]]
        work[NUMBERS, pivot[k]] = inverse
        to = target_start[k]
        for i in range(below_start[k], below_start[k + 1]):
            factor = work[NUMBERS, below[i]] * inverse
            work[NUMBERS, below[i]] = factor
            for j in range(beside_start[k], beside_start[k + 1]):
                work[NUMBERS, target[to]] -= factor * work[NUMBERS, beside[j]]
                to += 1


@jit
def _substitute(program: Any, work: Complex) -> None:  # pragma: no cover - compiled
    """Add to what was found what answers to what is left."""
    pivot, below_start, below, below_row, beside_start, beside, beside_column, _, _ = program
    size = len(pivot)
    for k in range(size):
        value = work[LEFT, k]
        for i in range(below_start[k], below_start[k + 1]):
            work[LEFT, below_row[i]] -= work[NUMBERS, below[i]] * value
    for k in range(size - 1, -1, -1):
        value = work[LEFT, k]
        for j in range(beside_start[k], beside_start[k + 1]):
            value -= work[NUMBERS, beside[j]] * work[LEFT, beside_column[j]]
        work[LEFT, k] = value * work[NUMBERS, pivot[k]]
    for k in range(size):
        work[FOUND, k] += work[LEFT, k]


@jit
def _missed(stamps: Any, work: Complex, size: int) -> float:  # pragma: no cover - compiled
    """What is left of the right sides; the largest of it as a share of what its row sums up.

    Unknowns far below the largest of their kind count as somewhat more than they are: nothing is exact at nothing.
    """
    slot, row, column, current = stamps[4], stamps[5], stamps[6], stamps[7]
    volts = amps = 0.0
    for k in range(size):
        big = abs(work[FOUND, k].real) + abs(work[FOUND, k].imag)
        volts, amps = max(volts, big * (1 - current[k])), max(amps, big * current[k])
        work[LEFT, k] = work[RIGHT, k]
        work[SUM, k] = abs(work[RIGHT, k].real) + abs(work[RIGHT, k].imag)
    for e in range(len(slot)):
        if slot[e] >= 0:
            number, unknown = work[ENTRIES, e], work[FOUND, column[e]]
            work[LEFT, row[e]] -= number * unknown
            least = NOTHING * (amps if current[column[e]] else volts)
            size_of = abs(unknown.real) + abs(unknown.imag) + least
            work[SUM, row[e]] += (abs(number.real) + abs(number.imag)) * size_of
    worst = 0.0
    for k in range(size):
        whole = work[SUM, k].real
        if whole > 0.0:
            worst = max(worst, (abs(work[LEFT, k].real) + abs(work[LEFT, k].imag)) / whole)
        elif whole != 0.0:
            return np.inf
    return worst
