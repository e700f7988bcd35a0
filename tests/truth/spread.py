"""Spread of valve types against measured lots, and of a divider and percentiles against their closed forms."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import norm

from ampsim import FrequencySweep, load_valve
from ampsim.circuit.valves.description import Valve
from ampsim.circuit.valves.evaluation import currents, slopes
from ampsim.measures.percentiles import percentiles
from ampsim.simulation.monte_carlo import spread
from ampsim.simulation.tolerances import Tolerances, lot
from ampsim.simulation.valve_spreads import deviating, spread_of
from ampsim.studies.spread.measures import sample_gain_db
from ampsim.studies.spread.sensitivity import sensitivity
from tests.truth.bench import amp, wired
from tests.truth.claims import CLOSED, FITTED, PREDICTED, Case, Claim, Limit

Array = NDArray[np.float64]
LOTS = 40
_LOT = "M. Brennwald, measured valve curves (DC curve tracer): computed from the data of"
ECC88 = f"{_LOT} 61 sections of ECC88 at 90 V, 15 mA"
ECC88_FIXED = f"{_LOT} 54 sections of ECC88 at a fixed grid"
EL34 = f"{_LOT} 28 EL34, triode connected, at 350 V, 40 mA"
_WHY = "two standard deviations of this figure from lot to lot of {} valves, in our own lots, 30 % at most"
# Rows of (quantity, median, lowest, highest) as published, in V, mA, mA/V, kohm.
ROWS = {
    "P4": (("grid volts", -1.22, -1.77, -0.73), ("gm", 10.9, 5.8, 12.9), ("mu", 32.8, 25.3, 42.4)),
    "P5": (
        ("plate mA at 90 V, -2 V", 6.80, 2.08, 12.0),
        ("plate mA at 120 V, -3 V", 6.57, 1.04, 12.0),
        ("plate mA at 60 V, -1 V", 7.38, 3.91, 12.5),
    ),
    "F8": (
        ("grid volts", -30.8, -33.4, -27.0),
        ("gm", 6.25, 3.7, 7.4),
        ("rp", 1.71, 1.18, 2.32),
        ("mu", 10.9, 7.1, 14.5),
    ),
}
_UNITS = {"grid volts": "V", "gm": "mA/V", "mu": "1", "rp": "kohm"}
_LOTS_OF = {"P4": ("6DJ8", 61, ECC88, FITTED), "P5": ("6DJ8", 54, ECC88_FIXED, PREDICTED),
            "F8": ("EL34", 28, EL34, FITTED)}  # fmt: skip
_MOST = 0.30
_FIGURES = ("median", "lowest", "highest")
# Only these were looked at when the spread was set; rp follows from mu and gm.
_NOT_FITTED = ("rp",)


def _readings(valve: Valve, row: str) -> list[float]:
    place = spread_of(valve)
    if row == "P5":
        return [1e3 * float(currents(valve, plate, grid).plate) for plate, grid in ((90, -2), (120, -3), (60, -1))]

    def over(grid: float) -> float:
        found = currents(valve, place.plate_volts, grid)
        return float(found.plate + found.screen) - place.plate_amps

    grid = float(brentq(over, -0.3 * place.plate_volts, 0.9))
    found = slopes(valve, place.plate_volts, grid)
    by_name = {"grid volts": grid, "gm": 1e3 * float(found.gm), "mu": float(found.mu), "rp": 1e-3 * float(found.rp)}
    return [by_name[name] for name, *_ in ROWS[row]]


@lru_cache(maxsize=8)
def lots(row: str) -> Mapping[str, tuple[float, float]]:
    """Each figure of a row: its median over our lots and its standard deviation from lot to lot."""
    type_, size, _, _ = _LOTS_OF[row]
    valve = load_valve(type_)
    table = np.array([_readings(deviating(valve, draw), row) for draw in lot(valve, LOTS * size, 1)])
    split = table.reshape(LOTS, size, -1)
    figures = {"median": np.median(split, axis=1), "lowest": split.min(axis=1), "highest": split.max(axis=1)}
    return {
        f"{name} of a lot, {figure}": (float(np.median(each[:, column])), float(np.std(each[:, column], ddof=1)))
        for column, (name, *_) in enumerate(ROWS[row])
        for figure, each in figures.items()
    }


def _lot_measured(row: str) -> dict[str, float]:
    return {name: value for name, (value, _) in lots(row).items()}


class LotLimit(Limit):
    """A limit that takes our own lots to be known, and so is found only where it is asked for."""

    def __init__(self, row: str, quantity: str, published: float) -> None:
        vars(self).update(why=_WHY.format(_LOTS_OF[row][1]), lot=(row, quantity, published))

    @property
    def size(self) -> float:
        """How far ours may be off [ratio]."""
        row, quantity, published = self.lot
        return float(min(2.0 * lots(row)[quantity][1] / abs(published), _MOST))


def _lot_case(row: str) -> Case:
    _, _, source, kind = _LOTS_OF[row]
    claims = []
    for name, *published in ROWS[row]:
        for figure, value in zip(_FIGURES, published, strict=True):
            quantity = f"{name} of a lot, {figure}"
            limit = LotLimit(row, quantity, value)
            unit, how = _UNITS.get(name, "mA"), PREDICTED if name in _NOT_FITTED else kind
            claims.append(Claim(row, quantity, value, unit, source, "computed", how, limit))
    return Case(tuple(claims), partial(_lot_measured, row))


# Closed forms

_QUOTIENT = (
    "20 log10 of 1 / (1 + R1/R2), both resistors even inside their tolerance: closed form, worked out in the test"
)
_ORDER = "standard error of a quantile: sqrt(p (1 - p) / n) over the density (Kendall and Stuart, from memory)"
_TOLERANCE = 0.05
_AMPS = 4000


def exact_percentile(share: float) -> float:
    """Percentile of the gain [dB] of 1 kohm over 1 kohm, both within 5 %.

    The quotient q = R1/R2 with R = 1 + t u: for q >= 1, P(R1/R2 > q) is a triangle in the square of both deviations
    with legs (1 + t) - q (1 - t) along R1 and that over q along R2: leg^2 / (2 q (2 t)^2).
    """
    low, high = 1.0 - _TOLERANCE, 1.0 + _TOLERANCE

    def above(q: float) -> float:
        return (high - q * low) ** 2 / (2.0 * q * (high - low) ** 2)

    # The quotient and its inverse have the same distribution; the gain falls as it rises.
    tail = min(share, 1.0 - share)
    q = float(brentq(lambda each: above(each) - tail, 1.0, high / low)) if tail < 0.5 else 1.0
    return float(20.0 * np.log10(1.0 / (1.0 + (q if share < 0.5 else 1.0 / q))))


@lru_cache(maxsize=1)
def _divider() -> tuple[Mapping[str, float], Mapping[str, float]]:
    circuit = amp({"R1": 1e3, "R2": 1e3}, [wired("divider", R1=["in", "out"], R2=["out", "ground"])])
    run = spread(circuit, _AMPS, 1, analysis=FrequencySweep(1e3, 1e4, 1), tolerances=Tolerances(resistor=_TOLERANCE))
    found = percentiles(sample_gain_db(run)).isel(variant=0, position=0, frequency=0)
    names = [f"{percent:g} % of dividers" for percent in found["percent"].values]
    values, errors = found["percentile"].values, found["error"].values
    return dict(zip(names, map(float, values), strict=True)), dict(zip(names, map(float, errors), strict=True))


def _divider_case() -> Case:
    why = "four standard errors of a percentile of 4000"
    claims = tuple(
        Claim("band of a divider", f"{share:g} % of dividers", exact_percentile(share / 100.0), "dB", _QUOTIENT,
              "computed", CLOSED, Limit(4.0 * _divider_error(share / 100.0), why, "dB"))
        for share in (5.0, 50.0, 95.0)
    )  # fmt: skip
    return Case(claims, lambda: _divider()[0])


def _divider_error(share: float) -> float:
    step = 1e-4
    density = 2.0 * step / (exact_percentile(share + step) - exact_percentile(share - step))
    return float(np.sqrt(share * (1.0 - share) / _AMPS) / density)


def _error_measured() -> dict[str, float]:
    """Mean stated error over repeated runs of normal numbers with standard deviation 1."""
    import xarray as xr

    found = {}
    for count in (200, 1000):
        table = np.random.default_rng(count).normal(size=(400, count))
        errors = percentiles(xr.DataArray(table, dims=("run", "sample")), (5.0, 95.0))["error"].values
        found[f"error of 5 and 95 % of {count}"] = float(errors.mean())
    return found


def _error_case() -> Case:
    limit = Limit(0.05, "the distance between order statistics stands for a slope: 5 %")
    claims = tuple(
        Claim("standard error", f"error of 5 and 95 % of {count}",
              float(np.sqrt(0.05 * 0.95 / count) / norm.pdf(norm.ppf(0.05))), "1", _ORDER, "from memory", CLOSED, limit)
        for count in (200, 1000)
    )  # fmt: skip
    return Case(claims, _error_measured)


_SLOPES = (
    "derivative of the gain by the logarithm of a part, divider and RC corner: closed form, worked out in the test"
)


def _slope(parts: dict[str, object], wires: dict[str, list[str]], hertz: float, part: str) -> dict[str, float]:
    circuit = amp(parts, [wired("network", **wires)])
    found = sensitivity(circuit, analysis=FrequencySweep(hertz, 10.0 * hertz, 1))["slope"]
    return {f"10 % of {part}": float(found.sel(part=part).values[0, 0, 0])}


def _slope_cases() -> list[Case]:
    tenth = 0.1 * 20.0 / np.log(10.0)
    limit = Limit(2e-3, "one-sided step of a thousandth, scaled to 10 %: 0.002 dB", "dB")
    two = {"R1": ["in", "out"], "R2": ["out", "ground"]}
    low_pass = {"R1": ["in", "out"], "C1": ["out", "ground"], "R2": ["out", "ground"]}
    at = 1.0 / (2.0 * np.pi * 10e3 * 10e-9)
    return [
        _slope_case("sensitivity of a divider", tenth * 0.75, limit,
                    partial(_slope, {"R1": 3e4, "R2": 1e4}, two, 1e3, "R2"), "R2"),
        _slope_case("sensitivity of an RC corner", -tenth * 0.5, limit,
                    partial(_slope, {"R1": 1e4, "C1": 1e-8, "R2": 1e11}, low_pass, at, "C1"), "C1"),
    ]  # fmt: skip


def _slope_case(name: str, value: float, limit: Limit, measure: Callable[[], Mapping[str, float]], part: str) -> Case:
    claim = Claim(name, f"10 % of {part}", float(value), "dB", _SLOPES, "computed", CLOSED, limit)
    return Case((claim,), measure)


def cases() -> list[Case]:
    """Every circuit and lot with its claims."""
    return [*(_lot_case(row) for row in ROWS), _divider_case(), _error_case(), *_slope_cases()]
