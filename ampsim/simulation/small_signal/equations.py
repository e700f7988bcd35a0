"""The equations of a circuit's variants: their numbers, their right sides, and who solves them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...base.errors import EngineError
from ...circuit.reverb_tank import ReverbTank
from ..timestep.branches import Parts
from .elimination import TRUSTED, Answers, Drives, Stamps, solve
from .layout import Layout
from .pivots import Array, Complex, Program, Whole, program_of

# Pivots of sweeps are chosen at this frequency [Hz].
_MIDDLE = 600.0
_KEPT = 256
_FEW = 8  # frequencies that have pivots of their own where the common ones do not do
_programs: dict[object, Program] = {}
Row = tuple[int, int, int, float]
"""Of a right side its number, a row, an entry of the equations or -1, and the share of it."""


class Equations:
    """The equations of a circuit whose values differ; `wires` as `Layout` has them."""

    def __init__(self, parts: Parts, wires: Sequence[tuple[str, str]]) -> None:
        self.layout, self._parts = Layout(parts, wires), parts
        self._kinds = np.array([each.kind for each in parts.branches])
        self._place = {each.name: number for number, each in enumerate(parts.branches)}

    def held(self, drive: int, net: str, volts: float) -> list[Row]:
        """What a held net of so many volts [V] lets into the rows of all that hangs on it.

        Raises
        ------
        EngineError
            When no source holds it.
        """
        number = self.layout.placed(net, "drive")
        if number < self.layout.size:
            raise EngineError(f"no source holds {net}")
        return [(drive, row, entry, -volts) for row, entry in self.layout.column(number)]

    def drives(self, rows: Sequence[Row], count: int) -> Drives:
        """Right sides, each with at least a row; a share of nothing fills up."""
        kept = [row for row in rows if 0 <= row[1] < self.layout.size] + [(count - 1, 0, -1, 0.0)]
        drive, row, entry, share = zip(*kept, strict=True)
        return Drives(np.array(drive), np.array(row), np.array(entry), np.array(share, dtype=float))

    def numbers(self, values: Array) -> Array:
        """What the equations take of variants: one, a number of each branch and coupling, nothing of the laws.

        Parameters
        ----------
        values : ndarray
            Of each branch [ohm, F, H], shape (variants, branches).
        """
        with np.errstate(divide="ignore"):  # a resistance of nothing has no answer
            siemens = np.where(self._kinds == "r", 1.0 / values, values)
        found = np.zeros((len(values), self.layout.numbers))
        found[:, 0], found[:, 1 : 1 + siemens.shape[1]] = 1.0, siemens
        for number, (one, other, factor) in enumerate(self._parts.couplings, self.layout.coupling):
            found[:, number] = factor * np.sqrt(values[:, self._place[one]] * values[:, self._place[other]])
        return found

    def solve(self, numbers: Array, drives: Drives, looked: Whole, rhythm: Complex) -> Answers:
        """Solve them.

        Parameters
        ----------
        numbers : ndarray
            As `numbers` gives them, with the slopes of the laws [S], shape (variants, numbers).
        drives : Drives
        looked : ndarray of int
            The unknowns that are asked for.
        rhythm : ndarray
            Complex frequencies [1/s].
        """
        found = self._solved(numbers, drives, looked, rhythm, self._kept_program(numbers[0], rhythm))
        values, residual = found.values, found.residual.copy()
        bad = np.flatnonzero(~(residual < TRUSTED) & np.isfinite(numbers).all(axis=1))
        if bad.size and rhythm.size > 1:
            residual[bad] = self._again(numbers[bad], drives, looked, rhythm, values, bad)
        return Answers(values, residual)

    def _again(
        self, numbers: Array, drives: Drives, looked: Whole, rhythm: Complex, values: Complex, bad: Whole
    ) -> Array:
        """Put other answers in the place of bad ones; what these miss by.

        Far from the frequency by which they were chosen pivots may have become small: a few each have their own then.
        """
        missed = np.zeros(len(bad))
        for some in np.array_split(np.arange(rhythm.size), -(-rhythm.size // _FEW)):
            try:
                near = self._program(numbers[0], rhythm[some[len(some) // 2]])
            except np.linalg.LinAlgError:
                return np.full(len(bad), np.inf)
            found = self._solved(numbers, drives, looked, rhythm[some], near)
            values[np.ix_(bad, some)] = found.values
            missed = np.maximum(missed, found.residual)
        return missed

    def _solved(self, numbers: Array, drives: Drives, looked: Whole, rhythm: Complex, program: Program) -> Answers:
        layout = self.layout
        row_place, column_place = (np.argsort(order) for order in (program.row_order, program.column_order))
        row, column = layout.places.T
        inside = column < layout.size
        column = np.where(inside, column_place[np.minimum(column, layout.size - 1)], -1)
        row = row_place[row]
        slot = np.where(inside, program.slot[row, column], -1)
        current = (program.column_order >= len(layout.free)).astype(np.int64)
        stamps = Stamps(*layout.stamps, slot, row, column, current)
        placed = drives._replace(row=row_place[drives.row])
        return solve(program, stamps, placed, column_place[looked], numbers, self._factors(rhythm))

    def _factors(self, rhythm: Complex) -> Complex:
        springs = [_handed_on(line.tank, rhythm) for line in self._parts.lines]
        return np.stack([np.ones_like(rhythm), rhythm, *springs], axis=1)

    def _kept_program(self, numbers: Array, rhythm: Complex) -> Program:
        """Pivots for every circuit with the same equations, at rest or at whatever frequency."""
        moving = bool(rhythm.any())
        key = (self.layout.size, moving, *(each.tobytes() for each in (self.layout.places, *self.layout.stamps)))
        program = _programs.get(key)  # found once: another thread may forget it
        if program is None:
            if len(_programs) > _KEPT:
                _programs.clear()
            program = _programs[key] = self._program(numbers, _MIDDLE * 2j * np.pi if moving else 0j)
        return program

    def _program(self, numbers: Array, at: complex) -> Program:
        layout = self.layout
        entry, source, sign, kind = layout.stamps
        amounts = np.zeros(len(layout.places), complex)
        np.add.at(amounts, entry, sign * numbers[source] * self._factors(np.array([at]))[0][kind])
        row, column = layout.places.T
        inside = column < layout.size
        whole = np.zeros((layout.size, layout.size), complex)
        pattern = np.zeros(whole.shape, dtype=bool)
        whole[row[inside], column[inside]] = amounts[inside]
        pattern[row[inside], column[inside]] = True
        return program_of(whole, pattern)


def _handed_on(tank: ReverbTank, rhythm: Complex) -> Complex:
    """What the springs of a tank give for a volt across its input coil's resistance [ratio], as they do in sweeps.

    The filters are those of `springs_text`; all passes together act at once.
    """
    low, high = 2.0 * np.pi * tank.low, 2.0 * np.pi * tank.high
    band = rhythm / (rhythm + low) * high**2 / (rhythm**2 + np.sqrt(2.0) * high * rhythm + high**2)
    return np.asarray(tank.steady / tank.input_resistance * band)
