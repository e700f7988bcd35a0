"""How far every stage goes before it clips, and how much power is clean, from a ladder of levels."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from ...circuit.signal_path import ValveStage
from ...measures.waveforms import FLOOR_DB, harmonics, stimulus
from ...simulation.band_limit import drift
from ...simulation.facts import STAGES, Fact, get
from ..once import once
from .clipping_words import CELL, FALLEN, Waves, how_it_clips
from .crossings import crossing_steps, first_crossing, value_at

Array = NDArray[np.float64]
CLIP_DB = 1.0
"""A stage has clipped where its gain has fallen by 1 dB (common practice, no source)."""
CLEAN_PERCENT = (1.0, 5.0, 10.0)
"""Total harmonic distortion at which power is stated: 10 % as data sheets of output valves do."""
WHOLE = "whole amp"
POWER_ORDERS = 10
"""Power is that of the tone and its harmonics up to this order. Above lie the spikes of a transformer whose valve cuts
off: in a loudspeaker's coil they are next to no power, and how high they are is chance."""
# By variant and position, as `load_ohm` of `simulate` at the tone and each of its harmonics up to `POWER_ORDERS`.
LOAD_OHM = Fact("load_ohm", dict[str, dict[str, list[float] | None]])
# Volts peak: what is smaller, behind a control turned down, is lost in what a transient is exact to.
_LEAST = 1e-5


def compression_db(response: xr.Dataset) -> xr.Dataset:
    """How far each stage's gain has fallen from its small-signal value over level.

    The response is one of `ampsim.studies.headroom.simulate.headroom`.

    Returns
    -------
    xarray.Dataset
        `grid` and `valve` [dB], dims (variant, position, stage, level): from the output of the valve stage before (the
        source for the first) to the stage's own grid, and from its grids to its own output. The last stage,
        "whole amp", is the source to the speaker, all of it in `valve`. NaN for a stage that a variant does not have
        and for a level without an answer.

    Notes
    -----
    Fundamental out over fundamental in, over the same ratio for a small signal (definition of compression). A pair of
    valves counts by the voltage between its grids and between its outputs. So a feedback loop does not blur which
    stage it is: what comes back is part of what the grids see, and a stage that is not clipping has its small-signal
    gain whatever wave it is fed. Grid current shows between the stage before and the grid.
    """
    known, heard = _stages(response), _Heard(response)
    names = [*dict.fromkeys(name for stages in known.values() for name in stages), WHOLE]
    sizes = response.sizes
    fallen = np.full((2, sizes["variant"], sizes["position"], len(names), sizes["level"]), np.nan)
    for place, variant in enumerate(map(str, response["variant"].values)):
        stages = known[variant]
        outputs = {name: heard.against_small(place, stage.outputs) for name, stage in stages.items()}
        for name, stage in stages.items():
            before, driven, own = outputs.get(stage.before, 0.0), stage.driven, names.index(name)
            fallen[0, place, :, own] = heard.against_small(place, driven) - before
            fallen[1, place, :, own] = outputs[name] - heard.against_small(place, stage.grids)
        speaker = heard.against_small(place, ["speaker"])
        fallen[:, place, :, -1] = 0.0 * speaker, speaker
    dims = ("variant", "position", "stage", "level")
    coords = {name: coord for name, coord in response.coords.items() if set(coord.dims) <= set(dims)}
    pairs = zip(("grid", "valve"), fallen, strict=True)
    return xr.Dataset({name: (dims, values, {"units": "dB"}) for name, values in pairs}, coords | {"stage": names})


class _Heard:
    """Fundamentals at every place, against those of a small signal."""

    def __init__(self, response: xr.Dataset) -> None:
        # Plain arrays: a sheet asks for some hundred ratios, and labels would take all of the time.
        order = ("variant", "position", "level", "node")
        self._rows = _fundamental(response["voltage"].transpose(*order, "time"), stimulus(response).frequency)
        small = response["small"].transpose("variant", "position", "node", "part").values
        self._small = small[..., 0] + 1j * small[..., 1]
        self._levels = response["level"].values
        self._places = {str(name): place for place, name in enumerate(response["node"].values)}

    def against_small(self, variant: int, places: Sequence[str]) -> Array:
        """Fundamental at a place, or between two, per volt of the source, against a small signal [dB].

        Of a variant by its number; dims (position, level).
        """
        chosen = [self._places[place] for place in places]
        first = np.abs(_less(self._rows[variant], chosen))
        small = np.abs(_less(self._small[variant], chosen))[:, np.newaxis]
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = first / self._levels / small
        return _in_db(np.where(first > _LEAST, ratio, np.nan))


def _less(values: NDArray[np.complex128], chosen: Sequence[int]) -> NDArray[np.complex128]:
    return values[..., chosen[0]] - values[..., chosen[1]] if len(chosen) == 2 else values[..., chosen[0]]


def clipping_table(response: xr.Dataset) -> pd.DataFrame:
    """Where each stage clips.

    The response is one of `ampsim.studies.headroom.simulate.headroom`.

    Returns
    -------
    pandas.DataFrame
        One row per variant, position and stage, the whole amp last: its valves; the level of the source [V peak] at
        which its gain, grid and valve together, has fallen by `CLIP_DB` (infinite: nowhere on the ladder; 0: already
        below it); what it is: the grid draws current, the valve cuts off, its plate is at the bottom, it bends softly.
    """
    fallen, known, waves = compression_db(response), _stages(response), Waves(response)
    drops = {name: -fallen[name].transpose("variant", "position", "stage", "level").values for name in FALLEN}
    names = list(map(str, fallen["stage"].values))
    rows = []
    for cell, variant, position in _cells(response):
        there = waves.at(*cell)
        for stage in [*known[variant], WHOLE]:
            valves = known[variant][stage].valves if stage in known[variant] else ()
            drop = {name: values[(*cell, names.index(stage))] for name, values in drops.items()}
            level = first_crossing(waves.levels, sum(drop.values()), CLIP_DB)
            how = how_it_clips(there, drop, valves, level) if valves else ""
            rows.append({"variant": variant, "position": position, "stage": stage, "valves": ", ".join(valves),
                         "clips at [V]": level, "how": how})  # fmt: skip
    return pd.DataFrame(rows)


MOST_POWER = "most power [W]"


def distortion_column(percent: float) -> str:
    """Column of `power_table`: the level [V] at which distortion reaches so many percent."""
    return f"{percent:g} % THD at [V]"


def power_column(percent: float) -> str:
    """Column of `power_table`: the power [W] at that level."""
    return f"power there, {percent:g} % [W]"


def power_table(response: xr.Dataset) -> pd.DataFrame:
    """Clean and greatest power.

    The response is one of `ampsim.studies.headroom.simulate.headroom`.

    Returns
    -------
    pandas.DataFrame
        One row per variant and position: small-signal gain [dB]; for each of `CLEAN_PERCENT` the level of the source
        [V peak] where distortion reaches it, and the power [W] there; the greatest power on the ladder. A level is
        infinite where the ladder ends first, 0 where distortion is greater already at its foot; power is then NaN, as
        it is without a load.

    Notes
    -----
    Power is the mean of volts times amperes in the load, which is a linear one: the sum over the tone and its harmonics
    up to `POWER_ORDERS` of each one's mean square of the speaker voltage over the resistance that takes the same power
    as the load at its frequency (``attrs["load_ohm"]``). Levels are interpolated as in `first_crossing`.
    """
    loads, levels = get(response, LOAD_OHM), response["level"].values
    distortion, volts = _at_speaker(response)
    small = response["small"].sel(node="speaker").transpose("variant", "position", "part").values
    rows = []
    for cell, variant, position in _cells(response):
        ohms = loads[variant][position] or [np.nan] * POWER_ORDERS
        watts = (volts[cell] ** 2 / np.array(ohms)).sum(axis=-1)
        row: dict[str, Any] = {"variant": variant, "position": position}
        row |= {"gain [dB]": float(_in_db(np.hypot(*small[cell])))}
        for percent in CLEAN_PERCENT:
            # In dB, where distortion over level is nearly straight.
            level = first_crossing(levels, _in_db(distortion[cell]), float(_in_db(np.array(percent))))
            row[distortion_column(percent)] = level
            row[power_column(percent)] = float(10.0 ** (value_at(levels, 0.5 * _in_db(watts), level) / 10.0))
        known = watts[np.isfinite(watts)]
        rows.append(row | {MOST_POWER: float(known.max()) if known.size else np.nan})
    return pd.DataFrame(rows)


def distortion_over_level(response: xr.Dataset) -> xr.DataArray:
    """Total harmonic distortion at the speaker over level.

    The response is one of `ampsim.studies.headroom.simulate.headroom`.

    Returns
    -------
    xarray.DataArray
        [%], dims (variant, position, level); NaN at a level without an answer or without a tone to speak of.
    """
    coords = {name: response[name] for name in (*CELL, "level")}
    return xr.DataArray(_at_speaker(response)[0], coords, (*CELL, "level"), attrs={"units": "%"})


def harmonics_over_level(response: xr.Dataset, variant: str, position: str) -> xr.Dataset:
    """`harmonics` at the speaker, dims (level, harmonic), at the levels that were played at this position."""
    chosen = response.sel(variant=[variant], position=[position])
    known = np.isfinite(_between(chosen["voltage"], ["speaker"]).isel(time=0).values.ravel())
    return harmonics(chosen.isel(level=known)).isel(variant=0, position=0)


def harmonics_table(response: xr.Dataset, variant: str, position: str, highest: int = 7) -> pd.DataFrame:
    """Harmonics at the speaker over level, in words: "-31" dB of the fundamental, "< -75" below `FLOOR_DB`.

    Parameters
    ----------
    response : xarray.Dataset
        Of `ampsim.studies.headroom.simulate.headroom`.
    variant, position : str
    highest : int
        Order of the last harmonic.
    """
    found = harmonics_over_level(response, variant, position)
    rows = [
        {"level [V]": float(level), "THD [%]": float(found["thd"].values[place])}
        | {f"H{order} [dB]": _level(float(found["relative"].sel(harmonic=order).values[place]))
           for order in range(2, highest + 1)}
        for place, level in enumerate(found["level"].values)
    ]  # fmt: skip
    return pd.DataFrame(rows)


def _level(relative: float) -> str:
    return f"< {FLOOR_DB:.0f}" if relative < FLOOR_DB else f"{relative:.0f}"


def levels_between(response: xr.Dataset) -> dict[tuple[str, str], list[float]]:
    """Levels [V peak] worth adding to a ladder, by variant and position.

    In the middle, as a ratio, of each step in which distortion passes one of `CLEAN_PERCENT`, or the whole amp or the
    stage that clips first passes `CLIP_DB`. On ladders of 6 dB they bring the levels found from within 1.2 dB to
    within 0.5 dB of a ladder of 1 dB, and power from within 0.8 to within 0.1 dB (two amps, four positions).
    """
    fallen, levels = compression_db(response), response["level"].values
    total = -(fallen["grid"] + fallen["valve"]).transpose("variant", "position", "stage", "level").values
    distortion, _ = _at_speaker(response)
    found = {}
    for cell, variant, position in _cells(response):
        drops = total[cell]
        first = min(drops[:-1], key=lambda drop: first_crossing(levels, drop, CLIP_DB), default=drops[-1])
        steps = [crossing_steps(levels, drop, CLIP_DB) for drop in (first, drops[-1])]
        steps += [crossing_steps(levels, distortion[cell], percent) for percent in CLEAN_PERCENT]
        found[variant, position] = sorted({float(np.sqrt(low * high)) for step in steps for low, high in step})
    return found


def _cells(response: xr.Dataset) -> Iterator[tuple[tuple[int, int], str, str]]:
    """Each variant and position: their numbers and names."""
    names = itertools.product(response["variant"].values, response["position"].values)
    for cell, (variant, position) in zip(np.ndindex(*(response.sizes[dim] for dim in CELL)), names, strict=True):
        yield (cell[0], cell[1]), str(variant), str(position)


def _stages(response: xr.Dataset) -> dict[str, dict[str, ValveStage]]:
    """Variant to stage name to what is known of it."""
    return {variant: {stage.name: stage for stage in stages} for variant, stages in get(response, STAGES).items()}


def _fundamental(voltage: xr.DataArray, hertz: float) -> NDArray[np.complex128]:
    """Complex amplitude [V peak] at the tone's frequency [Hz], without `time`, which is the last dimension.

    Over the tone's whole cycles, less the straight line of what drift is left.
    """
    rows, time = voltage.values, voltage["time"].values
    count = time.size - 1
    cycles = round(hertz * (time[-1] - time[0]))
    rows = rows[..., :-1] - drift(rows[..., :-1], cycles) * (np.arange(count) / count - 0.5)
    return np.asarray(rows @ np.exp(-2j * np.pi * hertz * time[:-1]) * 2.0 / count)


@once
def _at_speaker(response: xr.Dataset) -> tuple[Array, Array]:
    """Total harmonic distortion [%] and harmonics up to `POWER_ORDERS` [V rms] at the speaker.

    Dims (variant, position, level), and harmonic; NaN at levels without an answer or without a tone to speak of.
    """
    voltage = response[["voltage"]].sel(node=["speaker"])
    found = harmonics(voltage.fillna(0.0), "speaker", count=POWER_ORDERS)
    waves = voltage["voltage"].isel(node=0).transpose(*CELL, "level", "time")
    known = np.abs(_fundamental(waves, stimulus(response).frequency)) > _LEAST
    volts = found["amplitude"].transpose(*CELL, "level", "harmonic").values / 2.0**0.5
    distortion = np.where(known, found["thd"].transpose(*CELL, "level").values, np.nan)
    return distortion, np.where(known[..., np.newaxis], volts, np.nan)


def _in_db(ratio: Array) -> Array:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(20.0 * np.log10(ratio))


def _between(readings: xr.DataArray, places: Sequence[str]) -> xr.DataArray:
    chosen = [readings.sel(node=place, drop=True) for place in places]
    return chosen[0] - chosen[1] if len(chosen) == 2 else chosen[0]
