"""The picture of the panel: the overlay with steady limits and the held lines, and the numbers beside it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from numpy.typing import NDArray

from ...base.wording import in_decibels, in_hertz, minus, round_column
from ...measures.bias import READINGS, BiasState, judged_bias_table
from ...measures.margins import margin_table
from ...measures.sweep import corner_hz, gain_at
from ...pictures import style
from ...pictures.axes import spread_labels
from ...pictures.canvas import Curves, Picture
from ...pictures.moving import move
from ...pictures.overlay import overlay_curves, overlay_picture

Array = NDArray[np.float64]
MOST_HELD = 8
_HELD = "#8496ae"  # contrast on white 3.0 to 1: faint beside the modded line, still a line
_DASHES: tuple[tuple[float, ...], ...] = ((), (7.0, 2.0), (1.5, 1.5), (7.0, 1.5, 1.5, 1.5))
_SHARED = (("modded-0", "stock-0"), ("change-0", "change-area"))  # gid of curves in one axes; the area reaches 0 dB
_STEPS = (1.0, 2.0, 5.0, 10.0, 20.0)  # dB, of the limits
_SHORT = ("stock", "modded")  # in tables; the picture says which mods
_MOVED = 0.01  # a hundredth, or 10 mV, 10 uA, 10 mW: below it a reading has not moved


def held_look(place: int) -> style.Look:
    """The line of a held position, by its place in the list."""
    return style.Look(_HELD, 1.3 if place < len(_DASHES) else 0.8, _DASHES[place % len(_DASHES)])


@style.picture_settings()
def draw(response: xr.Dataset, node: str, held: Sequence[xr.Dataset]) -> Picture:
    """Draw stock against modded and the change, with the modded line of every held position, numbered.

    Limits are whole steps with room around the curves, so that a knob can move before the picture is drawn anew.
    """
    picture = overlay_picture(response, node)
    lines = [overlay_curves(each, node) for each in held]
    now = overlay_curves(response, node)
    for axes, (gid, beside) in zip(picture.axes[:2], _SHARED, strict=True):
        axes.set_ylim(*_limits([now[beside], *(each[gid] for each in (now, *lines))]))
        for place, each in enumerate(lines):
            look = held_look(place)
            axes.plot(*each[gid].T, color=look.colour, linewidth=look.width, linestyle=look.linestyle, zorder=2.5)
        _number(picture, axes, [each[gid] for each in lines], gid)
        _name_still_lines(axes, gid)
    return picture


def _name_still_lines(axes: Axes, beside: str) -> None:
    """Name the lines that stand at heights of the axes and do not move, so that a page can change its limits."""
    for number, line in enumerate(axes.lines):
        in_data = line.get_transform().contains_branch_seperately(axes.transData)
        if line.get_gid() is None and in_data[1]:
            line.set_gid(f"still-{beside}-{number}")


def frames(picture: Picture) -> list[dict[str, Any]]:
    """Where the two axes stand and what they span, for who moves the curves in a page.

    "box" is left, right, top and bottom in points from the upper left corner of the picture; "x" the logarithms of the
    frequencies [Hz] at its sides, "y" the heights [dB] below and above.
    """
    width, height = 72.0 * picture.width, 72.0 * picture.height
    found = []
    for axes in picture.axes[:2]:
        place = axes.get_position()
        box = [width * place.x0, width * place.x1, height * (1.0 - place.y1), height * (1.0 - place.y0)]
        found.append({"box": box, "x": [math.log10(each) for each in axes.get_xlim()], "y": list(axes.get_ylim())})
    return found


@style.picture_settings()
def widen(picture: Picture, curves: Curves) -> None:
    """Move the curves and widen the limits until they fit with room to spare: quicker than drawing all anew."""
    move(picture, curves)
    for axes, (gid, beside) in zip(picture.axes[:2], _SHARED, strict=True):
        low, high = axes.get_ylim()
        wanted = _limits([curves[gid], curves[beside]], room=1.5)
        axes.set_ylim(min(low, wanted[0]), max(high, wanted[1]))


def _limits(curves: Sequence[Array], room: float = 0.3) -> tuple[float, float]:
    """Limits at whole steps, at least `room` steps beyond the curves."""
    heights = np.concatenate([each[:, 1] for each in curves])
    known = heights[np.isfinite(heights)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 0.0)
    step = next((each for each in _STEPS if high - low <= 8.0 * each), _STEPS[-1])
    return step * math.floor(low / step - room), step * math.ceil(high / step + room)


def _number(picture: Picture, axes: Axes, lines: Sequence[Array], beside: str) -> None:
    """Number the ends of the held lines, in the margin right of the axes."""
    if not lines:
        return
    low, high = axes.get_ylim()
    inch = (high - low) / (axes.get_position().height * picture.height)
    ends = np.clip(np.array([_last(line, low) for line in lines]), low, high)
    places = spread_labels(ends, np.full(len(lines), 0.13 * inch), low - 0.1 * inch, high + 0.1 * inch)
    for number, place in enumerate(places, 1):
        axes.text(1.012, place, str(number), transform=axes.get_yaxis_transform(), va="center",
                  fontsize=style.SMALL_SIZE, color=style.QUIET, gid=f"mark-{beside}-{number}")  # fmt: skip


def _last(line: Array, default: float) -> float:
    known = line[np.isfinite(line[:, 1]), 1]
    return float(known[-1]) if known.size else default


def gain_rows(
    response: xr.Dataset, held: Mapping[str, xr.Dataset], node: str, frequencies: Sequence[float]
) -> list[list[str]]:
    """Header and rows of gain [dB] at frequencies and of corners: stock, modded, change, held positions.

    Parameters
    ----------
    response : xarray.Dataset
        Of both amps.
    held : mapping
        Name to response of each held position.
    node : str
        The place listened at.
    frequencies : sequence of float
        Where the gain is asked for [Hz]; those beyond the response are left out.
    """
    grid = response["frequency"].values
    asked = [each for each in frequencies if grid[0] <= each <= grid[-1]]
    rows = [["gain [dB] at", *map(in_hertz, asked), "lower corner", "upper corner"]]
    levels = _levels(response, node, asked)
    corners = _corners(response, node)
    for place, name in enumerate(_SHORT):
        rows.append([name, *(_decibels(each) for each in levels[place]), *corners[place]])
    rows.append(["change", *(_decibels(each, sign=True) for each in levels[1] - levels[0]), "", ""])
    for number, (name, each) in enumerate(held.items(), 1):
        rows.append([f"{number} {name}", *map(_decibels, _levels(each, node, asked)[1]), *_corners(each, node)[1]])
    return rows


def without_gains(rows: list[list[str]], places: Sequence[int]) -> list[list[str]]:
    """Rows of `gain_rows` without the numbers of the amps at some places, which oscillate; nor of a change of them."""
    if not places:
        return rows
    empty = ["-"] * (len(rows[0]) - 2)
    marked = {1 + place: [_SHORT[place], *empty, "oscillates"] for place in places}
    marked[1 + len(_SHORT)] = ["change", *empty, ""]
    return [marked.get(number, row) for number, row in enumerate(rows)]


def _levels(response: xr.Dataset, node: str, asked: Sequence[float]) -> NDArray[Any]:
    return np.asarray(gain_at(response, asked, node).isel(position=0).values)


def _corners(response: xr.Dataset, node: str) -> list[list[str]]:
    """Half-power corners about 1 kHz in words; where the sweep ends first, its end."""
    found = corner_hz(response, node, mid=1000.0).isel(position=0)
    grid = response["frequency"].values
    ends = (f"< {in_hertz(float(grid[0]))}", f"> {in_hertz(float(grid[-1]))}")
    return [
        [end if math.isnan(each) else in_hertz(float(each)) for each, end in zip(pair, ends, strict=True)]
        for pair in found.values
    ]


def _decibels(level: float, sign: bool = False) -> str:
    words = in_decibels(float(level), sign)
    return words.removesuffix(" dB")


def bias_rows(response: xr.Dataset) -> list[list[str]]:
    """Header and rows of every valve that the modded amp moves here, or that is over a limit in either amp.

    The last cell is the verdict of `measures.bias.bias_table`.
    """
    table = judged_bias_table(response)
    names = [str(each) for each in response["variant"].values]
    stock, modded = (table[table["variant"] == name].set_index("valve") for name in names)
    heads = ("plate [V]", "cathode [V]", "plate [mA]", "plate [W]", "limit [W]")
    found: list[tuple[str, str, Any]] = []
    for valve in modded.index:
        pair = [each.loc[valve] for each in (stock, modded) if valve in each.index]
        if len(pair) < 2 or _differs(*pair) or any(each["state"] == BiasState.OVER for each in pair):
            found += [(str(valve), short, each) for short, each in zip(_SHORT[-len(pair) :], pair, strict=True)]
    columns = [round_column([float(row[head]) for _, _, row in found]) for head in heads]
    rows = [["valve", "amp", *heads, "verdict"]]
    for place, (valve, short, row) in enumerate(found):
        rows.append([f"{valve} {row['type']}", short, *(column[place] for column in columns), str(row["verdict"])])
    return rows


def loop_rows(loops: Mapping[str, xr.Dataset], names: Sequence[str]) -> list[list[str]]:
    """Header and a row for each amp with a feedback loop: loop gain, phase margin, and what they mean in words."""
    rows = [["amp", "at 400 Hz [dB]", "phase margin [deg]", "verdict"]]
    for short, name in zip(_SHORT, names, strict=True):
        if name in loops:
            found = margin_table(loops[name]).iloc[0]
            least = float(found["least margin [deg]"])
            margin = "none" if math.isnan(least) else f"{least:.0f}"
            rows.append([short, f"{found['loop gain at 400 Hz [dB]']:.1f}", margin, str(found["verdict"])])
    return [[minus(cell) for cell in row] for row in rows]


def _differs(one: Any, other: Any) -> bool:
    before, after = (np.array([float(each[name]) for name in READINGS]) for each in (one, other))
    return bool((np.abs(after - before) > np.maximum(_MOVED * np.abs(before), _MOVED)).any())
