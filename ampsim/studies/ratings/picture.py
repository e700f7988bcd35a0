"""How near valves and parts come to what they may carry: at rest, cold and driven hard, stock against modded."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from ...base.quantities import OHM, format_value
from ...base.wording import minus
from ...measures.labels import records
from ...pictures import captions, style
from ...pictures.axes import tidy
from ...pictures.canvas import Picture, start_picture
from ...pictures.text_widths import text_width
from .parts import part_ratings, worst_parts
from .valves import valve_ratings

_LEFT, _RIGHT = 1.95, 1.3  # inches beside the axes
_ROW, _FOOT, _HEAD = 0.27, 0.52, 0.36
_DRAWN_FROM = 50.0  # percent of a limit below which an unmoved quantity is left out
_FEW_WATTS = 0.25  # mean watts from which a resistor needs more than half a watt
_LONGEST = 200.0  # percent at the right end, at most
_MARKS = {"driven": "o", "cold": "^"}
_STATES = ("rest", "driven", "cold")

Levels = Mapping[str, float]


@dataclass(frozen=True)
class _Row:
    """One quantity: its share of the limit, or watts, by state, in both variants; what to write beside it."""

    group: str
    name: str
    stock: Levels
    modded: Levels
    beside: str
    over: bool = False
    shown: float = field(default=0.0)


def _words(response: xr.Dataset, valves: Sequence[_Row], parts: Sequence[_Row]) -> str:
    stock, modded = _names(response)
    sentences = [
        f"How near the valves of {captions.amp_name(response)} come to their limits, {modded}, worst position."
    ]
    for row in valves:
        shares = [
            f"{state} {row.modded[state]:.0f} %{_change_words(row, state)}" for state in _STATES if state in row.modded
        ]
        sentences.append(f"{row.group} {row.name}: {', '.join(shares)} of the limit ({row.beside}).")
    if parts:
        heat = "; ".join(f"{row.name} {row.shown:.2g} W, {row.beside}" for row in parts)
        sentences.append(f"Resistors that need more than half a watt: {heat}.")
    if stock == modded:
        sentences.append("One variant alone.")
    return minus(" ".join(sentences))


@style.picture_settings()
def ratings_picture(response: xr.Dataset, heater_volts: float = 0.0, title: str | None = None) -> Picture:
    """Draw every valve quantity as percent of its limit, and the resistors that need more than half a watt.

    Each quantity is shown at the position where the last variant comes nearest its limit, with the first variant at
    the same position. A bar is the amp at rest, a ring driven hard, a triangle the moment of switching on. What stays
    below half of its limit in both variants is left out.

    `response`: of `ampsim.studies.ratings.simulate.stress`. `heater_volts`: what the heaters stand at against ground
    [V]. `title`: by default the amp and the variant.

    Raises
    ------
    DescriptionError
        For another kind of response.
    """
    stock, modded = _names(response)
    valves, parts = _valve_rows(response, heater_volts), _part_rows(response)
    heading = title or f"{captions.amp_name(response)}: what valves and parts carry"
    subtitle = f"worst position of each; left out: what stays below {_DRAWN_FROM:.0f} % of its limit"
    keys = [(modded, style.MODDED_BAR)] if stock == modded else [(stock, style.STOCK_BAR), (modded, style.MODDED_BAR)]
    panels = [rows for rows in (valves, parts) if rows]
    body = sum(_HEAD + _ROW * len(rows) + _FOOT for rows in panels)
    picture, top = start_picture(heading, subtitle, _words(response, valves, parts), (0.2, body), keys, left=0.25)
    _mark_key(picture, top - 0.07)
    top -= 0.2
    if valves:
        top = _panel(picture, top, valves, "of the limit [%]", "valves", 100.0)
    if parts:
        _panel(picture, top, parts, "mean power [W]", "resistors that need more than half a watt", None)
    return picture


def _names(response: xr.Dataset) -> tuple[str, str]:
    names = [str(each) for each in response["variant"].values]
    return names[0], names[-1]


def _change_words(row: _Row, state: str) -> str:
    before = row.stock.get(state, math.nan)
    moved = not math.isnan(before) and abs(row.modded[state] - before) > 0.5
    return f" (stock {before:.0f} %)" if moved else ""


def _valve_rows(response: xr.Dataset, heater_volts: float) -> list[_Row]:
    stock, modded = _names(response)
    readings: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in records(valve_ratings(response, heater_volts)):
        if not math.isnan(row["limit"]):
            readings.setdefault((row["valve"], row["quantity"]), []).append(row)
    found = []
    for (valve, quantity), rows in readings.items():
        after, before = ([row for row in rows if row["variant"] == name] for name in (modded, stock))
        if not after or max(row["of limit [%]"] for row in rows) < _DRAWN_FROM:
            continue
        at_worst = _worst_states(after)
        worst = max(at_worst.values(), key=lambda row: float(row["of limit [%]"]))
        unit = str(worst["unit"])
        beside = f"{_amount(worst['value'], unit)} of {_amount(worst['limit'], unit)}"
        there = [row for row in before if at_worst.get(row["state"], {}).get("position") == row["position"]]
        levels = (_levels(there), _levels(at_worst.values()))
        found.append(_Row(valve, quantity, *levels, beside, worst["of limit [%]"] > 100.0))
    return found


def _worst_states(rows: Iterable[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """To each state the row at its worst position."""
    found: dict[str, dict[str, Any]] = {}
    for row in rows:
        if row["state"] not in found or row["of limit [%]"] > found[row["state"]]["of limit [%]"]:
            found[row["state"]] = row
    return found


def _levels(rows: Iterable[Mapping[str, Any]]) -> dict[str, float]:
    """State to percent of the limit."""
    return {str(row["state"]): float(row["of limit [%]"]) for row in rows}


def _amount(value: float, unit: str) -> str:
    # As a schematic writes ohms: the room is narrow.
    return format_value(float(f"{value:.3g}"), OHM) if unit == "ohm" else f"{value:.3g} {unit}"


def _part_rows(response: xr.Dataset) -> list[_Row]:
    stock, modded = _names(response)
    worst = worst_parts(part_ratings(response))
    before = {row["part"]: _watts(row) for row in records(worst[worst["variant"] == stock])}
    found = []
    for row in records(worst[(worst["variant"] == modded) & (worst["kind"] == "resistor")]):
        levels = _watts(row)
        most = max(levels.values())
        if most > _FEW_WATTS:
            needs = row["next [W]"]
            beside = "needs more than 50 W" if math.isinf(needs) else f"needs {needs:g} W"
            found.append(_Row("", row["part"], before.get(row["part"], {}), levels, beside, shown=most))
    return sorted(found, key=lambda each: -each.shown)


def _watts(row: Mapping[str, float]) -> dict[str, float]:
    levels = {"rest": row["rest [W]"], "driven": row["driven [W]"]}
    return {state: watts for state, watts in levels.items() if not math.isnan(watts)}


def _mark_key(picture: Picture, y: float) -> None:
    x = 0.25
    picture.write(x, y, "bar: at rest", style.SMALL_SIZE, va="center", color=style.QUIET)
    x += text_width("bar: at rest", style.SMALL_SIZE) + 0.3
    for mark, name in (("o", "driven hard"), ("^", "switching on, valves cold")):
        place = [x / picture.width], [y / picture.height]
        picture.add_artist(Line2D(*place, marker=mark, markersize=5, color="white", markeredgecolor=style.INK))
        picture.write(x + 0.09, y, name, style.SMALL_SIZE, va="center", color=style.QUIET)
        x += 0.09 + text_width(name, style.SMALL_SIZE) + 0.3


def _panel(picture: Picture, top: float, rows: Sequence[_Row], label: str, name: str, limit: float | None) -> float:
    """Draw rows of bars and marks below a height [inches]; return the height where they end."""
    picture.write(0.25, top - 0.14, name, weight="bold")
    bottom = top - _HEAD - _ROW * len(rows)
    axes = picture.box(_LEFT, bottom, style.PAGE_WIDTH - _RIGHT, top - _HEAD)
    most = max(value for row in rows for levels in (row.stock, row.modded) for value in levels.values())
    end = max(1.12 * min(most, _LONGEST), 1.15 * (limit or 0.0))
    tidy(axes, "", [np.zeros(1)], 1.0)
    axes.set_xlim(0.0, end)
    axes.set_ylim(len(rows), 0.0)
    axes.set_yticks([])
    axes.grid(False, axis="y")
    axes.set_xlabel(label, fontsize=style.TEXT_SIZE, color=style.INK, labelpad=3)
    if limit:
        axes.axvline(limit, color=style.INK, linewidth=1.0, linestyle=(0.0, (3.0, 2.0)), zorder=2.5)
    for number, row in enumerate(rows):
        for levels, look, low in ((row.stock, style.STOCK_BAR, 0.14), (row.modded, style.MODDED_BAR, 0.52)):
            _draw_levels(axes, levels, look, number + low, end)
        middle = top - _HEAD - _ROW * (number + 0.5)
        _write_row(picture, row, middle, number == 0 or rows[number - 1].group != row.group)
    return bottom - _FOOT


def _draw_levels(axes: Axes, levels: Levels, look: style.Bar, low: float, end: float) -> None:
    rest = levels.get("rest", 0.0)
    if rest:
        axes.add_patch(Rectangle((0.0, low), min(rest, end), 0.32, facecolor=look.face, edgecolor=look.edge,
                                 hatch=look.hatch or None, linewidth=0.8, zorder=3))  # fmt: skip
    for state, mark in _MARKS.items():
        if state in levels:
            axes.plot([min(levels[state], 0.985 * end)], [low + 0.16], marker=mark, markersize=6, color="white",
                      markeredgecolor=look.edge, markeredgewidth=1.2, zorder=4, linestyle="none")  # fmt: skip


def _write_row(picture: Picture, row: _Row, middle: float, first: bool) -> None:
    if first and row.group:
        picture.rule([0.25, picture.width - 0.25], [middle + 0.5 * _ROW] * 2, style.Look(style.GRID, 0.8))
        picture.stack(0.25, middle, [row.group], style.SMALL_SIZE, weight="bold")
    picture.stack(_LEFT - 0.08, middle, [row.name], style.SMALL_SIZE, ha="right")
    weight = "bold" if row.over else "normal"
    picture.stack(picture.width - _RIGHT + 0.08, middle, [row.beside], style.SMALL_SIZE, weight=weight)
