"""Curves of a valve: plate current over plate voltage at several grid voltages, for the points it has or its range."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...circuit.valves.description import Point, Valve
from ...circuit.valves.evaluation import currents

Array = NDArray[np.float64]
_MOST_GRIDS, _FEWEST_GRIDS = 9, 5
_SAMPLES = 161
_LEAST_SPAN = 0.01  # of the plate volts, of grid volts drawn: even of a valve of mu 100
_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True)
class Published:
    """One published plate current: grid, plate [V], current [A], whether it was fitted, its row."""

    grid: float
    plate: float
    amps: float
    fitted: bool
    row: str


@dataclass(frozen=True)
class Curve:
    """The plate current [A] over plate voltage [V] at one grid voltage [V]."""

    grid: float
    plate: tuple[float, ...]
    amps: tuple[float, ...]


@dataclass(frozen=True)
class Family:
    """Curves at one screen voltage, or of a triode, or of a pentode connected as one.

    Attributes
    ----------
    screen
        [V]; None for a triode and for a pentode connected as one.
    curves
        From the highest grid voltage to the lowest.
    points
        Published plate currents under these conditions.
    plate_end, amps_end
        Where the axes end [V, A].
    """

    screen: float | None
    curves: tuple[Curve, ...]
    points: tuple[Published, ...]
    plate_end: float
    amps_end: float


def curve_families(valve: Valve, most: int = 3, screen: float | None = None) -> tuple[Family, ...]:
    """The families under whose conditions a valve has published plate currents, those with most of them first.

    Parameters
    ----------
    valve : Valve
    most : int
        How many families at most.
    screen : float, optional
        One more screen voltage [V] that is wanted, first of all.
    """
    groups: dict[float | None, list[Published]] = {}
    for point in valve.points:
        at = dict(point.conditions)
        alone = point.circuit in ("valve alone", "triode connected") and "grid_volts" in at
        if alone and point.quantity == "plate current":
            key = at.get("screen_volts")
            groups.setdefault(key, []).append(_published(point, at))
    order = sorted(groups, key=lambda each: (-len(groups[each]), -(each or 0.0)))
    if valve.family == "pentode" and screen is not None:
        order = [screen, *(each for each in order if each != screen)]
    if not order:
        order = [None if valve.fit_range.screen_volts is None else valve.fit_range.screen_volts[1]]
    return tuple(_family(valve, each, groups.get(each, [])) for each in order[:most])


def _published(point: Point, at: dict[str, float]) -> Published:
    return Published(at["grid_volts"], at["plate_volts"], point.value, point.used_in_fit, point.id)


def _family(valve: Valve, screen: float | None, points: Sequence[Published]) -> Family:
    reach = valve.fit_range
    plate_end = 1.12 * max([each.plate for each in points], default=0.0)
    plate_end = max(plate_end, 0.8 * reach.plate_volts[1], 20.0)
    grids = _grids(valve, points)
    plate = np.linspace(0.0, plate_end, _SAMPLES)
    curves = [_curve(valve, grid, plate, screen) for grid in grids]
    seen = [each.amps for each in points]
    highest = currents(valve, 0.6 * plate_end, grids[0], screen)
    amps_end = 1.2 * max(seen) if len(seen) > 3 else 1.1 * max([*seen, float(highest.plate + highest.screen)])
    return Family(screen, tuple(curves), tuple(points), plate_end, float(amps_end))


@dataclass(frozen=True)
class Rest:
    """Where a valve rests in a stage: volts against its cathode [V], plate current [A], the ends of its loads' lines.

    `supply` is where the line of the direct load meets no current [V], `most` where that of the signal meets 0 V [A].
    """

    plate: float
    grid: float
    screen: float | None
    amps: float
    supply: float
    most: float


def stage_family(valve: Valve, rest: Rest) -> Family:
    """The curves round where a valve rests in a stage, with the published points under its conditions."""
    low = min(2.2 * rest.grid, -0.5)
    step = _round_step(-low / 9.0)
    grids = sorted({0.0, *(float(f"{-step * n:.6g}") for n in range(1, int(-low / step) + 1))}, reverse=True)
    # A transformer lets the plate swing to twice what it rests at.
    plate_end = min(
        max(1.05 * rest.supply, 2.05 * rest.plate if rest.supply < 1.3 * rest.plate else 0.0), 3 * rest.plate
    )
    plate = np.linspace(0.0, plate_end, _SAMPLES)
    curves = tuple(_curve(valve, grid, plate, rest.screen) for grid in grids)
    near = [each for each in _published_at(valve, rest.screen) if each.plate <= plate_end]
    return Family(
        rest.screen, curves, tuple(near), plate_end, min(max(1.05 * rest.most, 2.0 * rest.amps), 9.0 * rest.amps)
    )


def _published_at(valve: Valve, screen: float | None) -> list[Published]:
    families = curve_families(valve, most=99)
    return [point for each in families if each.screen == screen for point in each.points]


def _curve(valve: Valve, grid: float, plate: Array, screen: float | None) -> Curve:
    found = currents(valve, plate, grid, screen)
    joined = found.screen if valve.family == "pentode" and screen is None else 0.0
    return Curve(grid, tuple(plate), tuple(found.plate + joined))


def _grids(valve: Valve, points: Sequence[Published]) -> list[float]:
    """Grid voltages from the highest: those of the points where there are some, else steps over the range."""
    given = sorted({each.grid for each in points}, reverse=True)
    if _FEWEST_GRIDS <= len(given) <= _MOST_GRIDS:
        return given
    low = min([valve.fit_range.grid_volts[0], *given])
    high = max(0.0, *given) if given else 0.0
    low = min(low, high - _LEAST_SPAN * valve.fit_range.plate_volts[1])
    step = _round_step((high - low) / (_FEWEST_GRIDS + 1.0))
    round_ones = [high - step * n for n in range(int((high - low) / step) + 1)]
    kept = given if len(given) < _FEWEST_GRIDS else []
    apart = [each for each in round_ones if all(abs(each - other) > 0.3 * step for other in kept)]
    return sorted({*kept, *(float(f"{each:.6g}") for each in apart)}, reverse=True)


def _round_step(least: float) -> float:
    """The next step of 1, 2, 2.5, 5 or 10 times a power of ten [V]."""
    size = 10.0 ** np.floor(np.log10(max(least, 1e-3)))
    return float(size * next(each for each in _STEPS if each * size >= least * 0.999))
