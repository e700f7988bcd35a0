"""How far a hard burst pushes the bias of every valve, and how long bias and a small tone take to come back."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from ...base.errors import DescriptionError
from ...measures.labels import with_units
from ...measures.waveforms import stimulus
from ...simulation.facts import STAGES, get

Array = NDArray[np.float64]
LEAST_SHIFT = 0.05
"""Volts: a smaller shift of bias has no time to come back that would mean anything."""
DOWN_DB = 3.0
_SETTLED = 4  # cycles before the burst that count as undisturbed
_LATER = 0.05
_BIAS = ("bias before [V]", "shift [V]", "37 % left after [ms]", "10 % left after [ms]")
_TONE = ("tone lowest [dB]", "tone after 50 ms [dB]", "tone within 1 dB after [ms]")


def bias_v(response: xr.Dataset) -> xr.DataArray:
    """Bias of every valve: mean over each cycle of its grid-cathode volts (definition).

    The response is one of `ampsim.studies.blocking.simulate.blocking`.

    Returns
    -------
    xarray.DataArray
        [V], dims (variant, position, valve, after); `after` [s] counts from the end of the burst to the middle of each
        cycle. NaN for a valve that a variant does not have.
    """
    places = {str(name): place for place, name in enumerate(response["node"].values)}
    valves = [name.removesuffix(".grid") for name in places if name.endswith(".grid")]
    volts = response["voltage"].transpose("variant", "position", "node", "time")
    grids, cathodes = ([places[f"{valve}.{pin}"] for valve in valves] for pin in ("grid", "cathode"))
    rows = volts.values[:, :, grids] - volts.values[:, :, cathodes]
    coords = {name: coord for name, coord in volts.coords.items() if "node" not in coord.dims} | {"valve": valves}
    found = xr.DataArray(rows, coords, ("variant", "position", "valve", "time"))
    return with_units(_by_cycle(response, found, np.full(_samples(response), 1.0 / _samples(response))), "V", "bias")


def small_tone_db(response: xr.Dataset) -> xr.DataArray:
    """Level of the small tone at every place, against its level before the burst.

    The response is one of `ampsim.studies.blocking.simulate.blocking`.

    Returns
    -------
    xarray.DataArray
        [dB], dims (variant, position, node, after); `after` [s] counts from the end of the burst to the middle of each
        three cycles. NaN where there was no tone before the burst.

    Notes
    -----
    Least squares over three cycles under a Hann window: a sine at the tone's frequency, and a polynomial of fourth
    degree for bias on its way back, which would otherwise count as tone.
    """
    tone = xr.apply_ufunc(
        np.abs, _by_cycle(response, response["voltage"].transpose(..., "time"), _sine_weights(response))
    )
    before = tone.isel(after=_before(tone)).mean("after")
    # A picovolt is nothing that went through the amp.
    ratio = tone / before.where(before > 1e-12)
    with np.errstate(divide="ignore"):
        return with_units(ratio.copy(data=20.0 * np.log10(ratio.values)), "dB", "small tone")


def blocking_table(response: xr.Dataset) -> pd.DataFrame:
    """Shift of bias after the burst and the way back, and what the small tone does, stage by stage.

    The response is one of `ampsim.studies.blocking.simulate.blocking`.

    Returns
    -------
    pandas.DataFrame
        One row per variant, position and valve: its stage; bias before the burst [V]; the greatest shift of it in any
        cycle after the burst [V]; time [ms] from that cycle until no more than 37 and 10 % of the shift are left (NaN
        for a shift below `LEAST_SHIFT`, infinite where the run ends first). The small tone at the stage's output: its
        lowest level from the first three cycles after the burst on [dB], its level 50 ms after the burst, and the time
        [ms] after which it stays within 1 dB (infinite where the run ends first).
    """
    bias, tone = _Ways.of(bias_v(response), "valve"), _Ways.of(small_tone_db(response), "node")
    stages = get(response, STAGES)
    rows = []
    for variant, position in itertools.product(bias.variants, bias.positions):
        for stage in stages[variant]:
            heard = _tone_row(tone, (variant, position, stage.outputs[0]))
            for valve in stage.valves:
                names = {"variant": variant, "position": position, "stage": stage.name, "valve": valve}
                rows.append({**names, **_bias_row(bias, (variant, position, valve)), **heard})
    return pd.DataFrame(rows, columns=None if rows else ["variant", "position", "stage", "valve"])


def tone_table(response: xr.Dataset) -> pd.DataFrame:
    """The small tone at the speaker after the burst, one row per variant and position; columns as `blocking_table`.

    `down until [ms]` is the time after which the tone stays no more than `DOWN_DB` down (0: it never is; infinite where
    the run ends first).
    """
    tone, output = _Ways.of(small_tone_db(response), "node"), str(response.attrs["output"])
    rows = []
    for variant, position in itertools.product(tone.variants, tone.positions):
        level = tone.later((variant, position, output), 1)
        until = np.nan if np.isnan(level).any() else 1e3 * time_to_settle(tone.after[-level.size :], -level, DOWN_DB)
        facts = {"variant": variant, "position": position}
        rows.append(facts | _tone_row(tone, (variant, position, output)) | {"down until [ms]": until})
    return pd.DataFrame(rows)


@dataclass(frozen=True)
class _Ways:
    """What goes its way after the burst: plain arrays, as labels would take most of the time of a table.

    `values` by the names of a variant, a position and a valve or place; `after` [s] counts from the end of the burst,
    `before` says which times are the last before it.
    """

    variants: tuple[str, ...]
    positions: tuple[str, ...]
    values: dict[tuple[str, str, str], Array]
    after: Array
    before: slice

    @classmethod
    def of(cls, readings: xr.DataArray, name: str) -> _Ways:
        """Those of a reading, one to each label of a dimension."""
        dims = ("variant", "position", name)
        variants, positions, names = (tuple(map(str, readings[dim].values)) for dim in dims)
        rows = readings.transpose(*dims, "after").values.reshape(-1, readings.sizes["after"])
        values = dict(zip(itertools.product(variants, positions, names), rows, strict=True))
        return cls(variants, positions, values, readings["after"].values, _before(readings))

    def later(self, key: tuple[str, str, str], cycles: int) -> Array:
        """Values from so many whole cycles after the burst on; their times are as many at the end of `after`."""
        return self.values[key][int(np.flatnonzero(self.after > 0.0)[cycles]) :]


def time_to_settle(after: Array, size: Array, limit: float, log: bool = False) -> float:
    """Time [s] after which a size stays at or below a limit, by straight lines between its points.

    Parameters
    ----------
    after, size : array
        Times [s] and what was found then.
    limit : float
        In the unit of `size`.
    log : bool
        Straight lines of the logarithm, which an exponential way back is.

    Returns
    -------
    float
        0 where the size is never above the limit, infinite where it still is at the end.
    """
    above = np.flatnonzero(size > limit)
    if not above.size:
        return 0.0
    last = int(above[-1])
    if last == size.size - 1:
        return float("inf")
    high, low, mark = size[last], size[last + 1], limit
    if log:
        high, low, mark = np.log(high), np.log(max(low, 1e-12)), np.log(limit)
    return float(after[last] + (high - mark) / (high - low) * (after[last + 1] - after[last]))


def _sine_weights(response: xr.Dataset) -> NDArray[np.complex128]:
    """What the samples of a window are multiplied with and added up to give the amplitude of the sine in it."""
    count = 3 * _samples(response)
    place = np.arange(count)
    turn = 2.0 * np.pi * place / _samples(response)
    columns = np.column_stack([np.cos(turn), np.sin(turn), np.vander(2.0 * place / count - 1.0, 5)])
    window = np.sin(np.pi * (place + 0.5) / count)  # twice under the square it is Hann's
    inverse = np.linalg.pinv(columns * window[:, np.newaxis]) * window
    return np.asarray(inverse[0] - 1j * inverse[1])


def _bias_row(bias: _Ways, key: tuple[str, str, str]) -> dict[str, float]:
    before, volts = float(bias.values[key][bias.before].mean()), bias.later(key, 0)
    after, shift = bias.after[-volts.size :], np.abs(volts - before)
    if not np.isfinite(shift).all():
        return dict.fromkeys(_BIAS, np.nan)
    top = int(shift.argmax())
    left = [
        1e3
        * (
            time_to_settle(after - after[top], shift, share * shift[top], log=True)
            if shift[top] > LEAST_SHIFT
            else np.nan
        )
        for share in (0.37, 0.10)
    ]
    return dict(zip(_BIAS, (before, float(volts[top] - before), *left), strict=True))


def _tone_row(tone: _Ways, key: tuple[str, str, str]) -> dict[str, float]:
    level = tone.later(key, 1)
    if np.isnan(level).any():
        return dict.fromkeys(_TONE, np.nan)
    after = tone.after[-level.size :]
    later = float(np.interp(_LATER, after, level))
    back = 1e3 * time_to_settle(after, np.abs(level), 1.0)
    return dict(zip(_TONE, (float(level.min()), later, back), strict=True))


def _before(way: xr.DataArray) -> slice:
    """The last cycles before the burst, and none that overlaps it."""
    after = way["after"].values
    step = float(after[1] - after[0])
    last = int(np.flatnonzero(after < float(way["burst_start"]) - 1.49 * step)[-1])
    return slice(max(last + 1 - _SETTLED, 0), last + 1)


def _samples(response: xr.Dataset) -> int:
    """Samples to a cycle."""
    facts = stimulus(response)
    if facts.shape != "burst":
        raise DescriptionError(f"this needs the response to a burst; given: a {facts.shape}")
    time = response["time"].values
    return round((time.size - 1) / float(time[-1] - time[0]) / facts.frequency)


def _by_cycle(response: xr.Dataset, readings: xr.DataArray, weights: NDArray[Any]) -> xr.DataArray:
    """Weighted sums over windows that begin with every cycle."""
    count, facts = _samples(response), stimulus(response)
    cycles, pieces = (readings.shape[-1] - 1) // count, weights.size // count
    by_cycle = readings.values[..., : cycles * count].reshape(*readings.shape[:-1], cycles, count)
    # Each cycle is multiplied with each piece of the weights once, whatever windows it lies in.
    parts = weights.reshape(pieces, count).T
    seen = by_cycle @ parts.real + (1j * (by_cycle @ parts.imag) if np.iscomplexobj(parts) else 0.0)
    windows = cycles - pieces + 1
    sums = sum(seen[..., piece : piece + windows, piece] for piece in range(pieces))
    middles = (np.arange(windows) + 0.5 * weights.size / count) / facts.frequency - facts.stop
    coords = {name: coord for name, coord in readings.coords.items() if "time" not in coord.dims}
    coords |= {"after": ("after", middles, {"units": "s"}), "burst_start": facts.start - facts.stop}
    return xr.DataArray(sums, coords, (*readings.dims[:-1], "after"))
