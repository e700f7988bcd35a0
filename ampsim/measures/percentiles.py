"""Percentiles over a run of amps, with their standard errors.

A percentile of n amps has about the standard error (Q(p + d) - Q(p - d)) / 2 with d = sqrt(p (1 - p) / n), half the
distance between the order statistics one binomial standard deviation above and below (H. A. David, H. N. Nagaraja,
Order Statistics, chapter 7, from memory); it needs no assumption about the distribution.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr
from numpy.typing import NDArray

Array = NDArray[np.float64]
PERCENTS = (5.0, 50.0, 95.0)


def percentiles(values: xr.DataArray, percents: Sequence[float] = PERCENTS) -> xr.Dataset:
    """Percentiles over the amps and their standard errors, both in the unit of the values.

    Parameters
    ----------
    values : xarray.DataArray
        With a dim sample, in any unit ([V], [dB] ...); NaN are left out.
    percents : sequence of float
        Between 0 and 100 [%].

    Returns
    -------
    xarray.Dataset
        `percentile` and `error` with dims (percent, ... the others of `values`).
    """
    table = np.moveaxis(values.values, values.dims.index("sample"), 0)
    found = [_percentile(table, each / 100.0) for each in percents]
    dims = ("percent", *(dim for dim in values.dims if dim != "sample"))
    coords = {name: coord for name, coord in values.coords.items() if "sample" not in coord.dims}
    data = {
        "percentile": (dims, np.stack([each for each, _ in found]), dict(values.attrs)),
        "error": (dims, np.stack([each for _, each in found]), dict(values.attrs)),
    }
    return xr.Dataset(data, {**coords, "percent": ("percent", list(percents), {"units": "%"})})


def _percentile(table: Array, share: float) -> tuple[Array, Array]:
    count = np.maximum(np.isfinite(table).sum(axis=0).min(initial=len(table)), 1)
    step = np.sqrt(share * (1.0 - share) / count)
    quantile = np.nanquantile if np.isnan(table).any() else np.quantile  # the former goes column by column
    low, middle, high = quantile(table, np.clip([share - step, share, share + step], 0.0, 1.0), axis=0)
    return np.asarray(middle), np.asarray(0.5 * (high - low))
