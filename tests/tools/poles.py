"""Modes of a closed feedback loop from its loop gain, what rings in a transient, and the loop for other tools."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from importlib import import_module
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.circuit.positions import Position
from ampsim.measures.labels import expect, index_of
from ampsim.simulation.analyses import Transient
from ampsim.simulation.response import simulate
from ampsim.simulation.stimuli import Waveform

# A mode counts when fits of these two accuracies agree on it to a thousandth of its size.
_ACCURACIES = (1e-6, 1e-8)
_AGREE = 1e-3
_MOST_TERMS = 40
# Decades looked at together, and from one look to the next: so that slow and fast modes are found alike.
_WINDOW, _STRIDE = 1.5, 0.5


def loop_poles(response: xr.Dataset) -> pd.DataFrame:
    """Modes of the closed loop: what it does by itself after a knock.

    Parameters
    ----------
    response : xarray.Dataset
        Of `ampsim.loop_gain`, 50 points a decade or more.

    Returns
    -------
    pandas.DataFrame
        One row per variant, position and ringing mode, the least damped first: frequency [Hz], growth [1/s] of its
        envelope ``exp(growth t)`` (negative: dies away), damping ratio. Modes that are heavily damped, or that the
        loop gain hardly shows, may be missing.

    Notes
    -----
    A rational function is fitted to 1 + T over a decade and a half at a time; its zeros are the poles of the closed
    loop. Fit: Y. Nakatsukasa, O. Sete, L. N. Trefethen, The AAA algorithm for rational approximation, SIAM J. Sci.
    Comput. 40(3), 2018 (from memory).
    """
    gain = response["loop_gain"].transpose("variant", "position", "frequency")
    rows = []
    for variant, name in enumerate(gain["variant"].values):
        for place, position in enumerate(gain["position"].values):
            for mode in _modes(gain["frequency"].values, gain.values[variant, place]):
                damping = -mode.real / abs(mode)
                rows.append((str(name), str(position), mode.imag / (2.0 * np.pi), mode.real, damping))
    columns = ["variant", "position", "frequency [Hz]", "growth [1/s]", "damping ratio"]
    return pd.DataFrame(rows, columns=columns)


def loop_knock(
    amps: Amp | Sequence[Amp],
    hertz: float,
    positions: Iterable[Position] = ({},),
    level: float = 1e-3,
    periods: int = 25,
    node: str = "speaker",
) -> xr.Dataset:
    """A knock at the input and what rings after it: half a sine of `level` [V], then silence.

    Parameters
    ----------
    amps : Amp or sequence of Amp
    hertz : float
        Frequency the loop is expected to ring at [Hz], such as `Margins.closest_at`.
    positions : iterable of mapping
        As in `simulate`.
    level : float
        Small, so that the amp stays linear [V].
    periods : int
        How long to listen, in periods of `hertz`.
    node : str
        Where to listen.

    Returns
    -------
    xarray.Dataset
        `voltage` [V] of `simulate`, 100 samples to a period; the knock is over after half a period.
    """
    half, whole = 50, 100 * periods
    pulse = [level * math.sin(math.pi * n / half) for n in range(half)]
    stimulus = Waveform(tuple(pulse + [0.0] * (whole - half + 1)), 100.0 * hertz)
    step = min(1.0 / (100.0 * hertz), 1e-3)
    return simulate(amps, Transient(stimulus, step), positions, [node], currents=False)


def ringing(response: xr.Dataset, hertz: float, node: str | None = None, skip: float = 0.2) -> pd.DataFrame:
    """What rings at about a frequency in a transient after a knock.

    Parameters
    ----------
    response : xarray.Dataset
        Of `loop_knock`.
    hertz : float
        Where to listen [Hz]; one mode should be much the strongest there.
    node : str
        Default: the output.
    skip : float
        Share of the time that is left out at the start, while other modes die away.

    Returns
    -------
    pandas.DataFrame
        One row per variant and position: frequency [Hz] and growth [1/s] of the ringing, and the size [V peak] it
        has at the start and the end of the time listened to.

    Notes
    -----
    The voltage is brought down to 0 Hz by ``exp(-j 2 pi hertz t)`` and averaged over two periods with a Hann
    window; growth and frequency are the slopes of the logarithm of its size and of its phase (definition).
    """
    expect(response, "transient")
    name = str(response.attrs["output"]) if node is None else node
    voltage = response["voltage"].isel(node=index_of(response, "node", name)).transpose("variant", "position", "time")
    time = voltage["time"].values
    rows = []
    for variant, label in enumerate(voltage["variant"].values):
        for place, position in enumerate(voltage["position"].values):
            found = _ringing(time, voltage.values[variant, place], hertz, skip)
            rows.append((str(label), str(position), *found))
    columns = ["variant", "position", "frequency [Hz]", "growth [1/s]", "first [V]", "last [V]"]
    return pd.DataFrame(rows, columns=columns)


def as_control(response: xr.Dataset, variant: str | None = None, position: str | None = None) -> Any:
    """The loop gain as the python-control library holds it, for its own margins and plots.

    Parameters
    ----------
    response : xarray.Dataset
        Of `ampsim.loop_gain`.
    variant, position : str
        Default: the first.

    Returns
    -------
    control.FrequencyResponseData
        Over angular frequency [rad/s], without a linear fit between the points.

    Raises
    ------
    DescriptionError
        When python-control is not installed, or for an unknown name.
    """
    try:
        control = import_module("control")
    except ModuleNotFoundError:
        raise DescriptionError("python-control is not installed; it comes with: pip install control") from None
    gain = response["loop_gain"].transpose("variant", "position", "frequency")
    places = [
        0 if name is None else index_of(response, dim, name)
        for dim, name in (("variant", variant), ("position", position))
    ]
    return control.FrequencyResponseData(gain.values[places[0], places[1]], 2.0 * np.pi * gain["frequency"].values)


def _modes(frequency: NDArray[np.float64], loop: NDArray[np.complex128]) -> list[complex]:
    """Zeros of 1 + T in the upper half plane [1/s], the least damped first."""
    found: list[complex] = []
    for low in np.arange(np.log10(frequency[0]), np.log10(frequency[-1]) - _WINDOW + 1e-9, _STRIDE):
        inside = (frequency >= 10.0 ** (low - 1e-9)) & (frequency <= 10.0 ** (low + _WINDOW + 1e-9))
        middle = 2.0 * np.pi * 10.0 ** (low + 0.5 * _WINDOW)
        for zero in _agreed(2j * np.pi * frequency[inside] / middle, 1.0 + loop[inside]):
            if abs(np.log10(abs(zero))) <= _STRIDE and not _among(found, zero * middle):
                found.append(zero * middle)
    return sorted(found, key=lambda zero: -zero.real / abs(zero))


def _among(found: list[complex], zero: complex) -> bool:
    return any(abs(each - zero) < 10.0 * _AGREE * abs(zero) for each in found)


def _agreed(s: NDArray[np.complex128], far: NDArray[np.complex128]) -> list[complex]:
    """Zeros that fits of both accuracies have; s is around 1."""
    from scipy.interpolate import AAA

    points, values = np.concatenate([s, s.conj()]), np.concatenate([far, far.conj()])
    rough, fine = (np.asarray(AAA(points, values, rtol=each, max_terms=_MOST_TERMS).roots()) for each in _ACCURACIES)
    upper = [zero for zero in fine if zero.imag > _AGREE * abs(zero)]
    return [complex(zero) for zero in upper if rough.size and np.min(np.abs(rough - zero)) < _AGREE * abs(zero)]


def _ringing(
    time: NDArray[np.float64], voltage: NDArray[np.float64], hertz: float, skip: float
) -> tuple[float, float, float, float]:
    count = round(2.0 / (hertz * (time[1] - time[0])))
    window = np.hanning(count + 1)
    down = np.convolve((voltage - voltage[0]) * np.exp(-2j * np.pi * hertz * time), window / window.sum(), "valid")
    at = time[: down.size] + 0.5 * (time[count] - time[0])
    late = at >= time[0] + skip * (time[-1] - time[0])
    slope, _ = np.polyfit(at[late], np.log(np.abs(down[late])), 1)
    turn, _ = np.polyfit(at[late], np.unwrap(np.angle(down[late])), 1)
    return (
        float(hertz + turn / (2.0 * np.pi)),
        float(slope),
        float(2.0 * abs(down[late][0])),
        float(2.0 * abs(down[late][-1])),
    )
