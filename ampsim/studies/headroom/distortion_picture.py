"""Distortion over level, stock against modded, with the levels where it reaches 5 and 10 %: when an amp breaks up."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from ...base.wording import in_hertz
from ...measures.labels import records
from ...measures.waveforms import stimulus
from ...pictures import captions, style
from ...pictures.axes import draw, tidy
from ...pictures.canvas import SIDE, Curves, Picture, start_picture
from ..once import once
from .crossings import value_at
from .level_axis import level_axis, level_words, marks_of
from .measures import CLEAN_PERCENT, distortion_column, distortion_over_level, power_table

MARKS_PERCENT = tuple(percent for percent in CLEAN_PERCENT if percent > 1.0)
"""What is marked: 5 and 10 %; at 10 % data sheets of output valves state their power."""
LEAST_PERCENT = 0.3
"""What is drawn: harmonics above -50 dB come out within 0.5 dB."""
_HEIGHT, _FOOT, _BESIDE = 2.6, 0.5, 1.75  # inches
_TICKS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)  # percent
_PER_STEP = 8  # points drawn from level to level


@once
def _first(response: xr.Dataset) -> xr.Dataset:
    """What is drawn by default: all that is asked of one response works on the same one."""
    return captions.select_one_or_two(response)


def distortion_curves(response: xr.Dataset) -> Curves:
    """Points of the moving lines of `distortion_picture`, at the first position: "line-0", "line-1" [V peak, %].

    Between levels that were played they lie on the curve on which `power_table` finds its levels.
    """
    chosen = _first(response)
    levels = chosen["level"].values
    fine = np.geomspace(levels[0], levels[-1], _PER_STEP * (levels.size - 1) + 1)
    rows = {}
    for place, percent in enumerate(distortion_over_level(chosen).isel(position=0).values):
        decibels = 20.0 * np.log10(np.where(percent > 0.0, percent, np.nan))
        drawn = 10.0 ** (np.array([value_at(levels, decibels, level) for level in fine]) / 20.0)
        # From where it is known it is drawn whole: a line that sinks below the foot leaves the picture there.
        rows[f"line-{place}"] = np.column_stack([fine, drawn])[np.isfinite(drawn)]
    return rows


def describe_distortion(response: xr.Dataset) -> str:
    """The same in words and numbers, one paragraph: where distortion reaches 1, 5 and 10 %."""
    chosen = _first(response)
    sentences = [f"Distortion at the speaker of {captions.amp_name(chosen)} over level, {_subtitle(chosen)}."]
    for row in records(power_table(chosen)):
        reached = ", ".join(
            f"{percent:g} % at {level_words(row[distortion_column(percent)], chosen)}" for percent in CLEAN_PERCENT
        )
        sentences.append(f"{row['variant']}: distortion reaches {reached}.")
    return " ".join(sentences)


@style.picture_settings()
def distortion_picture(response: xr.Dataset, position: str | None = None, title: str | None = None) -> Picture:
    """Draw distortion over level, with the levels where it reaches 5 and 10 % beside it.

    `response`: of `ampsim.studies.headroom.simulate.headroom`. `position`: by default the first. `title`: by default
    the amp.

    Raises
    ------
    DescriptionError
        For an unknown position.
    """
    chosen, heading, keys = captions.one_or_two_looks(response, position, title, "when it breaks up")
    picture, top = start_picture(heading, _subtitle(chosen), describe_distortion(chosen), (0.1, _HEIGHT, _FOOT), keys)
    axes = picture.box(SIDE, _FOOT, style.PAGE_WIDTH - _BESIDE, top - 0.1)
    draw_distortion(axes, chosen)
    _write_levels(picture, axes, chosen)
    return picture


def draw_distortion(axes: Axes, chosen: xr.Dataset, highest: float = 0.0) -> dict[tuple[float, int], Line2D]:
    """Distortion over level at one position, with a line at each marked percent and a mark where each amp reaches it.

    Parameters
    ----------
    axes : matplotlib Axes
    chosen : xarray.Dataset
        Of `ampsim.studies.headroom.simulate.headroom`, of one or two variants.
    highest : float
        What else is to find room on the axis [percent].

    Returns
    -------
    dict
        The marks, by percent and place of the variant.
    """
    curves, looks = distortion_curves(chosen), style.stock_and_modded(chosen.sizes["variant"])
    _percent_axis(axes, max([highest, *(float(points[:, 1].max()) for points in curves.values() if points.size)]))
    for gid, look in zip(curves, looks, strict=True):
        draw(axes, curves, gid, look)
    level_axis(axes, chosen, labelled=True)
    marks = {}
    for percent, levels in reached_levels(chosen).items():
        axes.axhline(percent, color=style.QUIET, linewidth=0.9, zorder=2)
        for place, (level, mark) in enumerate(zip(levels, marks_of(chosen), strict=True)):
            if 0.0 < level < math.inf:
                (marks[percent, place],) = axes.plot([level], [percent], linestyle="none", zorder=4, **mark)
    return marks


def reached_levels(chosen: xr.Dataset) -> dict[float, list[float]]:
    """To each marked percent the level of each variant [V peak]."""
    rows = records(power_table(_first(chosen)))
    return {percent: [float(row[distortion_column(percent)]) for row in rows] for percent in MARKS_PERCENT}


def _subtitle(chosen: xr.Dataset) -> str:
    hertz = in_hertz(stimulus(chosen).frequency)
    return f"{chosen['position'].values[0]}; a sine of {hertz}; all harmonics at the speaker against the tone (THD)"


def _percent_axis(axes: Axes, highest: float) -> None:
    """From `LEAST_PERCENT` to what is reached, the marks always inside."""
    tidy(axes, "distortion [%]", [np.array([LEAST_PERCENT, highest])], 1.0)
    axes.set_yscale("log")
    axes.set_ylim(LEAST_PERCENT, 1.4 * max(highest, 2.0 * MARKS_PERCENT[-1]))
    axes.yaxis.set_major_locator(FixedLocator(_TICKS))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(FuncFormatter(lambda percent, _: f"{percent:g}"))


def _write_levels(picture: Picture, axes: Axes, chosen: xr.Dataset) -> None:
    """Beside each marked percent the levels in words."""
    box = axes.get_position()
    for percent, levels in reached_levels(chosen).items():
        share = axes.transAxes.inverted().transform(axes.transData.transform((1.0, percent)))[1]
        told = list(dict.fromkeys(level_words(level, chosen) for level in levels))
        picture.stack(box.x1 * picture.width + 0.12, picture.height * (box.y0 + share * (box.y1 - box.y0)),
                      [f"{percent:g} % at", "  \u2192  ".join(told)], style.SMALL_SIZE)  # fmt: skip
