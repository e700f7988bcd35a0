"""Harmonics as bars by order, stock beside modded."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from ..base.wording import in_decibels, in_volts, minus
from ..measures.waveforms import FLOOR_DB, harmonics
from . import captions, style
from .axes import tidy
from .canvas import SIDE, Picture, start_picture

_HEIGHT = 2.9  # inches
_FLOOR = FLOOR_DB


def describe_harmonics(response: xr.Dataset, node: str | None = None) -> str:
    """`harmonics_picture` in words and numbers, one paragraph: the first position, the first and the last variant."""
    found = harmonics(captions.select_one_or_two(response), node).isel(position=0)
    sentences = [
        f"Harmonics at {node or response.attrs['output']} relative to the fundamental, {captions.tone(response)}."
    ]
    for place, name in enumerate(found["variant"].values):
        row = found.isel(variant=place)
        pairs = zip(row["harmonic"].values[1:], row["relative"].values[1:], strict=True)
        levels = ", ".join(f"H{order} {_level(float(level))}" for order, level in pairs)
        first = in_volts(float(row["amplitude"].values[0]))
        sentences.append(f"{name}: fundamental {first} peak, THD {float(row['thd']):.2g} %; {levels}.")
    return " ".join(sentences)


@style.picture_settings()
def harmonics_picture(
    response: xr.Dataset,
    node: str | None = None,
    position: str | None = None,
    variants: Sequence[str] | None = None,
    percent: bool = False,
    title: str | None = None,
) -> Picture:
    """Draw harmonics 2 to 10 of the settled waveform as bars, relative to the fundamental.

    Parameters
    ----------
    response : xarray.Dataset
        A transient with a sine.
    node, position, variants : str, str, sequence of str
        As `waveform_picture`.
    percent : bool
        In percent of the fundamental instead of dB.
    title : str
        Default: amp and node.

    Raises
    ------
    DescriptionError
        For unknown names, more than two variants, or another stimulus.
    """
    chosen = captions.select_one_or_two(response, position, variants)
    found = harmonics(chosen, node).isel(position=0)
    heading = title or f"{captions.amp_name(chosen)}: harmonics at {node or chosen.attrs['output']}"
    subtitle = f"{captions.tone(chosen)}; {chosen['position'].values[0]}"
    picture, top = start_picture(
        heading, subtitle, describe_harmonics(chosen, node), (0.1, _HEIGHT, 0.72), _keys(found)
    )
    top -= 0.1
    axes = picture.box(SIDE, top - _HEIGHT, style.PAGE_WIDTH - 0.25, top)
    _draw_bars(axes, found, percent)
    note = f"floor: more than {-_FLOOR:g} dB below the fundamental, where the simulation is not trusted"
    picture.write(SIDE, 0.2, note, style.SMALL_SIZE, color=style.QUIET)
    return picture


def _level(relative: float) -> str:
    if np.isnan(relative):
        return "not known"
    return f"below {in_decibels(_FLOOR)}" if relative < _FLOOR else in_decibels(relative)


def _keys(found: xr.Dataset) -> list[tuple[str, style.Bar]]:
    named = zip(found["variant"].values, found["thd"].values, _looks(found), strict=True)
    return [(f"{name}: {captions.distortion(float(thd))}", look) for name, thd, look in named]


def _looks(found: xr.Dataset) -> list[style.Bar]:
    return [style.STOCK_BAR, style.MODDED_BAR][-found.sizes["variant"] :]


def _draw_bars(axes: Axes, found: xr.Dataset, percent: bool) -> None:
    relative = found["relative"].values[:, 1:]
    trusted = np.where(relative >= _FLOOR, relative, np.nan)
    heights, base = (100.0 * 10.0 ** (trusted / 20.0), 0.0) if percent else (trusted, _FLOOR - 5.0)
    top = np.nanmax(heights, initial=1.0 if percent else -20.0)
    tidy(axes, f"relative to the fundamental [{'%' if percent else 'dB'}]", [heights, np.array([base, top])], 1e-9)
    axes.set_ylim(base, base + 1.12 * (top - base))
    axes.grid(False, axis="x")
    orders = found["harmonic"].values[1:]
    wide = 0.8 / len(heights)
    for row, (bars, look) in enumerate(zip(heights, _looks(found), strict=True)):
        middles = orders + wide * (row - 0.5 * (len(heights) - 1))
        for order, x, height in zip(orders, middles, bars, strict=True):
            _draw_bar(axes, f"bar-{row}-{order}", x, 0.92 * wide, base, height, look, percent)
    axes.set_xlim(orders[0] - 0.6, orders[-1] + 0.6)
    axes.set_xticks(orders, [f"H{order}" for order in orders])
    axes.tick_params(axis="x", length=0)
    axes.set_xlabel("harmonic", fontsize=style.TEXT_SIZE, color=style.INK, labelpad=4)


def _draw_bar(
    axes: Axes, gid: str, x: float, width: float, base: float, height: float, look: style.Bar, percent: bool
) -> None:
    """One bar with its number on top; where the number is below the floor, the words alone."""
    shown = 0.0 if np.isnan(height) else height - base
    settings: dict[str, Any] = {"facecolor": look.face, "edgecolor": look.edge, "hatch": look.hatch or None}
    axes.add_patch(Rectangle((x - 0.5 * width, base), width, shown, gid=gid, zorder=3, linewidth=0.9, **settings))
    words_here = "floor" if np.isnan(height) else _number(height, percent)
    settings = {"bbox": {"facecolor": "white", "edgecolor": "none", "pad": 0.4}, "fontsize": 6.5, "zorder": 2.9}
    settings |= {"ha": "center", "va": "bottom", "color": style.INK if shown else style.QUIET}
    axes.annotate(words_here, (x, base + shown), (0, 2), textcoords="offset points", **settings)


def _number(height: float, percent: bool) -> str:
    return f"{height:.2g}" if percent else minus(f"{height:.0f}")
