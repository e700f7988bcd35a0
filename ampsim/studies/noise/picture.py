"""Noise over frequency, and bars of where noise and hum come from: stock against modded at one position."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from ...base.wording import in_hertz
from ...measures.weighting import REFERENCE, in_db_a
from ...pictures import captions, style
from ...pictures.axes import area_between, draw, fill, frequency_axis, guitar_bracket, tidy
from ...pictures.canvas import SIDE, Curves, Picture, start_picture
from ...pictures.text_widths import text_width, wrap_text
from .hum_measures import hum_by_node, hum_table
from .measures import OTHERS, contributor_table, noise_table

_HEIGHT = 2.6  # inches
_ROW, _BAR, _GAP, _EDGE, _NUMBER, _WIDEST = 0.34, 0.1, 0.12, 0.25, 0.75, 2.4
_MOST_BARS = 8
_LEAST = 1e-3  # of the greatest; smaller bars are left out
_HUM = {
    "supply": ("hum of the supply", "by supply node, estimated ripple; shares may cancel in part"),
    "heater": ("hum of the heaters", "by valve, assumed leakage to the cathodes; powers add up"),
}
_LEVEL = f"level [dB(A) against {REFERENCE}]"


class BarRow(NamedTuple):
    """Name of one pair of bars and its two values, stock and modded."""

    name: str
    stock: float
    modded: float


def noise_curves(response: xr.Dataset) -> Curves:
    """Points of the moving parts of `noise_picture`: "stock" and "modded" [Hz, dB], and the area between.

    Of the first position, the first and the last variant.
    """
    pair = _pair(response)
    grid = pair["frequency"].values
    stock, other = 20.0 * np.log10(np.maximum(pair["noise"].values[:, 0], 1e-15) / 1e-6)
    lines = {"stock": np.column_stack([grid, stock]), "modded": np.column_stack([grid, other])}
    return lines | {"between": area_between(grid, np.minimum(stock, other), np.maximum(stock, other))}


def describe_noise(response: xr.Dataset) -> str:
    """The same in words and numbers, one paragraph."""
    pair = _pair(response)
    curves = noise_curves(pair)
    sentences = [
        f"Noise over frequency at {pair.attrs['output']}, {captions.span(pair)}, {pair['position'].values[0]}."
    ]
    for row, kind in zip(noise_table(pair).to_dict("records"), ("stock", "modded"), strict=True):
        at = [
            f"{_microvolts(curves[kind], each)}/√Hz at {in_hertz(each)}"
            for each in captions.anchors(pair, (100.0, 1000.0, 5000.0))
        ]
        sentences.append(
            f"{row['variant']}: {in_db_a(row[_LEVEL])} against {REFERENCE}, {', '.join(at)}; most of it "
            f"({row['its share [%]']:.0f} %) from {row['most from']}."
        )
    return " ".join(sentences)


@style.picture_settings()
def noise_picture(response: xr.Dataset, position: str | None = None, title: str | None = None) -> Picture:
    """Draw the noise at the output over frequency, stock against modded.

    `response`: of `noise_spectrum`, at least two variants. `position`: by default the first. `title`: by default amp,
    and which variant stands against which.

    Raises
    ------
    DescriptionError
        For unknown names or a single variant.
    """
    pair = _pair(response, position)
    names = captions.variant_names(pair)
    heading = title or f"{captions.amp_name(pair)}: noise, {names[1]} against {names[0]}"
    subtitle = f"at {pair.attrs['output']}, input silent, {pair['position'].values[0]}; levels against {REFERENCE}"
    levels = [in_db_a(each) for each in noise_table(pair)[_LEVEL]]
    looks = (style.STOCK_LOOK, style.MODDED_LOOK)
    keys = [(f"{name}: {level}", look) for name, level, look in zip(names, levels, looks, strict=True)]
    picture, top = start_picture(heading, subtitle, describe_noise(pair), (0.22, _HEIGHT, 0.56), keys)
    top -= 0.22
    axes = picture.box(SIDE, top - _HEIGHT, style.PAGE_WIDTH - 0.25, top)
    curves = noise_curves(pair)
    tidy(axes, "noise [dB against 1 µV/√Hz]", [curves[kind][:, 1] for kind in ("stock", "modded")], 12.0)
    frequency_axis(axes, pair["frequency"].values)
    guitar_bracket(axes)
    fill(axes, curves, "between")
    for kind, look in zip(("stock", "modded"), looks, strict=True):
        draw(axes, curves, kind, look)
    return picture


def noise_bars_picture(response: xr.Dataset, position: str | None = None) -> Picture:
    """Draw who makes the noise at a position (default the first): the loudest parts, first against last variant."""
    pair = _pair(response, position)
    names = captions.variant_names(pair)
    table = contributor_table(pair, 0.0)
    table = table[table["contributor"] != OTHERS]
    volts = table.pivot(index="contributor", columns="variant", values="noise [mV(A)]").reindex(columns=names)
    order = volts.max(axis=1).sort_values(ascending=False, kind="stable").index
    stages = dict(zip(table["contributor"], table["stage"], strict=True))
    rows = [_bar_row(f"{name} ({stages[name]})", volts.loc[name]) for name in order[:_MOST_BARS]]
    # Powers add: the parts are strangers to each other.
    rows.append(_bar_row(OTHERS, (volts.loc[order[_MOST_BARS:]] ** 2).sum() ** 0.5))
    heading = f"{captions.amp_name(pair)}: who makes the noise"
    subtitle = f"A-weighted noise at {pair.attrs['output']} by part, {pair['position'].values[0]}; powers add up"
    return paired_bars(heading, subtitle, rows, names, [in_db_a(each) for each in noise_table(pair)[_LEVEL]])


def hum_bars_picture(
    response: xr.Dataset, kind: Literal["supply", "heater"] = "supply", position: str | None = None
) -> Picture:
    """Draw where the hum comes from at one position, first against last variant: by supply node, or by heater.

    `response`: of `hum_spectrum`, at least two variants. `position`: by default the first.

    Raises
    ------
    DescriptionError
        For unknown names or a single variant.
    """
    pair = _pair(response, position)
    names = captions.variant_names(pair)
    table = hum_by_node(pair)
    table = table[table["kind"] == kind]
    volts = table.pivot(index="from", columns="variant", values="at the output [mV(A)]").reindex(columns=names)
    most = float(volts.to_numpy(float).max())
    told = [name for name in dict.fromkeys(table["from"]) if volts.loc[name].max() >= _LEAST * most]
    rows = [_bar_row(f"{name}{_ripple(table, name, names)}", volts.loc[name]) for name in told]
    said = [in_db_a(each) for each in hum_table(pair)[f"{kind} hum: {_LEVEL}"]]
    heading, how = _HUM[kind]
    left_out = "" if len(told) == len(volts) else "; what is less than a thousandth of the largest is left out"
    subtitle = f"A-weighted hum at {pair.attrs['output']}, {pair['position'].values[0]}; {how}{left_out}"
    return paired_bars(f"{captions.amp_name(pair)}: {heading}", subtitle, rows, names, said)


def _ripple(table: pd.DataFrame, name: str, names: Sequence[str]) -> str:
    """The ripple on a supply node in both variants: ", ripple 126 mV"."""
    found = [
        float(table[(table["from"] == name) & (table["variant"] == each)]["ripple [mV]"].iloc[0]) for each in names
    ]
    if any(math.isnan(each) for each in found):
        return ""
    both = dict.fromkeys(_millivolts(each) for each in found)
    return f", ripple {' / '.join(both)}"


def _bar_row(name: str, values: Any) -> BarRow:
    stock, modded = (0.0 if math.isnan(each) else float(each) for each in values)
    return BarRow(name, stock, modded)


@style.picture_settings()
def paired_bars(
    heading: str, subtitle: str, rows: Sequence[BarRow], names: Sequence[str], levels: Sequence[str]
) -> Picture:
    """Draw pairs of bars [mV, A-weighted], stock above modded, each with its number.

    Parameters
    ----------
    heading, subtitle : str
    rows : sequence of BarRow
        From the top down.
    names, levels : sequence of str
        Names of the two variants, and their level in words, for the key.
    """
    looks = (style.STOCK_BAR, style.MODDED_BAR)
    keys = [(f"{name}: {level}", look) for name, level, look in zip(names, levels, looks, strict=True)]
    said = [f"{row.name}: {names[0]} {_millivolts(row.stock)}, {names[1]} {_millivolts(row.modded)}" for row in rows]
    totals = "; ".join(f"{name} {level}" for name, level in zip(names, levels, strict=True))
    words = f"{subtitle}. {totals}. {'; '.join(said)}."
    picture, top = start_picture(heading, subtitle, words, (0.12, _ROW * len(rows), 0.15), keys, _EDGE)
    top -= 0.12
    labels = [wrap_text(row.name, _WIDEST, style.TEXT_SIZE) for row in rows]
    left = _EDGE + max(text_width(line, style.TEXT_SIZE) for lines in labels for line in lines) + _GAP
    room = style.PAGE_WIDTH - left - _NUMBER - 0.15
    most = max((max(row.stock, row.modded) for row in rows), default=0.0) or 1.0
    for place, row in enumerate(rows):
        middle = top - _ROW * (place + 0.5)
        picture.stack(left - _GAP, middle, labels[place], ha="right")
        for kind, value, look, y in zip(("stock", "modded"), row[1:], looks, (0.01, -0.01 - _BAR), strict=True):
            width = room * value / most
            picture.block(left, middle + y, width, _BAR, look, gid=f"{kind}-{place}")
            picture.stack(left + width + 0.06, middle + y + 0.5 * _BAR, [_millivolts(value)], style.SMALL_SIZE)
    picture.rule([left, left], [top, top - _ROW * len(rows)], style.Look(style.QUIET, 0.8))
    return picture


def _microvolts(curve: NDArray[np.float64], hertz: float) -> str:
    """What a curve [dB over 1 uV] has at a frequency [Hz], in words."""
    micro = 10.0 ** (np.interp(math.log(hertz), np.log(curve[:, 0]), curve[:, 1]) / 20.0)
    return f"{float(f'{micro:.3g}'):g} uV" if micro < 999.5 else f"{micro / 1e3:.3g} mV"


def _millivolts(size: float) -> str:
    if size < 1e-6:
        return "none"
    if size >= 1e3:
        return f"{size / 1e3:.3g} V"
    return f"{size:.3g} mV" if size >= 0.0995 else f"{1e3 * size:.2g} µV"


def _pair(response: xr.Dataset, position: str | None = None) -> xr.Dataset:
    """The first and the last variant at one position."""
    return captions.select_pair(response, positions=[captions.position_of(response, position)])
