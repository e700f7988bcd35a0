"""Headroom: gain over level with the levels where every stage clips, and harmonics over level, stock against modded."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator

from ...base.wording import in_decibels, in_hertz, in_volts, minus
from ...measures.labels import records
from ...measures.waveforms import FLOOR_DB, stimulus
from ...pictures import captions, style
from ...pictures.axes import draw, end_labels, label_room, tidy
from ...pictures.canvas import SIDE, Curves, Picture, start_picture
from ...pictures.text_widths import text_width
from .level_axis import level_axis, level_words, marks_of
from .measures import WHOLE, clipping_table, compression_db, harmonics_over_level, power_table

_GAIN_HEIGHT, _ROW, _GAP, _FOOT = 2.1, 0.24, 0.3, 0.5  # inches
_BESIDE = 1.75  # inches right of the axes, for levels in words
_ORDERS = (2, 3, 4, 5)
_PANEL = 1.75


def compression_curves(response: xr.Dataset) -> Curves:
    """Points of the moving lines of `compression_picture`, at the first position: "line-0", "line-1" [V peak, dB]."""
    chosen = captions.select_one_or_two(response)
    whole = compression_db(chosen)["valve"].sel(stage=WHOLE).isel(position=0)
    gains = power_table(chosen)["gain [dB]"].to_numpy()
    rows = {}
    for place, gain in enumerate(gains):
        fallen = whole.isel(variant=place).values
        known = np.isfinite(fallen)
        rows[f"line-{place}"] = np.column_stack([chosen["level"].values[known], gain + fallen[known]])
    return rows


def describe_compression(response: xr.Dataset) -> str:
    """The same in words and numbers, one paragraph."""
    chosen = captions.select_one_or_two(response)
    table, power = clipping_table(chosen), records(power_table(chosen))
    sentences = [f"Gain of {captions.amp_name(chosen)} over level and where its stages clip, {_subtitle(chosen)}."]
    for row in power:
        stages = records(table[table["variant"] == row["variant"]])
        clips = "; ".join(f"{each['stage']} {level_words(each['clips at [V]'], chosen)}" for each in stages)
        gain = in_decibels(row["gain [dB]"])
        sentences.append(f"{row['variant']}: gain {gain} for a small signal; down by 1 dB: {clips}.")
    return " ".join(sentences)


@style.picture_settings()
def compression_picture(response: xr.Dataset, position: str | None = None, title: str | None = None) -> Picture:
    """Draw gain over level, and below it a row to each stage with the level where it clips.

    `response`: of `ampsim.studies.headroom.simulate.headroom`. `position`: by default the first. `title`: by default
    the amp.

    Raises
    ------
    DescriptionError
        For an unknown position.
    """
    chosen, heading, keys = captions.one_or_two_looks(response, position, title, "headroom")
    table = clipping_table(chosen)
    stages = list(dict.fromkeys(table["stage"]))
    rows = _ROW * (len(stages) + 0.4)
    subtitle = _subtitle(chosen)
    below = (0.1, _GAIN_HEIGHT, _GAP, rows, _FOOT)
    picture, top = start_picture(heading, subtitle, describe_compression(chosen), below, keys)
    top -= 0.1
    left = max(SIDE, 0.4 + max(text_width(stage, style.TEXT_SIZE) for stage in stages))
    right = style.PAGE_WIDTH - _BESIDE
    upper = picture.box(left, top - _GAIN_HEIGHT, right, top)
    curves = compression_curves(chosen)
    tidy(upper, "gain [dB]", [points[:, 1] for points in curves.values()], 12.0)
    for gid, (_, look) in zip(curves, keys, strict=True):
        draw(upper, curves, gid, look)
    level_axis(upper, chosen, labelled=False)
    lower = picture.box(left, _FOOT, right, _FOOT + rows)
    _draw_rows(picture, lower, table, stages, chosen)
    level_axis(lower, chosen, labelled=True)
    return picture


def _subtitle(chosen: xr.Dataset) -> str:
    hertz = in_hertz(stimulus(chosen).frequency)
    return f"{chosen['position'].values[0]}; a sine of {hertz}; a stage clips where its gain is down by 1 dB"


def _draw_rows(picture: Picture, axes: Axes, table: Any, stages: list[str], chosen: xr.Dataset) -> None:
    """A row to each stage: a mark to each variant, the levels in words beside it."""
    tidy(axes, "", [np.array([-0.7, len(stages) - 0.3])], 0.0)
    axes.set_ylim(len(stages) - 0.3, -0.7)
    axes.yaxis.set_major_locator(FixedLocator(range(len(stages))))
    axes.set_yticklabels(stages)
    axes.tick_params(axis="y", length=0)
    box = axes.get_position()
    for place, stage in enumerate(stages):
        rows = records(table[table["stage"] == stage])
        levels = [float(row["clips at [V]"]) for row in rows]
        marks = [(level, look) for level, look in zip(levels, marks_of(chosen), strict=False) if 0.0 < level < math.inf]
        if len(marks) == 2:
            axes.plot([level for level, _ in marks], [place, place], color=style.MODDED, linewidth=0.9, zorder=3)
        for level, look in marks:
            axes.plot([level], [place], linestyle="none", zorder=4, **look)
        middle = picture.height * (box.y1 - (place + 0.7) / (len(stages) + 0.4) * (box.y1 - box.y0))
        told = [level_words(level, chosen) for level in levels]
        line = told[0] if len(set(told)) == 1 else "  \u2192  ".join(told)
        picture.stack(box.x1 * picture.width + 0.12, middle, [line], style.SMALL_SIZE,
                      weight="bold" if stage == WHOLE else "normal")  # fmt: skip


def harmonics_over_level_curves(response: xr.Dataset) -> Curves:
    """Points of the moving lines of `harmonics_over_level_picture`: "line-<variant>-<order>" [V peak, dB]."""
    chosen = captions.select_one_or_two(response)
    rows = {}
    for place, name in enumerate(chosen["variant"].values):
        found = harmonics_over_level(chosen, str(name), str(chosen["position"].values[0]))
        for order in _ORDERS:
            relative = found["relative"].sel(harmonic=order).values
            trusted = np.where(relative >= FLOOR_DB, relative, np.nan)
            rows[f"line-{place}-{order}"] = np.column_stack([found["level"].values, trusted])
    return rows


def describe_harmonics_over_level(response: xr.Dataset) -> str:
    """The same in words and numbers, one paragraph: harmonics 2 to 5 at the highest level that was played."""
    chosen = captions.select_one_or_two(response)
    position = str(chosen["position"].values[0])
    sentences = [f"Harmonics 2 to 5 at the speaker of {captions.amp_name(chosen)} over level, {position}."]
    for name in captions.variant_names(chosen):
        found = harmonics_over_level(chosen, name, position).isel(level=-1)
        told = ", ".join(f"H{order} {_order_words(found, order)}" for order in _ORDERS)
        sentences.append(f"{name} at {in_volts(float(found['level']))}: {told}.")
    return " ".join(sentences)


def _order_words(found: xr.Dataset, order: int) -> str:
    relative = float(found["relative"].sel(harmonic=order))
    return in_decibels(relative) if relative >= FLOOR_DB else f"below {in_decibels(FLOOR_DB)}"


@style.picture_settings()
def harmonics_over_level_picture(
    response: xr.Dataset, position: str | None = None, title: str | None = None
) -> Picture:
    """Draw harmonics 2 to 5 over level, a panel to each variant; parameters and errors as `compression_picture`."""
    chosen = captions.select_one_or_two(response, position)
    names = captions.variant_names(chosen)
    heading = title or f"{captions.amp_name(chosen)}: harmonics over level"
    hertz = in_hertz(stimulus(chosen).frequency)
    floor = minus(f"{FLOOR_DB:g} dB")
    where = f"{chosen['position'].values[0]}; a sine of {hertz}, at the speaker"
    subtitle = f"{where}, relative to the fundamental; what is below {floor} is not trusted and not drawn"
    below = (0.25, len(names) * (_PANEL + _GAP), _FOOT, -_GAP)
    picture, top = start_picture(heading, subtitle, describe_harmonics_over_level(chosen), below)
    top -= 0.25
    curves = harmonics_over_level_curves(chosen)
    looks = style.family_looks(len(_ORDERS))
    labels = [f"H{order}" for order in _ORDERS]
    for place, name in enumerate(names):
        high = top - place * (_PANEL + _GAP)
        axes = picture.box(SIDE, high - _PANEL, style.PAGE_WIDTH - label_room(labels), high)
        tidy(axes, "relative [dB]", [np.array([FLOOR_DB, 0.0])], 0.0)
        picture.write(SIDE, high + 0.15, name, weight="bold")
        level_axis(axes, chosen, labelled=place == len(names) - 1)
        for order, look in zip(_ORDERS, looks, strict=True):
            draw(axes, curves, f"line-{place}-{order}", look)
        ends = [(label, curves[f"line-{place}-{order}"][:, 1], look)
                for label, order, look in zip(labels, _ORDERS, looks, strict=True)]  # fmt: skip
        end_labels(picture, axes, ends)
    return picture
