"""A valve from a few points: least squares of its law against them, held by what is usual where they say nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...base.errors import DescriptionError
from ...circuit.valves.description import FitRange, Point, Valve
from ...circuit.valves.laws import LAWS
from .points_file import read_points
from .residuals import Residuals
from .usual import Usual, unscaled, usual, valves_of_law

Array = NDArray[np.float64]
_STARTS = 4
_FIRST, _LAST, _DRIVEN = 15, 120, 40  # tries from every start, from the best of them, and with what is driven
_LEAST_POINTS = 3
_SOURCE = (
    "least-squares fit to the points below marked used_in_fit; mu is a parameter of the law, not the data-sheet mu"
)


@dataclass(frozen=True)
class Determined:
    """One parameter of a fit.

    Attributes
    ----------
    name, value
        As the law names it [SI].
    off
        One standard deviation, as a share of the value, if every figure is as good as its kind [ratio].
    by_points
        How much of what is known of it comes from the points: 1 all, 0 what is usual for its law [ratio].
    at_limit
        Whether it stands at the least or most that the law allows.
    unused
        Whether it is of a term that the law may do without, and no point asks for it.
    """

    name: str
    value: float
    off: float
    by_points: float
    at_limit: bool
    unused: bool = False


@dataclass(frozen=True, eq=False)
class FittedValve:
    """A valve, its points with what the law gives for them, and how well they determine it.

    Attributes
    ----------
    valve
        With its points and the range that the fitted ones reach.
    points, values
        Those that were held against the law, and what it gives [SI].
    determined
        Its parameters.
    plate_known
        Plate volts, grid volts, screen volts [V] and how well the plate current is known there [ratio], at the best and
        at the worst place of the range.
    passed_over
        Points that a fit does not use: of driven stages.
    borrowed
        What was taken over from another type, in words.
    """

    valve: Valve
    points: tuple[Point, ...]
    values: tuple[float, ...]
    determined: tuple[Determined, ...]
    plate_known: tuple[tuple[float, float, float, float], ...]
    passed_over: tuple[Point, ...]
    borrowed: str = ""


def fit_valve(
    data: bytes, name: str, options: Mapping[str, str] | None = None, others: Sequence[Valve] | None = None
) -> FittedValve:
    """Fit a law to the bytes of a file of points.

    Parameters
    ----------
    data : bytes
        Nothing of it is run.
    name : str
        File name: the ending says whether it is TOML; for messages too.
    options : mapping of str to str
        What wins over the file: "type", "like", "law".
    others : sequence of Valve
        Valves that say what is usual; by default those that come along with the same law.

    Raises
    ------
    DescriptionError
        Names file, row and value; or the points are too few.
    """
    told = read_points(data, name, options)
    return fit_points(told.unfitted, name, told.borrowed, others)


def fit_points(unfitted: Valve, name: str, borrowed: str = "", others: Sequence[Valve] | None = None) -> FittedValve:
    """Fit the law of a valve to its points; its own parameters do not matter.

    Parameters
    ----------
    unfitted : Valve
        As `read_points` gives it.
    name : str
        File name for messages.
    borrowed : str
        What the unfitted valve took over from another type, in words.
    others : sequence of Valve
        As for `fit_valve`.

    Raises
    ------
    DescriptionError
        When the points are too few.
    """
    residuals = Residuals(unfitted)
    _refuse_few(residuals, name)
    common = usual(unfitted.law, _others(unfitted, others))
    tried = [_solved(residuals, unfitted, common, start, _FIRST) for start in _starts(residuals, unfitted, common)]
    best = _solved(residuals, unfitted, common, min(tried, key=lambda each: each[1])[0], _LAST)[0]
    whole = Residuals(unfitted, driven=True)
    if whole.fitted.sum() > residuals.fitted.sum():
        best = _solved(whole, unfitted, common, best, _DRIVEN)[0]
    residuals = whole
    known = LAWS[unfitted.law].parameters
    values = np.array([float(f"{value:.9g}") for value in unscaled(known, best)])
    fitted = replace(
        unfitted,
        source=_SOURCE,
        parameters=tuple(zip((one.name for one in known), map(float, values), strict=True)),
        fit_range=_reach(residuals, values, unfitted),
    )
    slopes = _jacobian(residuals, unfitted, best)
    spread: Array = np.asarray(np.linalg.inv(slopes.T @ slopes + np.diag(common.spread**-2.0)), dtype=np.float64)
    return FittedValve(
        fitted,
        residuals.points,
        tuple(map(float, residuals.values(values))),
        _determined(unfitted, common, best, spread),
        _plate_known(fitted, best, spread),
        residuals.passed_over,
        borrowed,
    )


def _others(unfitted: Valve, others: Sequence[Valve] | None) -> tuple[Valve, ...]:
    """Valves of the law besides the type itself, which is not to hold itself where it was."""
    known = valves_of_law(unfitted.law) if others is None else tuple(others)
    return tuple(valve for valve in known if valve.type != unfitted.type)


def _refuse_few(residuals: Residuals, name: str) -> None:
    count = int(residuals.fitted.sum())
    if count < _LEAST_POINTS:
        raise DescriptionError(
            f"{name}: {count} figures to fit; {_LEAST_POINTS} are needed, better ten, over the volts it will see"
        )
    currents = [point for point, used in zip(residuals.points, residuals.fitted, strict=True)
                if used and point.quantity in ("plate current", "cathode current")]  # fmt: skip
    if not currents:
        raise DescriptionError(f"{name}: no plate current among the figures to fit; at least one is needed")
    rising = {dict(point.conditions).get("grid_volts", 0.0) > 0.0 for point in currents}
    if rising == {True} and len(currents) > 2:
        raise DescriptionError(
            f"{name}: every grid stands at more than 0 V; where a sheet or tester leaves out the minus sign, write it"
        )


def _starts(residuals: Residuals, unfitted: Valve, common: Usual) -> list[Array]:
    """Where to begin: the usual valve, and those that come along whose curves are nearest."""
    known = LAWS[unfitted.law].parameters
    costs = [float(np.sum(np.log1p(residuals.weighed(unscaled(known, row)) ** 2))) for row in common.starts]
    nearest = [common.starts[place] for place in np.argsort(costs, kind="stable")[: _STARTS - 1]]
    return [common.middle, *nearest]


def _solved(residuals: Residuals, unfitted: Valve, common: Usual, start: Array, tries: int) -> tuple[Array, float]:
    from scipy.optimize import least_squares

    known = LAWS[unfitted.law].parameters
    room = 1e-9 * (common.high - common.low)
    begin = np.clip(start, common.low + room, common.high - room)

    def off(turned: Array) -> Array:
        return np.concatenate([residuals.weighed(unscaled(known, turned)), (turned - common.middle) / common.spread])

    found = least_squares(off, begin, bounds=(common.low, common.high), x_scale=common.spread, loss="soft_l1",
                          f_scale=2.0, max_nfev=tries)  # fmt: skip
    return found.x, float(found.cost)


def _jacobian(residuals: Residuals, unfitted: Valve, best: Array) -> Array:
    """How the weighed residuals change with every parameter, as the fit turns it."""
    known, step = LAWS[unfitted.law].parameters, 1e-5
    columns = []
    for place in range(len(best)):
        ends = []
        for side in (step, -step):
            moved = best.copy()
            moved[place] += side
            ends.append(residuals.weighed(unscaled(known, moved)))
        columns.append((ends[0] - ends[1]) / (2.0 * step))
    return np.array(columns).T


def _determined(unfitted: Valve, common: Usual, best: Array, spread: Array) -> tuple[Determined, ...]:
    known = LAWS[unfitted.law].parameters
    off = np.sqrt(np.diag(spread))
    share = np.clip(1.0 - (off / common.spread) ** 2, 0.0, 1.0)
    values = unscaled(known, best)
    found = []
    for place, one in enumerate(known):
        size = off[place] if one.lowest > 0.0 else off[place] / max(abs(values[place]), 1e-12)
        room = 1e-4 * (common.high[place] - common.low[place])
        limit = best[place] - common.low[place] < room or common.high[place] - best[place] < room
        spare = one.default is not None and abs(values[place] - one.default) <= 0.1 * one.default + 1e-6
        found.append(Determined(one.name, float(values[place]), float(size), float(share[place]), bool(limit), spare))
    return tuple(found)


def _plate_known(fitted: Valve, best: Array, spread: Array) -> tuple[tuple[float, float, float, float], ...]:
    """Where in the range of the points the plate current is known best and worst, and how well."""
    law, known = LAWS[fitted.law], LAWS[fitted.law].parameters
    reach = fitted.fit_range
    screens = (0.0,) if reach.screen_volts is None else reach.screen_volts
    axes = (np.linspace(*reach.plate_volts, 5), np.linspace(*reach.grid_volts, 5), np.unique(screens))
    plate, grid, screen = (each.ravel() for each in np.meshgrid(*axes, indexing="ij"))

    def current(turned: Array) -> Array:
        values = dict(zip((one.name for one in known), map(float, unscaled(known, turned)), strict=True))
        return np.asarray(law.current(values, plate, grid, screen)[0])

    here = current(best)
    seen = here > 0.02 * max(float(here.max()), 1e-12)
    if not seen.any():
        return ()
    step = 1e-5
    slopes = np.array([(current(best + step * unit) - current(best - step * unit)) / (2.0 * step)
                       for unit in np.eye(len(best))])[:, seen] / here[seen]  # fmt: skip
    share = np.sqrt(np.einsum("ip,ij,jp->p", slopes, spread, slopes))
    places = (int(np.argmin(share)), int(np.argmax(share)))
    return tuple((float(plate[seen][n]), float(grid[seen][n]), float(screen[seen][n]), float(share[n])) for n in places)


def _reach(residuals: Residuals, values: Array, unfitted: Valve) -> FitRange:
    """The lowest and highest volts that the fitted points reach."""
    ends = [(float(f"{each.min():.3g}"), float(f"{each.max():.3g}")) for each in residuals.volts(values)]
    return FitRange(ends[0], ends[1], ends[2] if unfitted.family == "pentode" else None)
