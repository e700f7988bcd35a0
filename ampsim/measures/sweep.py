"""Measures of a frequency sweep: gain, phase, corners, peaks and notches."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ..base.errors import DescriptionError
from .labels import index_of, voltage_at, with_units

Array = NDArray[np.float64]
HALF_POWER_DB = 10.0 * np.log10(2.0)
_SWEEP = "frequency sweep"


def gain_db(response: xr.Dataset, node: str | None = None, reference: str | None = None) -> xr.DataArray:
    """Gain [dB] from the source, or from a reference node, to a node.

    Parameters
    ----------
    response : xarray.Dataset
        A frequency sweep (1 V at the source).
    node : str
        Where to listen; default the output.
    reference : str
        Node the gain is counted from; default the source.

    Returns
    -------
    xarray.DataArray
        dims (variant, position, frequency) [dB]; minus infinity where there is no signal at all.

    Raises
    ------
    DescriptionError
        For another kind of response or an unknown node, with the nearest known ones.

    Notes
    -----
    20 log10 |V(node) / V(reference)|, the definition of voltage level difference (IEC 60027-3).
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = _ratio(response, node, reference)
        gain = 20.0 * np.log10(np.abs(ratio.values))
    return with_units(ratio.copy(data=gain), "dB", "gain")


def phase_deg(response: xr.Dataset, node: str | None = None, reference: str | None = None) -> xr.DataArray:
    """Phase [degrees] of a node against the source or a reference node, unwrapped from the lowest frequency up.

    Parameters, dims and errors as `gain_db`. Definition: arg(V(node) / V(reference)), steps of more than half a
    turn between neighbouring frequencies taken as a turn.
    """
    phase = _phase(response, node, reference)
    return with_units(phase.copy(data=np.degrees(phase.values)), "degree", "phase")


def group_delay_s(response: xr.Dataset, node: str | None = None, reference: str | None = None) -> xr.DataArray:
    """Group delay [s]: minus the slope of the phase over angular frequency (definition), of a cubic spline.

    Parameters, dims and errors as `gain_db`.
    """
    from scipy.interpolate import CubicSpline

    phase = _phase(response, node, reference).transpose(..., "frequency")
    omega = 2.0 * np.pi * phase["frequency"].values
    slope = CubicSpline(np.log(omega), phase.values, axis=-1)(np.log(omega), 1) / omega
    return with_units(phase.copy(data=-slope), "s", "group delay")


def gain_at(
    response: xr.Dataset, frequencies: Sequence[float], node: str | None = None, reference: str | None = None
) -> xr.DataArray:
    """Gain [dB] at chosen frequencies [Hz]: straight lines in dB over log frequency between the points of the sweep.

    Dims (variant, position, frequency).

    Parameters
    ----------
    response : xarray.Dataset
        Of a frequency sweep.
    frequencies : sequence of float
        Where [Hz].
    node : str
        Where to listen; default the output.
    reference : str
        The place the gain counts from; default the source.

    Raises
    ------
    DescriptionError
        For a frequency outside the sweep; else as `gain_db`.
    """
    gain = gain_db(response, node, reference)
    wanted = np.asarray(frequencies, dtype=float)
    grid = gain["frequency"].values
    for frequency in wanted:
        if not grid[0] * (1.0 - 1e-9) <= frequency <= grid[-1] * (1.0 + 1e-9):
            raise DescriptionError(f"{frequency:g} Hz lies outside the sweep, {grid[0]:g} to {grid[-1]:g} Hz")
    axis = gain.get_axis_num("frequency")
    rows = np.apply_along_axis(_at, axis, gain.values, np.log(grid), np.log(wanted))
    coords = {name: coord for name, coord in gain.coords.items() if "frequency" not in coord.dims}
    coords["frequency"] = xr.DataArray(wanted, dims="frequency", attrs={"units": "Hz"})
    return with_units(xr.DataArray(rows, coords, gain.dims), "dB", "gain")


def difference_db(
    response: xr.Dataset, node: str | None = None, base: str | None = None, reference: str | None = None
) -> xr.DataArray:
    """Gain [dB] of every other variant minus the gain of a base variant, at the same position (definition).

    Dims (variant without the base, position, frequency); errors as `gain_db`.

    Parameters
    ----------
    response : xarray.Dataset
        Of a frequency sweep.
    node : str
        Where to listen; default the output.
    base : str
        The variant to compare with; default the first.
    reference : str
        The place the gain counts from; default the source.
    """
    gain = gain_db(response, node, reference)
    place = 0 if base is None else index_of(gain, "variant", base)
    others = [index for index in range(gain.sizes["variant"]) if index != place]
    with np.errstate(invalid="ignore"):
        change = gain.isel(variant=others) - gain.isel(variant=place, drop=True)
    return with_units(change, "dB", "change", base=str(gain["variant"].values[place]))


def corner_hz(
    response: xr.Dataset, node: str | None = None, mid: float | None = None, reference: str | None = None
) -> xr.DataArray:
    """Corner frequencies [Hz]: where the gain has fallen to half power, 3.01 dB below the middle of the band.

    Parameters
    ----------
    response, node, reference
        As `gain_db`, and so the errors.
    mid : float
        Frequency [Hz] of the middle; default where the gain is greatest.

    Returns
    -------
    xarray.DataArray
        dims (variant, position, edge) with edge "lower" and "upper"; the crossings nearest to the middle, by straight
        lines in dB over log frequency. NaN where the sweep ends first; the coordinate `note` then says so.

    Notes
    -----
    Half power as the edge of a band is the usual definition (IEV 702-08-45, "3 dB bandwidth"; number from memory).
    """
    gain = gain_db(response, node, reference)
    if mid is not None:
        gain_at(response, [mid], node, reference)  # says so when mid lies outside the sweep
    grid = gain["frequency"].values
    found = xr.apply_ufunc(
        _corners,
        gain,
        input_core_dims=[["frequency"]],
        output_core_dims=[["edge"]],
        vectorize=True,
        kwargs={"log_f": np.log(grid), "middle": None if mid is None else np.log(mid)},
    )
    beyond = np.array([f"below {grid[0]:g} Hz, or none", f"above {grid[-1]:g} Hz, or none"])
    note = np.where(np.isnan(found.values), beyond, "")
    found = found.assign_coords(edge=["lower", "upper"], note=(found.dims, note))
    return with_units(found, "Hz", "corner", drop_db=HALF_POWER_DB)


def peak(response: xr.Dataset, node: str | None = None, reference: str | None = None) -> xr.Dataset:
    """The most prominent peak of the gain inside the sweep.

    Parameters and errors as `gain_db`; narrow the search with ``response.sel(frequency=slice(200, 2000))``.

    Returns
    -------
    xarray.Dataset
        `frequency` [Hz], `level` [dB] and `relative` [dB], dims (variant, position). Frequency and level are those of
        the parabola through the highest point and its neighbours, in dB over log frequency; `relative` is the height
        above the higher of the two valleys beside it (topographic prominence). NaN where there is no peak.
    """
    return _extreme(gain_db(response, node, reference), 1.0)


def notch(response: xr.Dataset, node: str | None = None, reference: str | None = None) -> xr.Dataset:
    """The most prominent notch of the gain inside the sweep; as `peak`, `relative` [dB] negative.

    `relative` counts from the lower of the two shoulders beside the notch.
    """
    return _extreme(gain_db(response, node, reference), -1.0)


def _ratio(response: xr.Dataset, node: str | None, reference: str | None) -> xr.DataArray:
    voltage = voltage_at(response, node, _SWEEP)
    if reference is None:
        return voltage
    return voltage / voltage_at(response, reference, _SWEEP).drop_vars("node")


def _phase(response: xr.Dataset, node: str | None, reference: str | None) -> xr.DataArray:
    ratio = _ratio(response, node, reference)
    angle = np.unwrap(np.angle(ratio.values), axis=ratio.get_axis_num("frequency"))
    return ratio.copy(data=angle)


def _at(gain: Array, log_f: Array, wanted: Array) -> Array:
    # Minus infinity has no straight line to its neighbour: between such points the gain is unknown.
    with np.errstate(invalid="ignore"):
        return np.asarray(np.interp(wanted, log_f, gain))


def _corners(gain: Array, log_f: Array, middle: float | None) -> Array:
    if middle is None:
        middle = float(log_f[np.argmax(gain)])
    edge = float(_at(gain, log_f, np.array([middle]))[0]) - HALF_POWER_DB
    below, above = log_f <= middle, log_f >= middle
    lower = _crossing(log_f[below][::-1], gain[below][::-1], middle, edge)
    upper = _crossing(log_f[above], gain[above], middle, edge)
    return np.exp([lower, upper])


def _crossing(log_f: Array, gain: Array, middle: float, edge: float) -> float:
    """Log frequency where the gain, followed from the middle outwards, first falls below an edge; NaN if never."""
    fallen = np.flatnonzero(gain < edge)
    if not fallen.size:
        return float("nan")
    outer = int(fallen[0])
    near_f, near = (log_f[outer - 1], gain[outer - 1]) if outer else (middle, edge + HALF_POWER_DB)
    return float(near_f + (near - edge) / (near - gain[outer]) * (log_f[outer] - near_f))


def _extreme(gain: xr.DataArray, sign: float) -> xr.Dataset:
    log_f = np.log(gain["frequency"].values)
    frequency, level, relative = xr.apply_ufunc(
        _summit,
        sign * gain,
        input_core_dims=[["frequency"]],
        output_core_dims=[[], [], []],
        vectorize=True,
        kwargs={"log_f": log_f},
    )
    return xr.Dataset({
        "frequency": with_units(frequency, "Hz", "frequency"),
        "level": with_units(sign * level, "dB", "level"),
        "relative": with_units(sign * relative, "dB", "relative"),
    })  # fmt: skip


def _summit(gain: Array, log_f: Array) -> tuple[float, float, float]:
    from scipy.signal import find_peaks, peak_prominences

    places = find_peaks(gain)[0]
    if not places.size:
        return float("nan"), float("nan"), float("nan")
    prominence = peak_prominences(gain, places)[0]
    best = int(np.argmax(prominence))
    shape: Any = np.polynomial.Polynomial.fit(log_f[places[best] - 1 :][:3], gain[places[best] - 1 :][:3], 2)
    top = float(shape.deriv().roots()[0])
    lift = float(shape(top)) - float(gain[places[best]])
    return float(np.exp(top)), float(shape(top)), float(prominence[best]) + lift
