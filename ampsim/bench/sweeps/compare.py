"""A measured sweep held against a simulated one: level taken out over a stated band, difference, tolerance band."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from ...base.errors import DescriptionError
from ...measures.labels import with_units
from ...measures.percentiles import PERCENTS, percentiles
from ...studies.findings import Finding, Grade
from ...studies.spread.measures import TONE_BANDS

Array = NDArray[np.float64]
# The level is taken out over this part of the band [Hz]: our choice, no source.
ALIGNED = (100.0, 5000.0)
_BAND_PERCENTS = (PERCENTS[0], PERCENTS[-1])
_LEAST_POINTS = 5
SLIGHT_DB = 0.3
"""What a sweep may be off by itself, recorded and levelled as a workshop does it [dB]: our choice, no source."""
_FAR = 3.0 / 1.6449
"""Three standard deviations over those that 90 % of amps lie within [ratio]."""
# From so many measured points on, those around a frequency of the simulation are averaged.
_DENSE = 3


class ToleranceBand(NamedTuple):
    """What a run of amps of one drawing fills once the level of each is taken out.

    `low`, `high`: 5 and 95 % [dB] at the frequencies of the simulation. `usual`: 95 % of the amps lie between them at
    this share of the frequencies or more; `least`: all do.
    """

    low: Array
    high: Array
    usual: float
    least: float


def compare(
    measured: xr.DataArray,
    simulated: xr.DataArray,
    band: tuple[float, float] = ALIGNED,
    tolerance: ToleranceBand | None = None,
) -> xr.Dataset:
    """Hold a measured gain against a simulated one, both in dB with the single dim frequency.

    Parameters
    ----------
    measured : xarray.DataArray
        Such as ``read_recording(...)["gain_db"]``.
    simulated : xarray.DataArray
        Such as ``gain_db(response)`` at one variant and position.
    band : tuple of float
        The measured curve is moved so that the mean of the difference over log frequency is zero from here to there
        [Hz].
    tolerance : ToleranceBand
        Of amps whose level is taken out over the same band (`tolerance_band`); its edges are at the frequencies of
        `simulated`.

    Returns
    -------
    xarray.Dataset
        dim frequency: those of the simulation that were measured too. `measured` (moved), `simulated`, `difference`
        (measured less simulated), and with a tolerance band `low` and `high` (its edges less the simulation) and
        `within`. ``attrs``: `level_db`, by how much the measured curve was moved, `band_from`, `band_to` [Hz], `usual`
        and `least` of the tolerance band.

    Raises
    ------
    DescriptionError
        When both curves share too few frequencies, or too few of them lie in the band.
    """
    grid, there = _common_grid(measured, simulated)
    drawn = simulated.values[there]
    seen = resample(measured, grid)
    level = -_mean(seen - drawn, grid, band)
    data: dict[str, Any] = {
        "measured": ("frequency", seen + level, {"units": "dB"}),
        "simulated": ("frequency", drawn, {"units": "dB"}),
        "difference": ("frequency", seen + level - drawn, {"units": "dB"}),
    }
    facts: dict[str, Any] = {"level_db": float(level), "band_from": band[0], "band_to": band[1]}
    if tolerance is not None:
        edges = [np.asarray(each, float)[there] - drawn for each in (tolerance.low, tolerance.high)]
        data |= {name: ("frequency", edge, {"units": "dB"}) for name, edge in zip(("low", "high"), edges, strict=True)}
        inside = (data["difference"][1] >= edges[0]) & (data["difference"][1] <= edges[1])
        data["within"] = ("frequency", inside, {"units": ""})
        facts |= {"usual": tolerance.usual, "least": tolerance.least}
    coords = {"frequency": ("frequency", grid, {"units": "Hz"})}
    facts |= {name: measured.attrs[name] for name in ("source",) if name in measured.attrs}
    return xr.Dataset(data, coords, facts)


def tolerance_band(amps: xr.DataArray, simulated: xr.DataArray, band: tuple[float, float] = ALIGNED) -> ToleranceBand:
    """The band that 90 % of the amps of a run lie in, frequency by frequency, once the level of each is taken out.

    Parameters
    ----------
    amps : xarray.DataArray
        Gains [dB] with dims sample and frequency, such as `measures.spread.sample_gain_db` at one variant and
        position.
    simulated : xarray.DataArray
        Gain [dB] of the amp as drawn; its frequencies may be others. Beyond those of the run the band is NaN.
    band : tuple of float
        As `compare`.

    Raises
    ------
    DescriptionError
        When too few frequencies lie in the band.
    """
    grid = amps["frequency"].values
    drawn = _interpolate(simulated["frequency"].values, simulated.values, grid)
    away = amps.transpose("sample", "frequency").values - drawn
    away = away - np.array([_mean(row, grid, band) for row in away])[:, np.newaxis]
    moved = with_units(amps.transpose("sample", "frequency").copy(data=away), "dB", "away")
    edges = percentiles(moved, _BAND_PERCENTS)["percentile"].values
    shares = ((away >= edges[0]) & (away <= edges[1])).mean(axis=1)[np.isfinite(away).all(axis=1)]
    low, high = (_interpolate(grid, edge, simulated["frequency"].values) + simulated.values for edge in edges)
    return ToleranceBand(low, high, float(np.quantile(shares, 0.05)), float(shares.min()))


def difference_table(found: xr.Dataset) -> pd.DataFrame:
    """Differences by part of the band: mean, greatest and where, and how much of it lies in the tolerance band."""
    rows = []
    grid = found["frequency"].values
    for name, (start, stop) in {"all": (grid[0], np.nextafter(grid[-1], np.inf)), **TONE_BANDS}.items():
        part = found.isel(frequency=(grid >= start) & (grid < stop))
        if not part.sizes["frequency"]:
            continue
        difference = part["difference"].values
        most = int(np.argmax(np.abs(difference)))
        rows.append(
            {
                "part of the band": name,
                "mean difference [dB]": float(difference.mean()),
                "greatest difference [dB]": float(difference[most]),
                "at [Hz]": float(part["frequency"].values[most]),
                "within tolerance [%]": 100.0 * float(part["within"].mean()) if "within" in part else float("nan"),
            }
        )
    return pd.DataFrame(rows)


def excess_db(found: xr.Dataset) -> Array:
    """How far the measured curve is above (+) or below (-) the tolerance band [dB], 0 inside; shape (frequency,)."""
    difference = found["difference"].values
    return np.asarray(difference - np.clip(difference, found["low"].values, found["high"].values))


def far_out_db(found: xr.Dataset) -> Array:
    """How far the measured curve is beyond three standard deviations of the run, and what a sweep is off itself [dB].

    0 inside; shape (frequency,). Of a normal spread 90 % of amps lie within 1.64 standard deviations.
    """
    low, high = found["low"].values, found["high"].values
    middle, room = 0.5 * (low + high), _FAR * 0.5 * (high - low) + SLIGHT_DB
    return np.asarray(np.maximum(np.abs(found["difference"].values - middle) - room, 0.0))


def sweep_findings(found: xr.Dataset, variant: str, position: str) -> list[Finding]:
    """Whether the amp on the bench is the one drawn, as far as its parts' and valves' tolerances allow."""
    grid, difference = found["frequency"].values, found["difference"].values
    facts = ("measured sweep", "difference from the drawing", variant, position)
    how = f"measured sweep, level taken out from {found.attrs['band_from']:g} to {found.attrs['band_to']:g} Hz"
    source = "definition; held against the same share of each amp of the run"
    if "within" not in found:
        most = int(np.argmax(np.abs(difference)))
        words = (
            f"The measured sweep differs from the simulated by up to {difference[most]:+.1f} dB, at {grid[most]:.0f} "
            "Hz; what the tolerances of the parts allow was not asked"
        )
        return [Finding(*facts, float(difference[most]), "dB", None, Grade.UNKNOWN, words, how, source, "compared")]
    share, usual = float(found["within"].mean()), float(found.attrs["usual"])
    excess = excess_db(found)
    grade = Grade.FINE if share >= usual or np.abs(excess).max() <= SLIGHT_DB else Grade.NEAR
    grade = Grade.BEYOND if share < found.attrs["least"] and far_out_db(found).max() > 0.0 else grade
    words = _verdict(grade, share, usual, excess, grid)
    return [Finding(*facts, 100.0 * share, "%", 100.0 * usual, grade, words, how, source, "compared", least=True)]


def _verdict(grade: Grade, share: float, usual: float, excess: Array, grid: Array) -> str:
    most = int(np.argmax(np.abs(excess)))
    side = "above" if excess[most] > 0.0 else "below"
    beyond = f"; at {grid[most]:.0f} Hz it is {abs(excess[most]):.1f} dB {side} it" if excess[most] else ""
    if grade is Grade.FINE and share < usual:
        beyond += f", and a sweep may be off by {SLIGHT_DB:g} dB by itself"
    elsewhere = "a control not where it was said to be, or the signal came in or was heard elsewhere"
    words = {
        Grade.FINE: "the amp on the bench is the one drawn, as far as this tells",
        Grade.NEAR: f"a part may be off its value, {elsewhere}",
    }.get(grade, f"no amp of the run is as far out: a part is off its value, {elsewhere}")
    return (
        f"The measured sweep lies within the tolerance band at {100.0 * share:.0f} % of the frequencies, where 95 of "
        f"100 amps of this drawing do at {100.0 * usual:.0f} % or more{beyond}: {words}"
    )


def _common_grid(measured: xr.DataArray, simulated: xr.DataArray) -> tuple[Array, NDArray[np.bool_]]:
    for curve, name in ((measured, "measured"), (simulated, "simulated")):
        if curve.dims != ("frequency",):
            dims = ", ".join(map(str, curve.dims))
            raise DescriptionError(f"the {name} curve has dims {dims}; choose one variant and position")
    known = measured["frequency"].values[np.isfinite(measured.values)]
    grid = simulated["frequency"].values
    there = np.isfinite(simulated.values)
    there &= (grid >= known[0] * (1 - 1e-9)) & (grid <= known[-1] * (1 + 1e-9)) if known.size else False
    if there.sum() < _LEAST_POINTS:
        ends = f"{known[0]:g} to {known[-1]:g} Hz" if known.size else "nothing"
        raise DescriptionError(f"measured is {ends}, simulated {grid[0]:g} to {grid[-1]:g} Hz: too little in common")
    return grid[there], there


def resample(measured: xr.DataArray, grid: Array) -> Array:
    """A measured curve [dB] at other frequencies [Hz]: averaged where it is dense, in between where it is not."""
    good = np.isfinite(measured.values)
    at, values = measured["frequency"].values[good], measured.values[good]
    found = _interpolate(at, values, grid)
    middles = np.sqrt(grid[1:] * grid[:-1])
    edges = np.concatenate(([grid[0] ** 2 / middles[0]], middles, [grid[-1] ** 2 / middles[-1]]))
    sums = np.concatenate(([0.0], np.cumsum(values)))
    places = np.searchsorted(at, edges)
    counts = np.diff(places)
    dense = counts >= _DENSE
    found[dense] = (np.diff(sums[places]) / np.maximum(counts, 1))[dense]
    return found


def _interpolate(at: Array, values: Array, wanted: Array) -> Array:
    """Straight lines over log frequency; NaN beyond the ends."""
    log = np.log(at)
    slack = 1e-9
    inside = np.clip(np.log(wanted), log[0], log[-1])
    found = np.interp(inside, log, values)
    found[np.abs(inside - np.log(wanted)) > slack] = np.nan
    return np.asarray(found)


def _mean(values: Array, grid: Array, band: tuple[float, float]) -> float:
    """Mean over log frequency from one frequency to another, by the trapezium rule."""
    inside = (grid >= band[0]) & (grid <= band[1]) & np.isfinite(values)
    if inside.sum() < _LEAST_POINTS:
        raise DescriptionError(
            f"{int(inside.sum())} frequencies lie from {band[0]:g} to {band[1]:g} Hz, over which the level is taken "
            f"out; {_LEAST_POINTS} or more are needed, of {grid[0]:.4g} to {grid[-1]:.4g} Hz"
        )
    log = np.log(grid[inside])
    return float(np.trapezoid(values[inside], log) / (log[-1] - log[0]))
