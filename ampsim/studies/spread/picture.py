"""A run of amps: bands of gain, stock and modded, and the change beside what a valve swap does."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from numpy.typing import NDArray

from ...base.wording import in_decibels, in_hertz
from ...measures.labels import select
from ...measures.percentiles import PERCENTS, percentiles
from ...pictures import captions, style
from ...pictures.axes import area_between, draw, fill_band, frequency_axis, over_frequency, tidy, zero_line
from ...pictures.canvas import Curves, Picture
from ...pictures.gain_and_change import gain_and_change
from .measures import sample_gain_db, swap_size, tone_db

Array = NDArray[np.float64]
_CHANGE_HEIGHT = 1.5  # inches
# The stock band is hatched, the modded one plain: told apart without colour.
_STOCK_BAND = style.Bar("#efedea", "#a9a59e", "//////")
_MODDED_BAND = style.Bar("#9db3cc", "#6f8cae")
_SWAP_BAND = style.Bar("#ffffff", "#a9a59e", "\\\\\\\\")


def spread_curves(run: xr.Dataset, swap: xr.Dataset) -> Curves:
    """Points of the moving parts of `spread_picture` [Hz, dB], of the first position, first and last variant.

    "stock", "modded": medians of gain, "change" that of tone (`measures.spread.tone_db`); "stock-band", "modded-band",
    "change-band": outlines from 5 to 95 %; "swap-band": outline of what 95 % of exchanges of all valves of the stock
    amp do to its tone.
    """
    return _curves(_shown(_pair(run), swap))


class _Shown(NamedTuple):
    """What a picture shows: frequencies [Hz], and at `PERCENTS` of the amps gains and the change of tone [dB].

    Shape (percents, frequencies); `swap` is what exchanges of all valves do at each frequency [dB].
    """

    grid: Array
    stock: Array
    modded: Array
    change: Array
    swap: Array


def _shown(pair: xr.Dataset, swap: xr.Dataset) -> _Shown:
    gains = sample_gain_db(pair).isel(position=0)
    tone = tone_db(gains)
    found = (*gains.transpose("variant", ...), tone.isel(variant=1) - tone.isel(variant=0))
    stock, modded, change = (
        percentiles(each, PERCENTS)["percentile"].transpose("percent", "frequency").values for each in found
    )
    size = swap_sizes(swap, captions.position_of(pair), captions.variant_names(pair)[0])
    return _Shown(pair["frequency"].values, stock, modded, change, size)


def _curves(shown: _Shown) -> Curves:
    curves: dict[str, Array] = {}
    for name, (low, middle, high) in (("stock", shown.stock), ("modded", shown.modded), ("change", shown.change)):
        curves[name] = np.column_stack([shown.grid, middle])
        curves[f"{name}-band"] = area_between(shown.grid, low, high)
    curves["swap-band"] = area_between(shown.grid, -shown.swap, shown.swap)
    return curves


def swap_sizes(swap: xr.Dataset, position: str, variant: str) -> Array:
    """What 95 % of exchanges of all valves do to the tone at each frequency [dB], shape (frequencies,)."""
    tone = tone_db(sample_gain_db(select(swap, [variant], [position])).isel(variant=0, position=0))
    return np.array([swap_size(row) for row in tone.transpose("frequency", "sample").values])


def describe_spread(run: xr.Dataset, swap: xr.Dataset) -> str:
    """The same in words and numbers, one paragraph."""
    pair = _pair(run)
    return _words(pair, _shown(pair, swap))


def _words(pair: xr.Dataset, shown: _Shown) -> str:
    names, place = captions.variant_names(pair), captions.position_of(pair)
    sentences = [
        f"Gain over frequency from the source to the loudspeaker of {pair.sizes['sample']} amps built from one "
        f"drawing, {place}; median, and the range that 90 % of the amps lie in. Changes of tone have the level taken "
        "out."
    ]
    for hertz in captions.anchors(pair, (100.0, 1000.0, 5000.0)):
        at = int(np.argmin(np.abs(np.log(shown.grid / hertz))))
        ranges = [_range(each[:, at]) for each in (shown.stock, shown.modded)]
        sentences.append(
            f"At {in_hertz(hertz)}: {names[0]} {ranges[0]}; {names[1]} {ranges[1]}; change of tone "
            f"{_range(shown.change[:, at], sign=True)}, a swap of all valves up to "
            f"{in_decibels(float(shown.swap[at]))} either way."
        )
    return " ".join(sentences)


def _range(found: Array, sign: bool = False) -> str:
    low, middle, high = (in_decibels(float(each), sign) for each in found)
    return f"{middle} ({low} to {high})"


def _pair(
    run: xr.Dataset, position: str | None = None, base: str | None = None, modded: str | None = None
) -> xr.Dataset:
    return captions.select_pair(run, base, modded, [captions.position_of(run, position)])


@style.picture_settings()
def spread_picture(
    run: xr.Dataset,
    swap: xr.Dataset,
    position: str | None = None,
    base: str | None = None,
    modded: str | None = None,
    title: str | None = None,
) -> Picture:
    """Draw the gains of a run of amps as bands, stock and modded, and the change beside what a valve swap does.

    A band holds the middle ninety percent of the amps; the change stands out where it leaves the band of the swap.

    Parameters
    ----------
    run : xarray.Dataset
        Of `ampsim.simulation.monte_carlo.spread`, at least two variants.
    swap : xarray.Dataset
        Of `ampsim.simulation.monte_carlo.valve_swap`, at the same positions.
    position : str
        Default the first.
    base, modded : str
        Variants; default the first and the last.
    title : str
        Default: amp, and which variant stands against which.

    Raises
    ------
    DescriptionError
        For unknown names or a single variant.
    """
    run = _pair(run, position, base, modded)
    names, shown = captions.variant_names(run), _shown(run, swap)
    curves = _curves(shown)
    heading = title or f"{captions.amp_name(run)}: {names[1]} against {names[0]} in {run.sizes['sample']} amps"
    subtitle = (
        f"{captions.position_of(run)}; bands hold 90 % of the amps, lines are medians; below, the level is taken out"
    )
    swapped = "change of tone by a swap of all valves, 95 % of them"
    keys = [(names[0], _STOCK_BAND), (names[1], _MODDED_BAND), (swapped, _SWAP_BAND)]
    picture, gains, change = gain_and_change(heading, subtitle, _words(run, shown), keys, _CHANGE_HEIGHT)
    _draw_gains(gains, curves)
    _draw_change(change, curves)
    return picture


def _draw_gains(axes: Axes, curves: Curves) -> None:
    levels = [curves["stock-band"][:, 1], curves["modded-band"][:, 1]]
    over_frequency(axes, "gain [dB]", levels, curves["stock"][:, 0], labelled=False)
    fill_band(axes, curves, "stock-band", _STOCK_BAND, 1.4)
    fill_band(axes, curves, "modded-band", _MODDED_BAND, 1.5, 0.55)
    draw(axes, curves, "stock", style.STOCK_LOOK)
    draw(axes, curves, "modded", style.MODDED_LOOK)


def _draw_change(axes: Axes, curves: Curves) -> None:
    tidy(axes, "change of tone [dB]", [curves["change-band"][:, 1], curves["swap-band"][:, 1]], 2.0, ticks=5)
    frequency_axis(axes, curves["change"][:, 0])
    zero_line(axes)
    fill_band(axes, curves, "swap-band", _SWAP_BAND, 1.2)
    fill_band(axes, curves, "change-band", _MODDED_BAND, 1.5, 0.7)
    draw(axes, curves, "change", style.CHANGE_LOOK)
