"""Axes and what stands on them: frequency axis, grid, lines, fills, labels at the ends of lines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator
from numpy.typing import NDArray

from ..base.wording import plain_frequency
from . import style
from .canvas import Curves, Picture
from .text_widths import text_width, wrap_text

Array = NDArray[np.float64]
LINE_HEIGHT = 0.14  # inches, of a label
_TOGETHER = 0.06  # inches: line ends closer than this are one place to the eye
_GRID_ORDER = 0.5  # where matplotlib draws a grid that lies below everything
_LEADER, _SAMPLE, _GAP = 0.16, 0.30, 0.06  # inches right of the axes


def tidy(axes: Axes, y_label: str, values: Sequence[Array], least: float, ticks: int = 6) -> None:
    """Plain frame, grid and limits around some values.

    Parameters
    ----------
    axes : matplotlib Axes
    y_label : str
    values : sequence of array
        What will be drawn [unit of the axis].
    least : float
        What the axis spans at least [unit of the axis].
    ticks : int
        At most.
    """
    finite = np.concatenate([each[np.isfinite(each)] for each in values])
    low, high = (finite.min(), finite.max()) if finite.size else (0.0, 0.0)
    room = max(0.06 * (high - low), 0.5 * (least - (high - low)))
    axes.set_ylim(low - room, high + room)
    axes.yaxis.set_major_locator(MaxNLocator(ticks, steps=[1, 2, 3, 5, 6, 10]))
    axes.set_ylabel(y_label, fontsize=style.TEXT_SIZE, color=style.INK)
    axes.yaxis.set_label_coords(-0.5 / _width(axes), 0.5)
    axes.tick_params(labelsize=style.TEXT_SIZE, colors=style.QUIET, labelcolor=style.INK, length=3)
    axes.grid(True, which="major", color=style.GRID, linewidth=0.7)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(style.QUIET)
        axes.spines[side].set_linewidth(0.8)


def _width(axes: Axes) -> float:
    """Inches."""
    return float(axes.bbox.width / axes.figure.dpi)


def frequency_axis(axes: Axes, grid: Array, labelled: bool = True) -> None:
    """Log frequency over a whole sweep [Hz], ticks at 20, 50, 100, ..., the range of guitar fundamentals shaded."""
    low, high = float(grid[0]), float(grid[-1])
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    axes.xaxis.set_major_locator(FixedLocator(style.frequency_ticks(low, high)))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda tick, _: plain_frequency(tick)))
    faint_lines(axes, style.frequency_lines(low, high))
    axes.tick_params(axis="x", labelbottom=labelled)
    if labelled:
        axes.set_xlabel("frequency [Hz]", fontsize=style.TEXT_SIZE, color=style.INK, labelpad=4)
    axes.axvspan(*style.GUITAR_BAND, facecolor=style.SHADE, edgecolor="none", zorder=0)


def faint_lines(axes: Axes, places: Sequence[float]) -> None:
    """Upright lines of a fine grid [unit of the axis], all in one artist: as a tick each would be five."""
    x, y = np.repeat(places, 3), np.tile([0.0, 1.0, np.nan], len(places))
    axes.add_artist(Line2D(x, y, transform=axes.get_xaxis_transform(), color=style.FAINT_GRID, linewidth=0.5,
                           zorder=_GRID_ORDER))  # fmt: skip


def over_frequency(
    axes: Axes, y_label: str, values: Sequence[Array], grid: Array, ticks: int = 6, labelled: bool = True
) -> None:
    """Tidy axes over frequency, with the range of a guitar named on top.

    Parameters
    ----------
    axes : matplotlib Axes
    y_label : str
    values : sequence of array
        What will be drawn [dB]; the axes span at least 6 dB.
    grid : array
        Frequencies [Hz].
    ticks : int
        Of the vertical axis, at most.
    labelled : bool
        Whether the frequencies are written below.
    """
    tidy(axes, y_label, values, 6.0, ticks)
    frequency_axis(axes, grid, labelled)
    guitar_bracket(axes)


def guitar_bracket(axes: Axes) -> None:
    """Name the shaded range just above the axes, where no curve runs."""
    low, high = (max(axes.get_xlim()[0], style.GUITAR_BAND[0]), min(axes.get_xlim()[1], style.GUITAR_BAND[1]))
    if high <= low * 1.5:
        return
    across = axes.get_xaxis_transform()
    axes.plot([low, high], [1.012, 1.012], transform=across, color="#b9b5ae", linewidth=2.2, clip_on=False,
              solid_capstyle="butt")  # fmt: skip
    axes.text((low * high) ** 0.5, 1.024, _bracket_words(axes, low, high), transform=across, ha="center",
              va="bottom", fontsize=style.SMALL_SIZE, color=style.QUIET)  # fmt: skip


def _bracket_words(axes: Axes, low: float, high: float) -> str:
    """The longest name that fits over the bracket."""
    lowest, highest = axes.get_xlim()
    width = _width(axes) * np.log(high / low) / np.log(highest / lowest)
    names = ("guitar fundamentals, 82 Hz to 1.3 kHz", "guitar fundamentals", "guitar")
    return next((name for name in names if text_width(name, style.SMALL_SIZE) <= width), "")


def draw(axes: Axes, curves: Curves, gid: str, look: style.Look, order: float = 3.0) -> None:
    """Draw the line of this `gid`.

    Parameters
    ----------
    axes : matplotlib Axes
    curves : mapping
        Points by `gid`.
    gid : str
    look : Look
    order : float
        What is drawn later lies above [rank].
    """
    points = curves[gid]
    axes.plot(points[:, 0], points[:, 1], color=look.colour, linewidth=look.width, linestyle=look.linestyle, gid=gid,
              zorder=order, solid_joinstyle="round", dash_capstyle="butt")  # fmt: skip


def fill(axes: Axes, curves: Curves, gid: str) -> None:
    """Draw the fill of this `gid` in the colour of change."""
    points = curves[gid]
    settings: dict[str, Any] = {"facecolor": style.CHANGE, "alpha": style.CHANGE_ALPHA, "edgecolor": "none"}
    axes.fill(points[:, 0], points[:, 1], gid=gid, zorder=1.5, **settings)


def fill_band(axes: Axes, curves: Curves, gid: str, look: style.Bar, order: float = 1.4, alpha: float = 1.0) -> None:
    """Fill the outline of this `gid`.

    Parameters
    ----------
    axes : matplotlib Axes
    curves : mapping
        The outline is that of `gid`.
    gid : str
    look : Bar
    order : float
        What is drawn later lies above: 3 is the order of lines [rank].
    alpha : float
        How much it hides of what is below [ratio].
    """
    points = curves[gid]
    axes.fill(points[:, 0], points[:, 1], gid=gid, zorder=order, facecolor=look.face, edgecolor=look.edge,
              hatch=look.hatch or None, linewidth=0.6, alpha=alpha)  # fmt: skip


def area_between(x: Array, low: Array, high: Array) -> Array:
    """Outline of the area between two curves [unit of the axes], where both are numbers; shape (points, 2)."""
    known = np.isfinite(low) & np.isfinite(high)
    if not known.any():
        return np.full((1, 2), np.nan)
    there = np.column_stack([x[known], high[known]])
    back = np.column_stack([x[known], low[known]])[::-1]
    return np.concatenate([there, back])


def label_room(labels: Sequence[str], most: float = 2.0) -> float:
    """Room that end labels need right of the axes [inches]; labels longer than `most` are broken into lines."""
    widest = max((text_width(line, style.TEXT_SIZE) for each in labels for line in wrap_label(each, most)), default=0.0)
    return _LEADER + _SAMPLE + 2 * _GAP + widest + 0.12


def end_labels(picture: Picture, axes: Axes, named: Sequence[tuple[str, Array, style.Look]], most: float = 2.0) -> None:
    """Name lines right of the axes: a leader from the end of the line, a sample of its dashes, its name.

    Labels keep the order of the line ends and move apart just as far as they must. Where lines end together, their
    labels stand in the order the lines have where they are furthest apart.

    Parameters
    ----------
    picture : Picture
    axes : matplotlib Axes
        Of the picture.
    named : sequence of (str, array, Look)
        Name, heights [unit of the axis] and look of each line.
    most : float
        Longer labels are broken into lines [inches].
    """
    box = axes.get_position()
    left, bottom = box.x1 * picture.width, box.y0 * picture.height
    tall = (box.y1 - box.y0) * picture.height
    ends = np.array([bottom + tall * _end_fraction(axes, curve) for _, curve, _ in named])
    heights = np.array([LINE_HEIGHT * len(wrap_label(name, most)) + 0.02 for name, _, _ in named])
    places = spread_labels(
        ends, heights, bottom - 0.1, bottom + tall + 0.1, _order(ends, [curve for _, curve, _ in named])
    )
    for (name, _, look), end, place in zip(named, ends, places, strict=True):
        x = left + _LEADER
        thin = style.Look(look.colour, 0.6)
        picture.rule([left + 0.02, x], [end, place], thin)
        picture.rule([x, x + _SAMPLE], [place, place], style.Look(look.colour, look.width, look.dashes))
        picture.stack(x + _SAMPLE + _GAP, place, wrap_label(name, most))


def _order(ends: Array, curves: Sequence[Array]) -> list[int]:
    """Indices of labels from the lowest to the highest."""
    table = np.array([np.nan_to_num(curve, nan=0.0, posinf=0.0, neginf=0.0) for curve in curves])
    furthest = int(np.argmax(table.max(axis=0) - table.min(axis=0)))
    groups: list[list[int]] = []
    for index in np.argsort(ends, kind="stable"):
        if groups and ends[index] - ends[groups[-1][0]] < _TOGETHER:
            groups[-1].append(int(index))
        else:
            groups.append([int(index)])
    return [index for group in groups for index in sorted(group, key=lambda each: (table[each, furthest], -each))]


def spread_labels(wanted: Array, heights: Array, low: float, high: float, order: Sequence[int] | None = None) -> Array:
    """Centres of labels as near as possible to where they are wanted, without overlap, between two limits.

    Least squares under an order (isotonic regression), then held inside the limits.

    Parameters
    ----------
    wanted, heights : array
        Centre wanted and height of each label [inches].
    low, high : float
        The limits [inches].
    order : sequence of int
        Labels from low to high; default that of the wanted places.
    """
    rising = np.argsort(wanted, kind="stable") if order is None else np.asarray(order)
    tall = heights[rising]
    offsets = np.concatenate([[0.0], np.cumsum(0.5 * (tall[1:] + tall[:-1]))])
    free = rising_fit(wanted[rising] - offsets)
    first, last = low + 0.5 * tall[0], high - 0.5 * tall[-1] - offsets[-1]
    if last < first:  # more labels than room: centred, over both limits
        first = last = 0.5 * (first + last)
    places = np.empty_like(wanted)
    places[rising] = np.clip(free, first, last) + offsets
    return places


def rising_fit(wanted: Array) -> Array:
    """The nearest numbers by least squares of which none is less than the one before (pool adjacent violators).

    As `scipy.optimize.isotonic_regression`, which takes longer to load than all labels of a sheet take.

    Parameters
    ----------
    wanted : array
        In any one unit, such as [inches].
    """
    pools: list[tuple[float, int]] = []  # mean, and of how many
    for each in wanted:
        mean, count = float(each), 1
        while pools and pools[-1][0] >= mean:
            before, more = pools.pop()
            mean, count = (before * more + mean * count) / (more + count), more + count
        pools.append((mean, count))
    return np.repeat([mean for mean, _ in pools], [count for _, count in pools])


def wrap_label(name: str, most: float = 2.0) -> list[str]:
    """The lines that an end label is broken into, each at most so long [inches]."""
    return wrap_text(name, most, style.TEXT_SIZE)


def _end_fraction(axes: Axes, curve: Array) -> float:
    known = curve[np.isfinite(curve)]
    low, high = axes.get_ylim()
    return float(np.clip(((known[-1] if known.size else low) - low) / (high - low), 0.0, 1.0))


def zero_line(axes: Axes) -> Line2D:
    """A line at zero, stronger than the grid."""
    return axes.axhline(0.0, color=style.QUIET, linewidth=0.8, zorder=2)
