"""One feedback line at many positions of the controls: its loop gains and margins, and how two solvers agree there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...base.progress import Progress
from ...circuit.amp import Amp
from ...circuit.feedback import find_loop
from ...circuit.positions import position_label, switches_at
from ...measures.margins import Margins, margins_of
from ...simulation.loop_gain import loop_gain, loop_rows
from ...simulation.request import Case
from .corner_search import Setting
from .loop_sweeps import CLOSE, SEARCH


@dataclass(frozen=True)
class Line:
    """A feedback line of an amp.

    `at` says where it passes (None: the global loop), `turned` which knobs are turned; `solved` whether our own solver
    answers what it can.
    """

    amp: Amp
    at: str | None
    turned: tuple[str, ...]
    solved: bool = True
    progress: Progress | None = None

    def loops(self, positions: Sequence[Setting]) -> tuple[NDArray[np.float64], list[NDArray[np.complex128] | None]]:
        """Frequencies [Hz] and the loop gain at each position, shape (frequencies,); None where the line is open."""
        known = [find_loop(self.amp, switches_at(self.amp, position), self.at or "") for position in positions]
        closed = [Case(self.amp, position) for position, loop in zip(positions, known, strict=True) if loop]
        if not closed:
            return SEARCH.grid(), [None] * len(positions)
        found = loop_rows(closed, [loop for loop in known if loop], SEARCH, self.progress, self.turned, self.solved)
        loops = iter(found.gains)
        return found.hertz, [next(loops) if loop else None for loop in known]

    def margins(self, positions: Sequence[Setting]) -> list[Margins | None]:
        """The margins at each position; None where the line is open."""
        frequency, loops = self.loops(positions)
        closed = [loop for loop in loops if loop is not None]
        found = iter(margins_of(frequency, np.array(closed)) if closed else [])
        return [loop if loop is None else next(found) for loop in loops]

    def closely(self, positions: Sequence[Setting]) -> xr.Dataset:
        """The loop gain at positions, each once, closely and by ngspice."""
        return loop_gain(self.amp, self.at, different(positions), CLOSE)

    def apart(self, response: xr.Dataset, positions: Sequence[Setting]) -> float:
        """How far [ratio] 1 + T is, at its worst, from that of a response that `closely` gave for the positions."""
        frequency, loops = self.loops(different(positions))
        grid = response["frequency"].values
        # Both grids begin at one frequency, and one is so many times as close as the other.
        place = np.minimum(np.searchsorted(grid, frequency * (1.0 - 1e-6)), grid.size - 1)
        same = np.abs(grid[place] / frequency - 1.0) < 1e-6
        told = response["loop_gain"].values[0][:, place[same]]
        found = [np.abs((loop[same] - row) / (1.0 + row)).max(initial=0.0)
                 for loop, row in zip(loops, told, strict=True) if loop is not None]  # fmt: skip
        return float(max(found, default=0.0))


def different(positions: Sequence[Setting]) -> list[Setting]:
    """Positions, each once."""
    return list({position_label(position): position for position in positions}.values())
