"""Spread of a run of amps: bands of percentiles, and whether a mod stands out of what another set of valves does."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from ...base.errors import DescriptionError
from ...measures.labels import expect, index_of, with_units
from ...measures.percentiles import PERCENTS, percentiles

Array = NDArray[np.float64]
# Parts of the band [Hz]: our choice, no source.
TONE_BANDS = {
    "bass": (80.0, 250.0),
    "middle": (250.0, 1000.0),
    "upper middle": (1000.0, 2500.0),
    "treble": (2500.0, 6000.0),
}
LEVEL = "level"
WHOLE = (80.0, 6000.0)
_RESAMPLES, _SEED, _MOST_PAIRS = 200, 1, 20_000


def sample_gain_db(response: xr.Dataset, node: str | None = None) -> xr.DataArray:
    """Gain [dB] of every amp, dims (variant, position, sample, frequency); NaN where a simulation failed."""
    return _decibels(response, response["voltage"], node)


def nominal_gain_db(response: xr.Dataset, node: str | None = None) -> xr.DataArray:
    """Gain [dB] of the amp as drawn, dims (variant, position, frequency)."""
    return _decibels(response, response["nominal"], node)


def _decibels(response: xr.Dataset, voltage: xr.DataArray, node: str | None) -> xr.DataArray:
    expect(response, "frequency sweep")
    place = 0 if node is None else index_of(response, "node", node)
    with np.errstate(divide="ignore"):
        return with_units(20.0 * np.log10(np.abs(voltage.isel(node=place))), "dB", "gain")  # type: ignore[arg-type]


def band_levels(gain: xr.DataArray) -> xr.DataArray:
    """Level of parts of the band [dB], dim `band` in place of frequency.

    "level" is the mean gain in dB over log frequency from 80 Hz to 6 kHz; the others are means over their part of it,
    less "level": what is left when the volume knob has been turned back.

    Raises
    ------
    DescriptionError
        When a part of the band holds no frequency of the sweep.
    """
    level = _mean(gain, WHOLE)
    parts = [level, *(_mean(gain, band) - level for band in TONE_BANDS.values())]
    names = pd.Index([LEVEL, *TONE_BANDS], name="band")
    return with_units(xr.concat(parts, names, coords="minimal", compat="override"), "dB", "band level")


def tone_db(gain: xr.DataArray) -> xr.DataArray:
    """Gain less its "level" [dB]: what is left when the volume knob has been turned back."""
    return with_units(gain - _mean(gain, WHOLE), "dB", "tone")


def _mean(gain: xr.DataArray, band: tuple[float, float]) -> xr.DataArray:
    frequency = gain["frequency"].values
    inside = (frequency >= band[0]) & (frequency < band[1])
    if not inside.any():
        raise DescriptionError(f"no frequency of this sweep lies from {band[0]:g} to {band[1]:g} Hz")
    return gain.isel(frequency=inside).mean("frequency", skipna=False)


def spread_table(response: xr.Dataset, node: str | None = None) -> pd.DataFrame:
    """Gain of the run of amps: variant, position, part of the band, 5, 50 and 95 % [dB] and their standard errors."""
    found = percentiles(band_levels(sample_gain_db(response, node)))
    dims = ("variant", "position", "band", "percent")
    values, errors = (found[name].transpose(*dims).values for name in ("percentile", "error"))
    named = ["variant", "position", "part of the band"]
    rows = []
    for at in np.ndindex(values.shape[:3]):
        labels = (str(found[dim].values[place]) for dim, place in zip(dims, at, strict=False))
        row: dict[str, Any] = dict(zip(named, labels, strict=True))
        for name, value, error in zip(("5 %", "median", "95 %"), values[at], errors[at], strict=True):
            row |= {f"{name} [dB]": float(value), f"error of {name} [dB]": float(error)}
        rows.append(row)
    return pd.DataFrame(rows)


def rest_table(response: xr.Dataset) -> pd.DataFrame:
    """Volts at rest in a run of amps: variant, position, place, as drawn, 5, 50 and 95 % [V], and the largest error."""
    expect(response, "operating point")
    found, dims = percentiles(response["voltage"]), ("variant", "position", "node")
    volts, errors = (found[name].transpose(*dims, "percent").values for name in ("percentile", "error"))
    drawn = response["nominal"].transpose(*dims).values
    rows = []
    for at in np.ndindex(drawn.shape):
        labels = (str(response[dim].values[place]) for dim, place in zip(dims, at, strict=True))
        rows.append((*labels, float(drawn[at]), *map(float, volts[at]), float(errors[at].max())))
    columns = ["variant", "position", "place", "as drawn [V]", "5 % [V]", "median [V]", "95 % [V]", "largest error [V]"]
    return pd.DataFrame(rows, columns=columns)


class StandOut(NamedTuple):
    """What a mod does to one part of the band, against what another set of valves does [dB].

    `drawn`: change of the amp as drawn. `median`, `low`, `high`: median, 5 and 95 % of the change over the amps, each
    amp against itself; `error` of the median. `swap`: 95 % of exchanges of all valves of a stock amp change it by
    less; `swap_error`. `chance` that one modded amp lies on the mod's side of another stock amp; 0.5 says nothing.
    """

    position: str
    band: str
    drawn: float
    median: float
    low: float
    high: float
    error: float
    swap: float
    swap_error: float
    chance: float
    chance_error: float

    @property
    def times(self) -> float:
        """The change as a multiple of what a valve swap does [ratio]."""
        return abs(self.median) / self.swap if self.swap > 0.0 else float("inf")

    @property
    def clearance(self) -> float:
        """By how much the change is more than a valve swap [its own standard errors]."""
        return (abs(self.median) - self.swap) / max(float(np.hypot(self.error, self.swap_error)), 1e-9)


def stand_out(
    run: xr.Dataset, swap: xr.Dataset, base: str | None = None, modded: str | None = None, node: str | None = None
) -> list[StandOut]:
    """Hold what a mod does against what another set of valves does in the stock amp, part by part of the band.

    Parameters
    ----------
    run : xarray.Dataset
        Stock and modded, parts and valves scattered: each amp of the one is paired with the same of the other.
    swap : xarray.Dataset
        The stock amp at the same positions with `scatter.VALVE_SWAP`: the valves alone. Any two of its amps differ by
        one exchange of all valves.
    base, modded : str
        Variants; default the first and the last.
    node : str
        Where to listen; default the first node.

    Returns
    -------
    list of StandOut
        For each position every part of the band.
    """
    names = [str(each) for each in run["variant"].values]
    pair = [index_of(run, "variant", base or names[0]), index_of(run, "variant", modded or names[-1])]
    every = band_levels(sample_gain_db(run, node).isel(variant=pair))
    drawn = band_levels(nominal_gain_db(run, node).isel(variant=pair))
    valves = band_levels(sample_gain_db(swap, node).isel(variant=index_of(swap, "variant", names[pair[0]])))
    change = percentiles(every.isel(variant=1) - every.isel(variant=0))
    amps, plain = (each.transpose("variant", "position", "band", ...).values for each in (every, drawn))
    swapped = valves.transpose("position", "band", "sample").values
    values, errors = (change[name].transpose("position", "band", "percent").values for name in ("percentile", "error"))
    found = []
    for at in np.ndindex(values.shape[:2]):
        low, median, high = map(float, values[at])
        apart = (swap_size(swapped[at]), swap_error(swapped[at]))
        side = chance(amps[0][at], amps[1][at], median)
        error = float(errors[at][PERCENTS.index(50.0)])
        row = (float(plain[1][at] - plain[0][at]), median, low, high, error, *apart, *side)
        position, band = (str(every[dim].values[place]) for dim, place in zip(("position", "band"), at, strict=True))
        found.append(StandOut(position, band, *row))
    return found


def swap_size(levels: Array) -> float:
    """Return the 95 % point of |a - b| over all pairs of amps.

    Parameters
    ----------
    levels : ndarray
        Shape (samples,) [dB]; NaN are left out.
    """
    return _swap_size(np.ascontiguousarray(levels, float).tobytes())


def swap_error(levels: Array) -> float:
    """Standard error of `swap_size` [unit of the levels], by resampling the amps 200 times."""
    return _swap_error(np.ascontiguousarray(levels, float).tobytes())


# The stock amp is the same at every position of controls that it does not have: what was worked out once is kept.
@lru_cache(maxsize=1024)
def _swap_size(levels: bytes) -> float:
    known = _finite(levels)
    if known.size < 2:
        return float("nan")
    first, second = _pairs(known.size)
    return float(np.quantile(np.abs(known[first] - known[second]), 0.95))


@lru_cache(maxsize=1024)
def _swap_error(levels: bytes) -> float:
    known = _finite(levels)
    if known.size < 2:
        return float("nan")
    draw = np.random.default_rng(_SEED).integers(known.size, size=(_RESAMPLES, known.size))
    first, second = _pairs(known.size)
    if first.size == known.size * (known.size - 1) // 2:
        return float(np.std(_of_counted(known, first, second, draw), ddof=1))
    again = [float(np.quantile(np.abs(known[row][first] - known[row][second]), 0.95)) for row in draw]
    return float(np.std(again, ddof=1))


def _of_counted(known: Array, first: NDArray[np.int64], second: NDArray[np.int64], draw: NDArray[np.int64]) -> Array:
    """The 95 % point of all pairs of each draw: the pairs are put in order once, and how often each is drawn counted.

    An amp that is drawn twice is no distance from itself, so these pairs come last of all.
    """
    apart = np.abs(known[first] - known[second])
    order = np.argsort(apart)[::-1]
    counts = np.stack([np.bincount(row, minlength=known.size) for row in draw])
    place = 0.95 * (apart.size - 1)
    ranks = apart.size - 1 - int(place), apart.size - 2 - int(place)  # from the largest on
    taken = max(apart.size // 8, 1)  # more than a twentieth, whatever is drawn, but for very few amps
    while True:
        some = order[:taken]
        above = np.cumsum(counts[:, first[some]] * counts[:, second[some]], axis=1)
        if taken >= apart.size or (above[:, -1:] > ranks[0]).all():
            break
        taken = apart.size
    values = np.append(apart[some], 0.0)
    lower, upper = (values[(above <= rank).sum(axis=1)] for rank in ranks)
    return np.asarray(lower + (upper - lower) * (place - int(place)))


def _finite(levels: bytes) -> Array:
    found = np.frombuffer(levels)
    return found[np.isfinite(found)]


def _pairs(count: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """All pairs; of many amps some, which say as much."""
    first, second = np.triu_indices(count, 1)
    if first.size > _MOST_PAIRS:
        keep = np.random.default_rng(_SEED).choice(first.size, _MOST_PAIRS, replace=False)
        first, second = first[keep], second[keep]
    return first, second


def chance(stock: Array, modded: Array, direction: float) -> tuple[float, float]:
    """Chance that a modded amp lies on one side of another stock amp, and its standard error [ratio].

    The share of pairs of different amps, ties counting half (W. Hoeffding, Annals of Mathematical Statistics 19,
    1948, U-statistics, from memory: the error is that of the projection on single amps).

    Parameters
    ----------
    stock, modded : ndarray
        Shape (samples,): the same amps without and with the mod.
    direction : float
        Its sign says which side.
    """
    known = np.isfinite(stock) & np.isfinite(modded)
    stock, modded, count = stock[known], modded[known], int(known.sum())
    if count < 2:
        return float("nan"), float("nan")
    wins = 0.5 + 0.5 * np.sign((modded[:, np.newaxis] - stock[np.newaxis, :]) * np.copysign(1.0, direction))
    np.fill_diagonal(wins, 0.0)
    single = (wins.sum(axis=0) + wins.sum(axis=1)) / (count - 1)
    return float(wins.sum() / (count * (count - 1))), float(np.std(single, ddof=1) / np.sqrt(count))
