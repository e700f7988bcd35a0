"""A measured sweep over the simulated one, the tolerance band around it, and the difference below."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from numpy.typing import NDArray

from ...base.wording import in_decibels, in_hertz
from ...pictures import captions, style
from ...pictures.axes import area_between, draw, fill_band, frequency_axis, over_frequency, tidy, zero_line
from ...pictures.canvas import Curves, Picture
from ...pictures.gain_and_change import gain_and_change
from .compare import excess_db

Array = NDArray[np.float64]
_CHANGE_HEIGHT = 1.5  # inches
_BAND = style.Bar("#efedea", "#a9a59e", "//////")


def compared_curves(found: xr.Dataset) -> Curves:
    """Points of the moving parts of `compared_picture` [Hz, dB]: "simulated", "measured", "difference".

    With a tolerance band also its outlines: "band" around the simulated curve and "difference-band" around zero.
    """
    grid, drawn = found["frequency"].values, found["simulated"].values
    curves: dict[str, Array] = {
        name: np.column_stack([grid, found[name].values]) for name in ("simulated", "measured", "difference")
    }
    if "low" in found:
        low, high = found["low"].values, found["high"].values
        curves["band"] = area_between(grid, drawn + low, drawn + high)
        curves["difference-band"] = area_between(grid, low, high)
    return curves


def describe_compared(found: xr.Dataset) -> str:
    """The same in words and numbers, one paragraph."""
    grid = found["frequency"].values
    sentences = [
        f"Measured over simulated gain, {captions.span(found)}, {_alignment_words(found)}.",
        "Measured less simulated: " + captions.levels(_difference_at(found, captions.anchors(found)), sign=True) + ".",
        f"Greatest difference {captions.greatest(found['difference'])}.",
    ]
    if "within" in found:
        excess = excess_db(found)
        most = int(np.argmax(np.abs(excess)))
        share = 100.0 * float(found["within"].mean())
        sentences.append(f"Within the tolerance band at {share:.0f} % of the frequencies.")
        if excess[most]:
            size = in_decibels(float(excess[most]), sign=True)
            sentences.append(f"Furthest beyond it by {size} at {in_hertz(float(grid[most]))}.")
    return " ".join(sentences)


def _difference_at(found: xr.Dataset, wanted: list[float]) -> xr.DataArray:
    places = [int(np.argmin(np.abs(np.log(found["frequency"].values / hertz)))) for hertz in wanted]
    return found["difference"].isel(frequency=places).assign_coords(frequency=wanted)


def _alignment_words(found: xr.Dataset) -> str:
    start, stop = (in_hertz(float(found.attrs[name])) for name in ("band_from", "band_to"))
    moved = in_decibels(float(found.attrs["level_db"]), sign=True)
    return f"level taken out from {start} to {stop} (measured moved by {moved})"


@style.picture_settings()
def compared_picture(found: xr.Dataset, title: str | None = None) -> Picture:
    """Draw a measured sweep over the simulated one, and the difference below.

    `found`: of `compare.compare`. `title`: by default the name of the measured file.
    """
    curves = compared_curves(found)
    heading = title or f"Measured against simulated: {found.attrs.get('source', 'a sweep')}"
    subtitle = _alignment_words(found)
    keys: list[tuple[str, style.Look | style.Bar]] = [
        ("measured", style.MODDED_LOOK),
        ("simulated", style.STOCK_LOOK),
    ]
    if "band" in curves:
        keys.append(("90 % of amps built from this drawing", _BAND))
    picture, gains, change = gain_and_change(heading, subtitle, describe_compared(found), keys, _CHANGE_HEIGHT)
    _draw_gains(gains, curves)
    _draw_difference(change, curves)
    return picture


def _draw_gains(axes: Axes, curves: Curves) -> None:
    levels = [points[:, 1] for name, points in curves.items() if "difference" not in name]
    over_frequency(axes, "gain [dB]", levels, curves["simulated"][:, 0], labelled=False)
    if "band" in curves:
        fill_band(axes, curves, "band", _BAND)
    draw(axes, curves, "simulated", style.STOCK_LOOK)
    draw(axes, curves, "measured", style.MODDED_LOOK)


def _draw_difference(axes: Axes, curves: Curves) -> None:
    values = [points[:, 1] for name, points in curves.items() if "difference" in name]
    tidy(axes, "difference [dB]", [*values, np.zeros(1)], 2.0, ticks=5)
    frequency_axis(axes, curves["difference"][:, 0])
    zero_line(axes)
    if "difference-band" in curves:
        fill_band(axes, curves, "difference-band", _BAND)
    draw(axes, curves, "difference", style.CHANGE_LOOK)
