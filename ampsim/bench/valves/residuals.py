"""How far a law with some parameters is off its points, weighed by how well such figures are known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ...circuit.valves.description import Point, Valve
from ...circuit.valves.laws import LAWS
from ...circuit.valves.triodes import Parameters
from .driven import DrivenPoints, is_driven
from .rest import RestingPoints, at_rest

Array = NDArray[np.float64]
KNOWN_WITHIN = {
    "plate current": 0.05,
    "screen current": 0.10,
    "cathode current": 0.04,
    "gm": 0.06,
    "rp": 0.10,
    "mu": 0.05,
    "screen mu": 0.10,
    "gain": 0.03,
    "grid volts": 0.05,
    "plate volts": 0.05,
    "output power": 0.06,
    "distortion": 0.12,
    "second harmonic": 0.15,
    "third harmonic": 0.15,
}
"""How well figures of each kind are known, as shares of themselves (half of what is usual between two data sheets)."""
_FLOOR = 0.002  # of the largest current: what a curve or a meter does not show
_MEMORY = 2.0  # so much less a figure from memory weighs


class Residuals:
    """The points of a valve that its law can be held against.

    Parameters
    ----------
    valve : Valve
        Its law, family and points; its parameters do not matter.
    driven : bool
        Output stages under drive too: a hundred times slower.
    """

    def __init__(self, valve: Valve, driven: bool = False) -> None:
        self._names = [one.name for one in LAWS[valve.law].parameters]
        resting = tuple(point for point in valve.points if at_rest(point))
        moving = tuple(point for point in valve.points if driven and is_driven(point))
        self.points = (*resting, *moving)
        self.passed_over = tuple(point for point in valve.points if not at_rest(point) and not is_driven(point))
        self.fitted = np.array([point.used_in_fit for point in self.points], dtype=bool)
        self.published = np.array([point.value for point in self.points])
        self._rest = RestingPoints(LAWS[valve.law], valve.family, resting)
        self._driven = DrivenPoints(LAWS[valve.law], valve.family, moving)
        self._within = known_within(self.points)

    def parameters(self, values: Array) -> Parameters:
        """Parameters by name, in the units of the law [SI]."""
        return dict(zip(self._names, map(float, values), strict=True))

    def values(self, values: Array) -> Array:
        """What the law gives for every point [SI, as the point]."""
        p = self.parameters(values)
        return np.concatenate([self._rest.values(p), self._driven.values(p)])

    def weighed(self, values: Array) -> Array:
        """How far off it is at every fitted point, in how well the figure is known [ratio]."""
        off = (self.values(values) - self.published) / self._within
        return np.asarray(np.clip(off, -1e6, 1e6)[self.fitted])

    def volts(self, values: Array) -> tuple[Array, Array, Array]:
        """Plate, grid and screen [V] of every fitted point."""
        at = self._rest.electrodes(self.parameters(values))
        used = self.fitted[: len(at.plate)]
        return at.plate[used], at.grid[used], at.screen[used]


def known_within(points: Sequence[Point]) -> Array:
    """How well each figure is known [its own unit]."""
    currents = [point.value for point in points if point.unit == "A"]
    floor = _FLOOR * max(currents, default=0.0)
    return np.array([
        (KNOWN_WITHIN[point.quantity] * abs(point.value) + (floor if point.unit == "A" else 0.0))
        * (_MEMORY if point.flag == "from memory" else 1.0)
        for point in points
    ])  # fmt: skip
