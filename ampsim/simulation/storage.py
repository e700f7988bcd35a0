"""Save a response and load it again without loss."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import xarray as xr

from ..base.errors import DescriptionError
from ..base.files import write_whole
from ..circuit.positions import control_named


def save_response(response: xr.Dataset, path: str | Path) -> Path:
    """Save a response as a netCDF file; nothing is lost, and nothing half-written replaces an older file.

    The file is netCDF-3, which has no complex numbers: `voltage` of a sweep is stored with a last dimension "part"
    (real, imaginary).
    """
    target = Path(path)
    stored = response
    if np.iscomplexobj(response["voltage"].values):
        voltage = response["voltage"]
        split = np.stack([voltage.values.real, voltage.values.imag], axis=-1)
        stored = response.assign(voltage=((*voltage.dims, "part"), split, voltage.attrs))
    # Names of coordinates are listed with spaces between them, so one with a space is stored as a variable.
    spaced = [name for name in stored.coords if " " in str(name)]
    return write_whole(target, bytes(stored.reset_coords(spaced).to_netcdf(engine="scipy")))


def load_response(path: str | Path) -> xr.Dataset:
    """Load a response that `save` wrote; equal to what was saved, attributes included.

    Raises
    ------
    DescriptionError
        When there is no such file or it is no response of ours.
    """
    try:
        with xr.open_dataset(path, engine="scipy") as opened:
            stored = opened.load()
    except (OSError, ValueError, KeyError) as problem:
        raise DescriptionError(f"{path}: not a saved response: {problem}") from None
    if "voltage" not in stored or "analysis" not in stored.attrs:
        raise DescriptionError(f"{path}: not a saved response: 'voltage' or 'analysis' is missing")
    if "part" in stored["voltage"].dims:
        voltage = stored["voltage"]
        whole = voltage.values[..., 0] + 1j * voltage.values[..., 1]
        stored = stored.assign(voltage=(voltage.dims[:-1], whole, voltage.attrs))
    return stored.set_coords([name for name in stored.data_vars if control_named(str(name)) is not None])
