"""Curves of a valve over its published points, with what a stage makes of them where one is asked about."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from ...base.wording import minus
from ...circuit.valves.description import Valve
from ...pictures import style
from ...pictures.axes import tidy
from ...pictures.canvas import SIDE, Picture, start_picture
from .curves import Curve, Family, curve_families
from .stage_lines import StageLines

_HEIGHT, _GAP, _ABOVE = 3.1, 0.78, 0.42  # inches
LINE = style.Look(style.MODDED, 1.5)
BEYOND = style.Look(style.STOCK, 0.9, (3.0, 2.0))
FITTED = style.Bar(style.CHANGE, style.CHANGE)
ASIDE = style.Bar("white", style.CHANGE)
_DIRECT = style.Look(style.INK, 1.2, (6.0, 2.0))
_SIGNAL = style.Look(style.INK, 1.6)
_WATTS = style.Look(style.CHANGE, 1.0, (1.5, 1.5))


def describe_curves(valve: Valve, families: Sequence[Family]) -> str:
    """The picture in words and numbers, one paragraph."""
    sentences = [f"Plate current of the {valve.type} over its plate voltage, {_reach_words(valve)}."]
    for each in families:
        grids = ", ".join(f"{curve.grid:g}" for curve in each.curves)
        sentences.append(f"{family_words(valve, each)}: curves at {grids} V on the grid, up to {each.plate_end:.0f} V.")
        off = [_off(valve, each, point.grid, point.plate, point.amps) for point in each.points if point.amps > 0.0]
        if off:
            worst = int(np.argmax(np.abs(off)))
            at, count = each.points[worst], f"{len(off)} published point{'s' if len(off) > 1 else ''}"
            sentences.append(
                f"{count}, the curves off by {np.median(np.abs(off)):.1f} % in the middle, at worst "
                f"{off[worst]:+.0f} % at {at.plate:g} V, {at.grid:g} V ({1e3 * at.amps:.3g} mA)."
            )
    return " ".join(sentences)


def _off(valve: Valve, family: Family, grid: float, plate: float, amps: float) -> float:
    """How far the law is off a point [%]."""
    from ...circuit.valves.evaluation import currents

    found = currents(valve, plate, grid, family.screen)
    joined = float(found.screen) if valve.family == "pentode" and family.screen is None else 0.0
    return 100.0 * ((float(found.plate) + joined) / amps - 1.0)


def family_words(valve: Valve, family: Family) -> str:
    """Under which conditions a family is drawn."""
    if family.screen is not None:
        return f"screen at {family.screen:.4g} V"
    return "connected as a triode" if valve.family == "pentode" else "triode"


def _reach_words(valve: Valve) -> str:
    reach = valve.fit_range
    plate, grid = reach.plate_volts, reach.grid_volts
    return f"trusted where its points reach (plate {plate[0]:g} to {plate[1]:g} V, grid {grid[0]:g} to {grid[1]:g} V)"


@style.picture_settings()
def curves_picture(valve: Valve, families: Sequence[Family] | None = None, title: str | None = None) -> Picture:
    """Draw the curves of a valve over its published points, a family of curves below the other.

    Parameters
    ----------
    valve : Valve
    families : sequence of Family
        By default those of `curve_families`.
    title : str
        By default the type and its law.
    """
    drawn = curve_families(valve) if families is None else tuple(families)
    heading = title or f"{valve.type}: {valve.law}"
    return _draw(valve, drawn, heading, describe_curves(valve, drawn), None)


@style.picture_settings()
def stage_picture(lines: StageLines, title: str | None = None) -> Picture:
    """Draw where a valve rests in a stage over its curves, with the lines of its load.

    Parameters
    ----------
    lines : StageLines
    title : str
        By default the valve's place and type.
    """
    heading = title or f"{lines.place}{lines.at}: {lines.valve.type} and what it works into"
    words = f"{lines.text()} {describe_curves(lines.valve, [lines.family])}"
    return _draw(lines.valve, [lines.family], heading, words, lines)


def _draw(valve: Valve, drawn: Sequence[Family], heading: str, words: str, lines: StageLines | None) -> Picture:
    below = [_ABOVE, *(_HEIGHT + _GAP for _ in drawn)]
    keys: list[tuple[str, style.Look | style.Bar]] = [
        ("within the range of its points", LINE), ("beyond it: the law's guess", BEYOND)]  # fmt: skip
    rows = {point.fitted for each in drawn for point in each.points}
    keys += [("published, fitted", FITTED)] if True in rows else []
    keys += [("published, predicted", ASIDE)] if False in rows else []
    if lines is not None:
        keys += [("load of steady changes", _DIRECT), ("load of a signal, 1 kHz", _SIGNAL)]
    if valve.limits.plate_watts:
        keys.append((f"plate at its {valve.limits.plate_watts:g} W", _WATTS))
    picture, top = start_picture(heading, _reach_words(valve), words, below, keys)
    for number, family in enumerate(drawn):
        upper = top - _ABOVE - number * (_HEIGHT + _GAP)
        axes = picture.box(SIDE, upper - _HEIGHT, style.PAGE_WIDTH - 0.6, upper)
        _draw_family(picture, axes, valve, family, number)
        _draw_watts(axes, valve, family)
        if lines is not None:
            _draw_lines(axes, lines, family)
    return picture


def _draw_watts(axes: Axes, valve: Valve, family: Family) -> None:
    """The line of the plate's largest dissipation, where it crosses the axes."""
    watts = valve.limits.plate_watts
    if watts and watts / family.plate_end < family.amps_end:
        plate = np.linspace(watts / family.amps_end, family.plate_end, 120)
        axes.plot(plate, 1e3 * watts / plate, color=_WATTS.colour, linewidth=_WATTS.width, linestyle=_WATTS.linestyle,
                  zorder=2.5, gid="watts")  # fmt: skip


def _draw_lines(axes: Axes, lines: StageLines, family: Family) -> None:
    plate = np.array([0.0, family.plate_end])
    for gid, ohms, look in (("direct", lines.direct_ohms, _DIRECT), ("signal", lines.signal_ohms, _SIGNAL)):
        amps = lines.amps - (plate - lines.plate) / max(ohms, 1e-3)
        axes.plot(plate, 1e3 * amps, color=look.colour, linewidth=look.width, linestyle=look.linestyle, zorder=3.5,
                  gid=gid)  # fmt: skip
    axes.plot([lines.plate], [1e3 * lines.amps], "s", markersize=6.5, color=style.INK, zorder=5, gid="rest")


def _draw_family(picture: Picture, axes: Axes, valve: Valve, family: Family, number: int) -> None:
    top = 1e3 * family.amps_end
    tidy(axes, "plate current [mA]", [np.array([0.0, top])], 1e-6)
    axes.set_xlim(0.0, family.plate_end)
    axes.set_ylim(0.0, top)
    axes.set_xlabel("plate volts", fontsize=style.TEXT_SIZE, color=style.INK, labelpad=2)
    words = family_words(valve, family) if valve.family == "pentode" else ""
    axes.set_title(words, fontsize=style.TEXT_SIZE, color=style.QUIET, loc="left", pad=14)
    last = (np.inf, np.inf)
    for place, curve in enumerate(family.curves):
        draw_curves(axes, valve, curve, f"curve-{number}-{place}")
        last = _name_curve(picture, axes, family, curve, last)
    draw_points(axes, family, f"points-{number}")


def draw_points(axes: Axes, family: Family, gid: str, size: float = 4.5) -> None:
    """The published points of a family: full where the law was fitted to them.

    Parameters
    ----------
    axes : matplotlib Axes
    family : Family
    gid : str
    size : float
        Of the marks [pt].
    """
    for fitted, look in ((True, FITTED), (False, ASIDE)):
        points = [each for each in family.points if each.fitted is fitted]
        axes.plot([each.plate for each in points], [1e3 * each.amps for each in points], "o", markersize=size,
                  markerfacecolor=look.face, markeredgecolor=look.edge, markeredgewidth=0.24 * size, zorder=4,
                  gid=f"{gid}-{'fitted' if fitted else 'aside'}")  # fmt: skip


def draw_curves(axes: Axes, valve: Valve, curve: Curve, gid: str, thin: float = 1.0) -> None:
    """A curve, solid where it lies within the range of the valve's points.

    Parameters
    ----------
    axes : matplotlib Axes
    valve : Valve
    curve : Curve
    gid : str
    thin : float
        What lines are thinner by [ratio].
    """
    plate, amps = np.array(curve.plate), 1e3 * np.array(curve.amps)
    low, high = valve.fit_range.plate_volts
    grid_low, grid_high = valve.fit_range.grid_volts
    inside = (plate >= low) & (plate <= high) & (grid_low - 1e-9 <= curve.grid <= grid_high + 1e-9)
    for part, look, suffix in ((~inside, BEYOND, "beyond"), (inside, LINE, "within")):
        shown = part | np.roll(part, 1) | np.roll(part, -1) if part is inside else part
        values = np.where(shown if part.any() else part, amps, np.nan)
        axes.plot(plate, values, color=look.colour, linewidth=thin * look.width, linestyle=look.linestyle, zorder=3,
                  gid=f"{gid}-{suffix}")  # fmt: skip


def _name_curve(
    picture: Picture, axes: Axes, family: Family, curve: Curve, last: tuple[float, float]
) -> tuple[float, float]:
    """Write the grid voltage where the curve leaves the axes, unless the last name stands there."""
    plate, amps = np.array(curve.plate), np.array(curve.amps)
    over = np.flatnonzero(amps > family.amps_end)
    at = int(over[0]) if over.size else len(plate) - 1
    x, y = float(plate[at]), min(float(amps[at]), family.amps_end)
    box = axes.get_position()
    inches = (x / family.plate_end * box.width * picture.width, y / family.amps_end * box.height * picture.height)
    if abs(inches[0] - last[0]) < 0.42 and abs(inches[1] - last[1]) < 0.12:
        return last
    axes.annotate(minus(f"{curve.grid:g} V"), (x, 1e3 * y), xytext=(0, 2) if over.size else (4, 0),
                  textcoords="offset points", fontsize=style.SMALL_SIZE, color=style.INK, annotation_clip=False,
                  ha="center" if over.size else "left", va="bottom" if over.size else "center")  # fmt: skip
    return inches
