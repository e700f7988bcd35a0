"""Measures of a knob's travel: how much of what it does lies in each quarter of its turn."""

from __future__ import annotations

import numpy as np
import xarray as xr

from .labels import with_units

SILENT_DB = 60.0
"""What lies further below the loudest place of the travel counts as silence [dB]; our choice, as for listening."""
QUARTERS = ("0 to 2.5", "2.5 to 5", "5 to 7.5", "7.5 to 10")
NOTHING_DB = 0.1
"""A knob that changes less than this on its whole way does nothing at a frequency [dB]; our choice."""


def audible_gain(gain: xr.DataArray) -> xr.DataArray:
    """Gain [dB] over a knob's travel, no lower than silence: `SILENT_DB` below the loudest place of each frequency."""
    floor = gain.max(("taper", "rotation")) - SILENT_DB
    heard = gain.where(gain > floor, floor)  # no signal at all is silence too
    return with_units(heard.transpose(*gain.dims), "dB", "gain")


def quarter_shares(gain: xr.DataArray) -> xr.DataArray:
    """The share [%] of the change that each quarter of the turn makes, dims (taper, quarter, frequency).

    The change is the way that the gain goes up and down in decibels, from silence on; NaN where the knob does nothing.

    Parameters
    ----------
    gain : xarray.DataArray
        Dims (taper, rotation, frequency) [dB]; rotations evenly from 0 to 1, a multiple of four steps.
    """
    steps = np.abs(np.diff(audible_gain(gain).transpose("taper", "rotation", "frequency").values, axis=1))
    quarters = steps.reshape(len(steps), 4, -1, steps.shape[2]).sum(axis=2)
    whole = quarters.sum(axis=1, keepdims=True)
    shares = np.where(whole > NOTHING_DB, 100.0 * quarters / np.where(whole > 0.0, whole, 1.0), np.nan)
    coords = {"taper": gain["taper"], "quarter": list(QUARTERS), "frequency": gain["frequency"]}
    return with_units(xr.DataArray(shares, coords, ("taper", "quarter", "frequency")), "%", "share")


def most_moved(gain: xr.DataArray) -> float:
    """The frequency [Hz] at which the knob changes most, from end to end of what it does."""
    heard = audible_gain(gain).isel(taper=0)
    span = heard.max("rotation") - heard.min("rotation")
    return float(gain["frequency"].values[int(np.argmax(span.values.round(3)))])
