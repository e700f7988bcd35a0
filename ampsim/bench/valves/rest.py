"""What a law gives for points at rest: valves on given volts, behind a cathode resistor, in resistance-coupled stages.

All points are solved together: a law is a function of arrays, and what flows falls as more is taken to flow, so that a
false position, kept from standing still, finds every operating point at once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...circuit.valves.description import Family, Point
from ...circuit.valves.evaluation import STEP
from ...circuit.valves.laws import Law
from ...circuit.valves.triodes import Parameters

Array = NDArray[np.float64]
_STEPS, _INNER = 24, 16
STAGES = ("resistance-coupled stage", "resistance-coupled pentode stage")
CIRCUITS = ("valve alone", "triode connected", "valve and cathode resistor across the supply", *STAGES)
QUANTITIES = ("plate current", "screen current", "cathode current", "gm", "rp", "mu", "screen mu", "gain",
              "grid volts", "plate volts")  # fmt: skip


def at_rest(point: Point) -> bool:
    """Whether a point is one that is worked out here."""
    return point.circuit in CIRCUITS and point.quantity in QUANTITIES


@dataclass(frozen=True, eq=False)
class Electrodes:
    """Where valves rest: volts against the cathode [V] and currents [A], one of each to a point."""

    plate: Array
    grid: Array
    screen: Array
    plate_amps: Array
    screen_amps: Array


class RestingPoints:
    """Points at rest, ready to be worked out for one set of parameters after another.

    Parameters
    ----------
    law : Law
    family : str
        "triode" or "pentode".
    points : sequence of Point
        Of which `at_rest` holds.
    """

    def __init__(self, law: Law, family: Family, points: Sequence[Point]) -> None:
        self._law, self.points = law, tuple(points)
        rows = [dict(point.conditions) for point in points]
        self._at = {name: np.array([row.get(name, np.nan) for row in rows]) for name in _NAMES}
        pentode = family == "pentode"
        feeds = np.isnan(self._at["screen_volts"]) & np.isnan(self._at["screen_ohms"])
        self._joined = feeds & pentode
        self._known = ~np.isnan(self._at["grid_volts"]) & np.isnan(self._at["cathode_ohms"])
        self._sought = ~np.isnan(self._at["plate_amps"])
        self._fed = ~np.isnan(self._at["screen_ohms"])
        self._masks = {name: np.array([point.quantity == name for point in points], dtype=bool) for name in QUANTITIES}

    def values(self, p: Parameters) -> Array:
        """What the law with these parameters gives for every point [SI, as the point's own unit]."""
        at = self.electrodes(p)
        joined = np.where(self._joined, 1.0, 0.0)
        found = np.full(len(self.points), np.nan)
        total = at.plate_amps + joined * at.screen_amps
        gm, by_plate, by_screen = self._slopes(p, at)
        with np.errstate(divide="ignore", invalid="ignore"):
            rp = 1.0 / by_plate
            answers = {
                "plate current": total,
                "screen current": at.screen_amps,
                "cathode current": at.plate_amps + at.screen_amps,
                "gm": gm,
                "rp": rp,
                "mu": gm * rp,
                "screen mu": gm / by_screen,
                "gain": gm / (by_plate + 1.0 / self._at["plate_ohms"] + 1.0 / self._next()),
                "grid volts": at.grid,
                "plate volts": at.plate,
            }
        for name, mask in self._masks.items():
            found[mask] = answers[name][mask]
        return np.asarray(np.where(np.isfinite(found), found, 1e9))

    def _next(self) -> Array:
        return np.asarray(np.where(np.isnan(self._at["next_grid_ohms"]), np.inf, self._at["next_grid_ohms"]))

    def electrodes(self, p: Parameters) -> Electrodes:
        """Where every point's valve rests [V, A]."""
        none = np.zeros(len(self.points))
        amps = grid = none
        if not (self._known | self._sought).all():
            amps = root_between(lambda ik: self._behind(p, ik), none, self._most_amps(), _STEPS)
        if self._sought.any():
            grid = root_between(lambda volts: -self._biased(p, volts), none - 300.0, none + 30.0, 2 * _STEPS)
        plate, bias, screen = self._volts(p, amps)
        given = self._at["grid_volts"]
        bias = np.where(self._sought, grid, np.where(self._known, given, bias))
        plate_amps, screen_amps = self._flow(p, plate, bias, screen)
        return Electrodes(plate, bias, screen, plate_amps, screen_amps)

    def _flow(self, p: Parameters, plate: Array, grid: Array, screen: Array) -> tuple[Array, Array]:
        return self._law.current(p, plate, grid, np.where(self._joined, plate, screen))

    def _most_amps(self) -> Array:
        """What the resistors let flow at most [A]; without any, more than a valve gives."""
        at = self._at
        supply = np.where(np.isnan(at["supply_volts"]), at["plate_volts"], at["supply_volts"])
        ohms = _number(at["cathode_ohms"]) + np.where(self._fed, 0.0, _number(at["plate_ohms"]))
        return np.asarray(np.where(ohms > 0.0, _number(supply) / np.maximum(ohms, 1.0), 5.0))

    def _biased(self, p: Parameters, grid: Array) -> Array:
        """Plate current over what a point says it is [A]."""
        plate, screen = self._at["plate_volts"], self._screen_alone()
        current, drawn = self._flow(p, _number(plate), grid, _number(screen))
        over = current + np.where(self._joined, drawn, 0.0) - self._at["plate_amps"]
        return np.asarray(np.where(self._sought, over, 0.0))

    def _screen_alone(self) -> Array:
        return np.asarray(np.where(np.isnan(self._at["screen_volts"]), 0.0, self._at["screen_volts"]))

    def _behind(self, p: Parameters, cathode_amps: Array) -> Array:
        """What flows over what was taken to flow in the cathode [A]."""
        plate, grid, screen = self._volts(p, cathode_amps)
        current, drawn = self._flow(p, plate, grid, screen)
        return np.asarray(current + drawn - cathode_amps)

    def _volts(self, p: Parameters, cathode_amps: Array) -> tuple[Array, Array, Array]:
        """Volts against the cathode with so much flowing in it; those given stand as they are."""
        at = self._at
        foot = cathode_amps * _number(at["cathode_ohms"])
        supply = np.where(np.isnan(at["supply_volts"]), at["plate_volts"], at["supply_volts"])
        screen = np.where(np.isnan(at["screen_volts"]), np.where(np.isnan(supply), 0.0, supply), at["screen_volts"])
        drawn = self._screen_amps(p, cathode_amps, supply - foot, -foot) if self._fed.any() else 0.0 * foot
        plate = supply - foot - (cathode_amps - np.where(self._fed, drawn, 0.0)) * _number(at["plate_ohms"])
        screen = screen - foot - drawn * _number(at["screen_ohms"])
        return _number(plate), -foot, _number(screen)

    def _screen_amps(self, p: Parameters, cathode_amps: Array, supply: Array, grid: Array) -> Array:
        """The screen current [A] behind a screen resistor with so much flowing in the cathode."""
        ohms, load = _number(self._at["screen_ohms"]), _number(self._at["plate_ohms"])

        def over(drawn: Array) -> Array:
            plate, screen = supply - (cathode_amps - drawn) * load, supply - drawn * ohms
            return self._law.current(p, _number(plate), grid, _number(screen))[1] - drawn

        return root_between(over, np.zeros(len(self.points)), np.asarray(cathode_amps), _INNER)

    def _slopes(self, p: Parameters, at: Electrodes) -> tuple[Array, Array, Array]:
        """Of the plate current (of both in triode connection) by grid, plate and screen [S]."""
        joined = np.where(self._joined, 1.0, 0.0)

        def difference(by_plate: float, by_grid: float, by_screen: float) -> Array:
            ends = []
            for side in (STEP, -STEP):
                ends.append(
                    self._flow(p, at.plate + side * by_plate, at.grid + side * by_grid, at.screen + side * by_screen)
                )
            (a, b), (c, d) = ends
            return np.asarray((a - c + joined * (b - d)) / (2.0 * STEP))

        return difference(0.0, 1.0, 0.0), difference(1.0, 0.0, 0.0), difference(0.0, 0.0, 1.0)


_NAMES = ("plate_volts", "grid_volts", "screen_volts", "supply_volts", "plate_amps", "plate_ohms", "cathode_ohms",
          "screen_ohms", "next_grid_ohms")  # fmt: skip


def _number(values: Array) -> Array:
    """0 where nothing is given."""
    return np.nan_to_num(values, nan=0.0)


def root_between(excess: Callable[[Array], Array], low: Array, high: Array, steps: int) -> Array:
    """Where an excess that falls from `low` to `high` is nothing, element by element.

    False position with the end that stays counted half (Illinois), every fourth step the middle.

    Parameters
    ----------
    excess : callable
        Of an array; [its own unit]
    low, high : array
        Between them the excess changes its sign; where it does not, the nearer end is given.
    steps : int
        How often it is asked.
    """
    a, b = low + 0.0, high + 0.0
    fa, fb = excess(a), excess(b)
    for step in range(steps):
        with np.errstate(divide="ignore", invalid="ignore"):
            c = b - fb * (b - a) / (fb - fa)
        c = 0.5 * (a + b) if step % 4 == 3 else np.where(np.isfinite(c), c, 0.5 * (a + b))
        c = np.clip(c, np.minimum(a, b), np.maximum(a, b))
        fc = excess(c)
        crossed = (fc > 0.0) != (fb > 0.0)
        a, fa = np.where(crossed, b, a), np.where(crossed, fb, 0.5 * fa)
        b, fb = c, fc
    return np.asarray(b)
