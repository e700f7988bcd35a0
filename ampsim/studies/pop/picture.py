"""Pops of switches: what the loudspeaker gets when a switch moves, and what remedies leave of it."""

from __future__ import annotations

import math
from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from matplotlib.axes import Axes

from ...base.wording import in_volts
from ...measures.labels import expect, select
from ...pictures import captions, style
from ...pictures.axes import draw, tidy, zero_line
from ...pictures.canvas import SIDE, Curves, Picture, start_picture
from ...pictures.text_widths import text_width
from .measures import HELPS, LENGTH, PEAK, SILENT_V, loud_v, pop_summary, pop_table
from .remedies import AS_IT_IS

_MOST_PANELS = 6
_HEIGHT, _TITLES, _GAP, _BETWEEN, _FOOT = 1.45, 0.52, 0.14, 0.3, 0.46  # inches
_LINES = {
    "worst": "as it is, in the worst order of contacts that the switch has",
    "order": "as it is, in the best order of any switch",
    "bleed": "with a bleed, or else with what helps most, in the worst order",
}
_SHORTEST = 60.0  # ms, of the time shown
_BEFORE = 5.0  # ms shown of the time before
_ALIKE = 0.95  # of the worst peak: lines above it are left out


def pop_curves(response: xr.Dataset, position: str | None = None, variant: str | None = None) -> Curves:
    """Points of the moving parts of `pop_picture` (same parameters): "worst-0", "order-0", "bleed-0", ... [ms, V]."""
    chosen = _select(response, position, variant)
    return _curves(chosen, _lines(chosen))


def _curves(chosen: xr.Dataset, lines: pd.DataFrame) -> Curves:
    time, curves = 1e3 * chosen["time"].values, {}
    output = chosen.isel(variant=0, position=0).sel(node=str(chosen.attrs["output"]))["voltage"]
    for place, row in enumerate(lines.to_dict("records")):
        for kind in _LINES:
            at = {dim: str(row[f"{kind} {dim}"]) for dim in ("movement", "remedy")}
            volts = output.sel({"transition": str(row["transition"]), **at}).values
            level = volts[time < -1e-6][-1]
            curves[f"{kind}-{place}"] = np.column_stack([time, volts - level])
    return curves


def describe_pop(response: xr.Dataset, position: str | None = None, variant: str | None = None) -> str:
    """The same in words and numbers, one paragraph."""
    chosen = _select(response, position, variant)
    return _words(chosen, _lines(chosen))


def _words(chosen: xr.Dataset, lines: pd.DataFrame) -> str:
    name = str(chosen["variant"].values[0])
    loud = loud_v(chosen, name)
    sentences = [
        f"Pops of {captions.amp_name(chosen)}, {name}, at {chosen.attrs['output']}, {captions.position_of(chosen)}."
    ]
    if not math.isnan(loud):
        sentences.append(f"A sine of 1 W has a peak of {in_volts(loud)}.")
    for row in lines.to_dict("records"):
        after = "" if math.isnan(row[LENGTH]) or row["worst"] < SILENT_V else f"over after {row[LENGTH]:.0f} ms"
        sentences.append(f"{row['transition']}: {', '.join(filter(None, (*_captions(row), after)))}.")
    return " ".join(sentences)


@style.picture_settings()
def pop_picture(
    response: xr.Dataset, position: str | None = None, variant: str | None = None, title: str | None = None
) -> Picture:
    """Draw what the loudspeaker gets when switches move: a panel to each of the six loudest transitions.

    Every panel has the worst order of contacts that the planned switch has, the best of any switch, and the worst with
    a bleed or, where none helps, with what helps most, all from the level just before; the range of a sine of 1 W is
    shaded.

    Parameters
    ----------
    response : xarray.Dataset
        Of `ampsim.studies.pop.simulate.pop`.
    position : str
        Default the first.
    variant : str
        Default the last.
    title : str
        Default: amp and variant.

    Raises
    ------
    DescriptionError
        For unknown names or another kind of response.
    """
    chosen = _select(response, position, variant)
    lines = _lines(chosen)
    curves = _curves(chosen, lines)
    name = str(chosen["variant"].values[0])
    loud = loud_v(chosen, name)
    heading = title or f"{captions.amp_name(chosen)}, {name}: pop of a switch"
    more = chosen.sizes["transition"] - len(lines)
    subtitle = f"at {chosen.attrs['output']}, input silent, {captions.position_of(chosen)}"
    subtitle += f"; the {len(lines)} loudest of {chosen.sizes['transition']} transitions" if more else ""
    looks = dict(zip(_LINES, style.family_looks(len(_LINES)), strict=True))
    shown = {kind for row in lines.to_dict("records") for kind in _different(row)}
    keys = [(_LINES[kind], look) for kind, look in looks.items() if kind in shown]
    columns = min(len(lines), 2)
    rows = math.ceil(len(lines) / columns)
    panel = _TITLES + _HEIGHT + _GAP
    picture, top = start_picture(heading, subtitle, _words(chosen, lines), (rows * panel, _FOOT, -_GAP), keys)
    wide = (style.PAGE_WIDTH - SIDE - 0.25 - _BETWEEN * (columns - 1)) / columns
    end = max(_SHORTEST, 1.3 * float(np.nan_to_num(lines[LENGTH].max())))
    for place, row in enumerate(lines.to_dict("records")):
        storey, across = divmod(place, columns)
        left, upper = SIDE + across * (wide + _BETWEEN), top - storey * panel - _TITLES
        picture.write(left, upper + 0.46, _fitting(str(row["transition"]), wide), weight="bold")
        for line, said in enumerate(_captions(row)):
            down = upper + 0.3 - 0.13 * line
            picture.write(left, down, _fitting(said, wide, style.SMALL_SIZE), style.SMALL_SIZE, color=style.QUIET)
        axes = picture.box(left, upper - _HEIGHT, left + wide, upper)
        _axes(axes, curves, loud, first=across == 0, last=place + columns >= len(lines), end=end)
        for kind in _different(row):
            draw(axes, curves, f"{kind}-{place}", looks[kind])
    return picture


def _different(row: dict[Hashable, Any]) -> list[str]:
    """The lines of a panel: one that is no better than the worst by a twentieth would hide it."""
    better = [kind for kind in ("order", "bleed") if row[kind] < _ALIKE * row["worst"]]
    return ["worst", *better] if row["worst"] >= SILENT_V else ["worst"]


def _captions(row: dict[Hashable, Any]) -> tuple[str, str]:
    kinds = _different(row)
    order = f"; {_peak(row['order'])} {row['order movement']}" if "order" in kinds else ""
    bleed = f"{_peak(row['bleed'])} with {row['bleed remedy']}" if "bleed" in kinds else "nothing tried helps"
    if row["worst"] < SILENT_V:
        return "no pop: under 1 mV", ""
    return f"{_peak(row['worst'])} {row['worst movement'] if order else 'in any order'}{order}", bleed


def _axes(axes: Axes, curves: Curves, loud: float, first: bool, last: bool, end: float) -> None:
    """One scale for all panels: only so does a quiet pop look quiet."""
    band = 1.0 if math.isnan(loud) else loud
    tidy(axes, "swing [V]" if first else "", [points[:, 1] for points in curves.values()], 2.4 * band, 5)
    axes.set_xlim(-_BEFORE, min(end, float(next(iter(curves.values()))[-1, 0])))
    axes.tick_params(labelleft=first, labelbottom=last)
    zero_line(axes)
    if last:
        axes.set_xlabel("time [ms]", fontsize=style.TEXT_SIZE, color=style.INK, labelpad=3)
    if not math.isnan(loud):
        axes.axhspan(-loud, loud, facecolor=style.SHADE, edgecolor="none", zorder=0)
        axes.text(0.985, -loud, "1 W", transform=axes.get_yaxis_transform(), ha="right", va="top",
                  fontsize=style.SMALL_SIZE, color=style.QUIET)  # fmt: skip


def _select(response: xr.Dataset, position: str | None, variant: str | None) -> xr.Dataset:
    expect(response, "pop")
    name = captions.variant_names(response)[-1] if variant is None else variant
    return select(response, [name], [captions.position_of(response, position)])


def _lines(chosen: xr.Dataset) -> pd.DataFrame:
    """Of the loudest transitions: movement and remedy of each line with its peak, and the length of the worst."""
    table = pop_table(chosen)
    table = table.assign(size=table[PEAK].abs())
    found = []
    for row in pop_summary(chosen).head(_MOST_PANELS).to_dict("records"):
        own = table[(table["transition"] == row["transition"]) & table["size"].notna()]
        plain = own[own["remedy"] == AS_IT_IS] if (own["remedy"] == AS_IT_IS).any() else own
        same = own[own["movement"] == row["movement"]]
        bled = same[same["bleed"].notna()]
        if bled.empty or bled["size"].min() > HELPS * abs(row[PEAK]):
            bled = same[same["remedy"] != AS_IT_IS] if (same["remedy"] != AS_IT_IS).any() else same
        picked = {
            "worst": plain[plain["movement"] == row["movement"]],
            "order": plain.nsmallest(1, "size"),
            "bleed": bled.nsmallest(1, "size"),
        }
        line = {"transition": row["transition"], LENGTH: row[LENGTH]}
        for kind, rows in picked.items():
            line |= {f"{kind} {dim}": str(rows[dim].iloc[0]) for dim in ("movement", "remedy")}
            line[kind] = float(rows["size"].iloc[0])
        found.append(line)
    return pd.DataFrame(found)


def _peak(volts: float) -> str:
    return "under 1 mV" if volts < SILENT_V else in_volts(volts)


def _fitting(text: str, width: float, size: float = style.TEXT_SIZE) -> str:
    """A text cut off with an ellipsis where it would run out of its panel."""
    if text_width(text, size, bold=size == style.TEXT_SIZE) <= width:
        return text
    while text and text_width(f"{text}…", size, bold=size == style.TEXT_SIZE) > width:
        text = text[:-1]
    return f"{text}…"
