"""The waveform view: stimulus, pictures and words of a transient."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from numpy.typing import NDArray

from ..base.wording import in_hertz, in_volts
from ..measures.waveforms import stimulus
from ..simulation.stimuli import Burst, Sine
from . import captions, style
from .axes import draw, tidy, zero_line
from .canvas import Picture
from .harmonics import harmonics_picture
from .waveform import source_and_output, waveform_picture

Array = NDArray[np.float64]
_LOOKS = (style.STOCK_LOOK, style.Look(style.MODDED, 1.3))
_HEIGHTS = (0.9, 2.4)  # inches
_BURST_CYCLES = 8


def wave_stimulus(shape: str, frequency: float, level: float) -> Sine | Burst:
    """A sine of a frequency [Hz] and level [V peak], or eight cycles of it and twice that silence to recover in."""
    if shape == "sine":
        return Sine(frequency, level)
    start, length = 0.005, _BURST_CYCLES / frequency
    return Burst(frequency, level, start, start + length, start + 3.0 * length)


def wave_pictures(response: xr.Dataset, node: str) -> list[Picture]:
    """Waveform and harmonics of a sine; for a burst, which has no steady harmonics, the waveform alone."""
    if stimulus(response).shape == "sine":
        return [waveform_picture(response, node), harmonics_picture(response, node)]
    return [burst_picture(response, node)]


@style.picture_settings()
def burst_picture(response: xr.Dataset, node: str) -> Picture:
    """Draw source and output over the whole time of a burst, stock and modded.

    The resting voltage at the node is taken off: what is left is the signal, and a bias that recovers slowly shows.
    """
    milliseconds = 1e3 * response["time"].values
    at_node = response["voltage"].isel(position=0).sel(node=node).values
    volts = at_node - at_node[:, :1]
    source = response["voltage"].isel(position=0, variant=0).sel(node="input").values
    names = [str(each) for each in response["variant"].values]
    keys = [(f"{name}: {_extremes(row)}", look) for name, row, look in zip(names, volts, _LOOKS, strict=True)]
    heading, subtitle = f"{captions.amp_name(response)}: burst at {node}", _subtitle(response)
    alternative = f"{heading}, {subtitle}. " + "; ".join(name for name, _ in keys) + "."
    picture, upper, lower = source_and_output(heading, subtitle, alternative, keys, _HEIGHTS)
    _traces(upper, "source", milliseconds, [source], [style.Look(style.INK, 1.0)], 3)
    _traces(lower, "output", milliseconds, volts, _LOOKS, 6)
    return picture


def _subtitle(response: xr.Dataset) -> str:
    facts = stimulus(response)
    sound = f"{in_hertz(facts.frequency)}, {in_volts(facts.level)} peak"
    span = f"from {1e3 * facts.start:.3g} to {1e3 * facts.stop:.3g} ms"
    return f"{sound}, {span}; {response['position'].values[0]}"


def _traces(
    axes: Axes, label: str, time: Array, rows: Sequence[Array], looks: Sequence[style.Look], ticks: int
) -> None:
    small = max(float(np.abs(row).max()) for row in rows) < 0.5
    shown = [1e3 * row if small else row for row in rows]
    tidy(axes, f"{label} [{'mV' if small else 'V'}]", shown, 1e-6, ticks)
    axes.set_xlim(time[0], time[-1])
    zero_line(axes)
    for place, (row, look) in enumerate(zip(shown, looks, strict=True)):
        draw(axes, {f"line-{place}": np.column_stack([time, row])}, f"line-{place}", look)


def _extremes(row: Array) -> str:
    return f"{in_volts(float(row.min()))} to {in_volts(float(row.max()))}"
