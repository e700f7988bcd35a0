"""Waveforms: what goes in and what comes out over the last settled cycles, stock and modded."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from ..base.wording import in_volts, minus
from ..measures.waveforms import extremes_v, harmonics, rms_v, source_v, steady_voltage, stimulus
from . import captions, style
from .axes import draw, tidy, zero_line
from .canvas import SIDE, Curves, Keys, Picture, start_picture

_MOST_CYCLES = 4
_HEIGHTS, _GAP = (1.0, 2.6), 0.22  # inches


def waveform_curves(response: xr.Dataset, node: str | None = None) -> Curves:
    """Points of the moving parts of `waveform_picture`: "source", "line-0", ... [ms, V].

    Of the first position, and of the first and the last variant.
    """
    chosen = captions.select_one_or_two(response)
    output = _last_cycles(steady_voltage(chosen, node), chosen)
    source = source_v(chosen).sel(time=output["time"])
    milliseconds = 1e3 * (output["time"].values - output["time"].values[0])
    curves = {"source": np.column_stack([milliseconds, source.values])}
    for place in range(output.sizes["variant"]):
        row = output.isel(variant=place, position=0).values
        curves[f"line-{place}"] = np.column_stack([milliseconds, row])
    return curves


def describe_waveform(response: xr.Dataset, node: str | None = None) -> str:
    """The same in words and numbers, one paragraph."""
    chosen = captions.select_one_or_two(response)
    ends = extremes_v(chosen, node).isel(position=0)
    thd = harmonics(chosen, node)["thd"].isel(position=0)
    rms = rms_v(chosen, node).isel(position=0)
    sentences = [
        f"Waveform at {node or chosen.attrs['output']} for {captions.tone(chosen)}, {chosen['position'].values[0]}."
    ]
    for place, name in enumerate(chosen["variant"].values):
        low, high = (in_volts(float(ends[edge].values[place])) for edge in ("lowest", "highest"))
        level = in_volts(float(rms.values[place]))
        sentences.append(f"{name}: {low} to {high}, {level} rms, {captions.distortion(float(thd.values[place]))}.")
    return " ".join(sentences)


@style.picture_settings()
def waveform_picture(
    response: xr.Dataset,
    node: str | None = None,
    position: str | None = None,
    variants: Sequence[str] | None = None,
    title: str | None = None,
) -> Picture:
    """Draw the source and the waveform at a node over the last settled cycles (at most four).

    Parameters
    ----------
    response : xarray.Dataset
        A transient with a sine.
    node : str
        Where to listen; default the output.
    position : str
        Default the first.
    variants : sequence of str
        One or two, drawn as stock and modded; default the first and the last.
    title : str
        Default: amp, node and tone.

    Raises
    ------
    DescriptionError
        For unknown names, more than two variants, or another stimulus.
    """
    chosen = captions.select_one_or_two(response, position, variants)
    curves = waveform_curves(chosen, node)
    heading = title or f"{captions.amp_name(chosen)}: waveform at {node or chosen.attrs['output']}"
    subtitle = f"{captions.tone(chosen)}; {chosen['position'].values[0]}"
    looks = style.stock_and_modded(chosen.sizes["variant"])
    keys = list(zip(_key(chosen, node), looks, strict=True))
    picture, source, output = source_and_output(heading, subtitle, describe_waveform(chosen, node), keys, _HEIGHTS)
    _draw_traces(source, "source", curves, {"source": style.Look(style.INK, 1.2)}, 3)
    _draw_traces(output, "output", curves, {f"line-{place}": look for place, look in enumerate(looks)}, 6)
    return picture


def source_and_output(
    heading: str, subtitle: str, alternative: str, keys: Keys, heights: tuple[float, float]
) -> tuple[Picture, Axes, Axes]:
    """A picture with axes for the source above those for the output, both over time.

    Parameters
    ----------
    heading, subtitle, alternative : str
        As in a `Picture`.
    keys : sequence of (str, Look)
        Names beside samples of lines.
    heights : (float, float)
        Of the two axes [inches].
    """
    picture, top = start_picture(heading, subtitle, alternative, (0.1, heights[0], _GAP, heights[1], 0.56), keys)
    top -= 0.1
    right = style.PAGE_WIDTH - 0.25
    source = picture.box(SIDE, top - heights[0], right, top)
    output = picture.box(SIDE, 0.56, right, 0.56 + heights[1])
    source.tick_params(labelbottom=False)
    output.set_xlabel("time [ms]", fontsize=style.TEXT_SIZE, color=style.INK, labelpad=4)
    return picture, source, output


def _last_cycles(output: xr.DataArray, response: xr.Dataset) -> xr.DataArray:
    end = float(output["time"].values[-1])
    return output.sel(time=slice(end - _MOST_CYCLES / stimulus(response).frequency - 1e-9, None))


def _key(response: xr.Dataset, node: str | None) -> list[str]:
    """Name, extremes and distortion of each variant: where a wave is cut off can be read in volts."""
    ends = extremes_v(response, node).isel(position=0)
    thd = harmonics(response, node)["thd"].isel(position=0)
    return [
        f"{name}: {in_volts(float(low))} to {in_volts(float(high))}, {captions.distortion(float(each))}"
        for name, low, high, each in zip(
            response["variant"].values, ends["lowest"].values, ends["highest"].values, thd.values, strict=True
        )
    ]


def _draw_traces(axes: Axes, name: str, curves: Curves, looks: dict[str, style.Look], ticks: int) -> None:
    values = [curves[gid][:, 1] for gid in looks]
    small = max(float(np.abs(each).max()) for each in values) < 0.5
    tidy(axes, f"{name} [{'mV' if small else 'V'}]", values, 1e-6, ticks)
    if small:
        axes.yaxis.set_major_formatter(FuncFormatter(lambda volts, _: minus(f"{1e3 * volts:.4g}")))
    first = next(iter(looks))
    axes.set_xlim(curves[first][0, 0], curves[first][-1, 0])
    if axes.get_ylim()[0] < 0.0 < axes.get_ylim()[1]:
        zero_line(axes)
    for gid, look in looks.items():
        draw(axes, curves, gid, look)
