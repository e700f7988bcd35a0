"""Measures of a transient with a sine: settled window, harmonics, level, power."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ..base.cubic import cubic
from ..base.errors import DescriptionError
from ..circuit.build import SPEAKER
from ..simulation.band_limit import drift
from ..simulation.facts import STIMULUS, StimulusFacts, get
from .labels import expect, index_of, voltage_at, with_units

FLOOR_DB = -75.0
"""Harmonics this far below the fundamental are not trusted: at a 20 us step they were found wrong by 2 dB and more
against a 0.5 us step and a tighter tolerance."""

_TRANSIENT = "transient"
_POINTS_PER_CYCLE = 1024


def stimulus(response: xr.Dataset) -> StimulusFacts:
    """The stimulus of a transient: shape, frequency [Hz], level [V peak], settle [s], cycles, ...

    Raises
    ------
    DescriptionError
        For the response of another analysis.
    """
    expect(response, _TRANSIENT)
    return get(response, STIMULUS)


def steady_voltage(response: xr.Dataset, node: str | None = None) -> xr.DataArray:
    """Voltage [V] over the last whole cycles of the sine, both ends included; dims (variant, position, time).

    Raises
    ------
    DescriptionError
        When the stimulus is no sine, the response is shorter than its cycles, or the node is unknown.
    """
    return _settled(voltage_at(response, node, _TRANSIENT), response)


def _settled(wave: xr.DataArray, response: xr.Dataset) -> xr.DataArray:
    return wave.isel(time=wave["time"].values >= _window_start(response) - 1e-9)


def source_v(response: xr.Dataset) -> xr.DataArray:
    """Voltage [V] of the source over time: the node "input" when it was listened to, else the sine as defined."""
    if str(response.attrs["input"]) in response["node"].values:
        first = {"variant": 0, "position": 0, "node": index_of(response, "node", str(response.attrs["input"]))}
        return with_units(response["voltage"].isel(first, drop=True), "V", "source")
    facts = _sine(response)
    time = response["time"]
    wave = time.copy(data=facts.level * np.sin(2.0 * np.pi * facts.frequency * time.values))
    return with_units(wave, "V", "source")


def harmonics(response: xr.Dataset, node: str | None = None, count: int = 10) -> xr.Dataset:
    """Harmonics of the settled waveform at a node.

    Parameters
    ----------
    response : xarray.Dataset
        A transient with a sine.
    node : str
        Where to listen; default the output.
    count : int
        Highest order.

    Returns
    -------
    xarray.Dataset
        `amplitude` [V peak], `relative` [dB of the fundamental] and `phase` [degrees], dims (variant, position,
        harmonic), harmonic 1 to count; `thd` [%], dims (variant, position). Harmonic n of the wave is amplitude x
        sin(n x 360 x f x t + phase), where the source is level x sin(360 x f x t). NaN for orders above half the
        sampling rate, for relative and thd where there is no fundamental, for phase below the floor.
        ``attrs["floor_db"]``: below it (see `FLOOR_DB`) numbers are not trusted.

    Raises
    ------
    DescriptionError
        As `steady_voltage`.

    Notes
    -----
    A cubic spline takes exactly the last whole cycles to 1024 points a cycle, less the straight line of what drift is
    left between their means; rectangular window, so each harmonic falls on one bin of the Fourier transform. Total
    harmonic distortion is the root of the summed squares of harmonics 2 to `count` over the fundamental (definition).
    """
    cycles = int(_sine(response).cycles)
    spectrum = _bins(_window(response, node), cycles, count)
    amplitude = spectrum.copy(data=np.abs(spectrum.values))
    orders = np.arange(1, count + 1)
    resolved = orders * _sine(response).frequency < 0.5 / _step(response) * (1.0 - 1e-9)
    amplitude = amplitude.assign_coords(harmonic=orders).where(xr.DataArray(resolved, dims="harmonic"))
    with np.errstate(divide="ignore", invalid="ignore"):
        share = amplitude / amplitude.isel(harmonic=0, drop=True).where(lambda first: first > 0.0)
        relative = share.copy(data=20.0 * np.log10(share.values))
    power = (share.isel(harmonic=slice(1, None)) ** 2).sum("harmonic", skipna=True)
    thd = (100.0 * power**0.5).where(share.isel(harmonic=0, drop=True).notnull())
    turned = spectrum * np.exp(-2j * np.pi * _sine(response).frequency * _window_start(response) * orders)
    phase = amplitude.copy(data=np.degrees(np.angle(1j * turned.values)))
    parts = {
        "amplitude": with_units(amplitude, "V", "amplitude"),
        "relative": with_units(relative, "dB", "relative"),
        "phase": with_units(phase.where(relative >= FLOOR_DB), "degrees", "phase"),
        "thd": with_units(thd, "%", "thd"),
    }
    return xr.Dataset(parts, attrs={"floor_db": FLOOR_DB})


def rms_v(response: xr.Dataset, node: str | None = None) -> xr.DataArray:
    """Root mean square [V] of the alternating part over the settled cycles (definition); dims (variant, position)."""
    return with_units(_window(response, node).std("time"), "V", "rms")


def power_w(response: xr.Dataset) -> xr.DataArray:
    """Mean power [W] that the load takes: the mean of volts times amperes; dims (variant, position).

    Of a transient with currents, whose branch "speaker" is what flows from the speaker's net into the load: right for
    any load and any wave, which volts squared over a rated resistance are not. Without direct current and volts, which
    no loudspeaker hears.

    Raises
    ------
    DescriptionError
        When the response has no current of a load; else as `steady_voltage`.
    """
    if "current" not in response or SPEAKER not in response["branch"].values:
        raise DescriptionError("the response has no current of a load; simulate a transient of an amp with a load")
    amps = _settled(response["current"].isel(branch=index_of(response, "branch", SPEAKER), drop=True), response)
    waves = [_even(wave, response) for wave in (steady_voltage(response), amps)]
    volts, amps = (wave - wave.mean("time") for wave in waves)
    return with_units((volts * amps).mean("time"), "W", "power")


def extremes_v(response: xr.Dataset, node: str | None = None) -> xr.Dataset:
    """`lowest` and `highest` voltage [V] over the settled cycles (definition); dims (variant, position)."""
    window = steady_voltage(response, node)
    return xr.Dataset({
        "lowest": with_units(window.min("time"), "V", "lowest"),
        "highest": with_units(window.max("time"), "V", "highest"),
    })  # fmt: skip


def _sine(response: xr.Dataset) -> StimulusFacts:
    facts = stimulus(response)
    if facts.shape != "sine":
        raise DescriptionError(f"this needs a transient with a sine; given: a {facts.shape}")
    return facts


def _step(response: xr.Dataset) -> float:
    time = response["time"].values
    return float(time[-1] - time[0]) / (time.size - 1)


def _window_start(response: xr.Dataset) -> float:
    facts = _sine(response)
    time = response["time"].values
    start = float(time[-1]) - float(facts.cycles / facts.frequency)
    if start < time[0] - 1e-9:
        raise DescriptionError(f"the response is shorter than {facts.cycles:g} cycles of {facts.frequency:g} Hz")
    return start


def _window(response: xr.Dataset, node: str | None) -> xr.DataArray:
    return _even(steady_voltage(response, node), response)


def _even(settled: xr.DataArray, response: xr.Dataset) -> xr.DataArray:
    """The settled cycles without drift on an even grid of 1024 points a cycle, last point left out."""
    piece = settled.transpose(..., "time")
    start, points = _window_start(response), _POINTS_PER_CYCLE * int(_sine(response).cycles)
    grid = np.linspace(start, float(piece["time"].values[-1]), points, endpoint=False)
    rows = cubic(piece["time"].values, piece.values, grid)
    rows = rows - drift(rows, int(_sine(response).cycles)) * (np.arange(points) / points - 0.5)
    coords = {name: coord for name, coord in piece.coords.items() if "time" not in coord.dims}
    return xr.DataArray(rows, {**coords, "time": grid}, piece.dims)


def _bins(window: xr.DataArray, cycles: int, count: int) -> xr.DataArray:
    """Complex amplitudes [V peak] of the harmonics, a cosine at the window's beginning being real and positive."""
    values: NDArray[Any] = window.values
    spectrum = np.fft.rfft(values, axis=-1) * 2.0 / values.shape[-1]
    rows = spectrum[..., cycles * np.arange(1, count + 1)]
    coords = {name: coord for name, coord in window.coords.items() if "time" not in coord.dims}
    return xr.DataArray(rows, coords, (*window.dims[:-1], "harmonic"))
