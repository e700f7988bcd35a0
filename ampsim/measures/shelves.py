"""Shelves and slopes of a frequency sweep: how far the gain rises or falls between two frequencies."""

from __future__ import annotations

import numpy as np
import xarray as xr

from ..base.errors import DescriptionError, shown
from .labels import with_units
from .sweep import gain_at


def shelf_db(
    response: xr.Dataset, low: float, high: float, node: str | None = None, reference: str | None = None
) -> xr.DataArray:
    """Height [dB] of a shelf: gain at `high` minus gain at `low` (definition); dims (variant, position).

    Parameters
    ----------
    response : xarray.Dataset
        Of a frequency sweep.
    low, high : float
        Frequencies on both sides of the shelf [Hz].
    node : str
        Where to listen; default the output.
    reference : str
        The place the gain counts from; default the source.
    """
    gain = gain_at(response, [low, high], node, reference)
    step = gain.isel(frequency=1, drop=True) - gain.isel(frequency=0, drop=True)
    return with_units(step, "dB", "shelf", low_hz=low, high_hz=high)


def slope_db_per_octave(
    response: xr.Dataset, low: float, high: float, node: str | None = None, reference: str | None = None
) -> xr.DataArray:
    """Mean slope [dB/octave]: the shelf over log2(high / low); dims (variant, position).

    Parameters
    ----------
    response, node, reference
        As `shelf_db`.
    low, high : float
        Where the slope begins and ends [Hz].

    Raises
    ------
    DescriptionError
        Without 0 < low < high; else as `gain_at`.
    """
    if not 0.0 < low < high:
        raise DescriptionError(f"a slope from {shown(low)} to {shown(high)} Hz; expected 0 < low < high")
    slope = shelf_db(response, low, high, node, reference) / np.log2(high / low)
    return with_units(slope, "dB/octave", "slope", low_hz=low, high_hz=high)
