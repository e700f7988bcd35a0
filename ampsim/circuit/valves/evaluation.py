"""Currents and slopes of a valve at given voltages, in numpy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ...base.errors import DescriptionError
from .description import Valve
from .grid import diode_current
from .laws import LAWS
from .triodes import Array

# Half width [V] of the central differences: curvature costs parts in 1e6 of a slope, rounding far less.
STEP = 1e-3


@dataclass(frozen=True, eq=False)
class Currents:
    """Currents [A] into the electrodes, arrays of one shape; the screen current of a triode is 0."""

    plate: Array
    screen: Array
    grid: Array


@dataclass(frozen=True, eq=False)
class Slopes:
    """Small-signal slopes, arrays of one shape.

    gm [S], rp [ohm, infinite where the plate current does not change], mu = gm rp (NaN there). `screen_mu` is
    how many volts on the screen do what one volt on grid 1 does to the plate current: NaN for a triode or a
    triode connection.
    """

    gm: Array
    rp: Array
    mu: Array
    screen_mu: Array


def currents(
    valve: Valve, plate_volts: ArrayLike, grid_volts: ArrayLike, screen_volts: ArrayLike | None = None
) -> Currents:
    """Evaluate a valve's law.

    Parameters
    ----------
    valve : Valve
    plate_volts, grid_volts, screen_volts : array_like
        Voltages against the cathode [V], broadcast against each other. A pentode without `screen_volts` is
        triode connected: its screen joins the plate.

    Raises
    ------
    DescriptionError
        Screen voltage given for a triode.
    """
    plate, grid, screen = _voltages(valve, plate_volts, grid_volts, screen_volts)
    law, parameters = LAWS[valve.law], dict(valve.parameters)
    plate_current, screen_current = law.current(parameters, plate, grid, screen)
    if law.grid is not None:
        return Currents(plate_current, screen_current, law.grid.current(parameters, grid))
    if valve.grid_current is None:
        raise DescriptionError(f"valve {valve.type}: the law {valve.law!r} needs a grid_current")
    return Currents(plate_current, screen_current, diode_current(valve.grid_current, grid))


def slopes(
    valve: Valve, plate_volts: ArrayLike, grid_volts: ArrayLike, screen_volts: ArrayLike | None = None
) -> Slopes:
    """Differentiate the plate current (with the screen current in triode connection) by central differences.

    Parameters
    ----------
    valve : Valve
    plate_volts, grid_volts, screen_volts : array_like
        As for `currents` [V].

    Raises
    ------
    DescriptionError
        As `currents`.
    """
    at = _voltages(valve, plate_volts, grid_volts, screen_volts)
    joined = valve.family == "pentode" and screen_volts is None
    gm = _difference(valve, at, (0.0, 1.0, 0.0), joined)
    conductance = _difference(valve, at, (1.0, 0.0, 1.0 if joined else 0.0), joined)
    by_screen = _difference(valve, at, (0.0, 0.0, 1.0), joined)
    rp = _quotient(np.ones_like(gm), conductance, np.inf)
    separate = valve.family == "pentode" and not joined
    screen_mu = _quotient(gm, by_screen, np.nan) if separate else np.full_like(gm, np.nan)
    return Slopes(gm, rp, _quotient(gm, conductance, np.nan), screen_mu)


def _difference(valve: Valve, at: tuple[Array, Array, Array], along: tuple[float, float, float], joined: bool) -> Array:
    ends = []
    for side in (STEP, -STEP):
        plate, grid, screen = (volts + side * share for volts, share in zip(at, along, strict=True))
        plate_current, screen_current = LAWS[valve.law].current(dict(valve.parameters), plate, grid, screen)
        ends.append(plate_current + screen_current if joined else plate_current)
    difference: Array = ends[0] - ends[1]
    return difference / (2.0 * STEP)


def _voltages(
    valve: Valve, plate_volts: ArrayLike, grid_volts: ArrayLike, screen_volts: ArrayLike | None
) -> tuple[Array, Array, Array]:
    if valve.family == "triode" and screen_volts is not None:
        raise DescriptionError(f"valve {valve.type} is a triode and takes no screen voltage")
    given = (plate_volts, grid_volts, plate_volts if screen_volts is None else screen_volts)
    plate, grid, screen = np.broadcast_arrays(*(np.asarray(one, dtype=np.float64) for one in given))
    return plate, grid, screen


def _quotient(top: Array, bottom: Array, otherwise: float) -> Array:
    with np.errstate(over="ignore"):  # of next to no current; infinite is right then
        return np.divide(top, bottom, out=np.full_like(top, otherwise), where=bottom > 0.0)
