"""When both amps break up: distortion over how hard they are played, drawn and in plain words, switch by switch.

Knobs stand where the page opens: what is played hard follows no table of small signals.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import xarray as xr
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from ...base.errors import AmpsimError
from ...base.wording import keep_together, with_capitals
from ...circuit.positions import setting_words
from ...circuit.signal_path import begins_at_guitar
from ...measures.noticed import BREAKING_UP
from ...pictures import style
from ...pictures.canvas import Curves, Picture
from ...pictures.moving_svg import MovingSvg
from ...studies.audition_request import Audition, Setting
from ...studies.headroom.distortion_picture import (
    describe_distortion,
    distortion_curves,
    draw_distortion,
    reached_levels,
)
from ...studies.headroom.level_axis import marks_of
from ...studies.headroom.simulate import headroom
from .choices import Range
from .drawing import own_ids
from .played import switch_step
from .positions import MOST_SHOWN

_WIDTH, _HEIGHT = 4.2, 2.7  # inches
_LEFT, _RIGHT, _FOOT, _TOP = 0.66, 0.12, 0.46, 0.1
_CHECKS = 0  # the sheet has ngspice check such runs
_PREFIX = "breaking-"
_POINTS_PER_INCH = 72.0


@dataclass(frozen=True)
class BreakingUp:
    """The picture as SVG and the words of where the page opens; `facts` tells the script those of every position."""

    picture: Markup
    words: str
    facts: dict[str, Any]


@dataclass(frozen=True)
class _Seen:
    """One position: lines, to each marked percent the level of stock and modded amp [V peak], all of it in words."""

    curves: Curves
    reached: Mapping[float, Sequence[float]]
    words: str


def take_breaking_up(audition: Audition, offered: Range) -> BreakingUp | None:
    """Play both amps at rising levels; None where that has no answer.

    Of more than `MOST_SHOWN` positions of the switches only that at which the page opens is played.

    Parameters
    ----------
    audition : Audition
    offered : Range
        What the page offers.
    """
    start, steps = offered.start(), [switch_step(audition, each) for each in offered.steps()]
    every = [each for place, each in enumerate(steps) if each not in steps[:place]]
    follows = 1 < len(every) <= MOST_SHOWN
    if not follows:
        every = [switch_step(audition, start)]
    try:
        response = headroom([audition.stock, audition.modded], [start | each for each in every], checks=_CHECKS)
    except AmpsimError:
        return None
    single = [response.isel(position=[place]) for place in range(len(every))]
    seen = [_Seen(distortion_curves(one), reached_levels(one), describe_distortion(one)) for one in single]
    if not all(points.size for each in seen for points in each.curves.values()):
        return None
    opens = every.index(switch_step(audition, start))
    shapes, picture = _draw(single[opens], seen, opens, begins_at_guitar(audition.stock))
    words = [
        keep_together(" ".join([_where(offered, step, follows), *_told(each)]))
        for step, each in zip(every, seen, strict=True)
    ]
    shown = [{**shape, "words": each} for shape, each in zip(shapes, words, strict=True)]
    at = [every.index(each) if follows else 0 for each in steps]
    return BreakingUp(picture, words[opens], {"at": at, "shown": shown})


def _where(offered: Range, step: Setting, follows: bool) -> str:
    """Where the controls stand in the picture, and which of them it follows."""
    knobs = [setting_words(each.name, each.start) for each in offered.choices if each.kind == "knob"]
    if not follows:
        told = f", with {offered.start_words()}; the picture does not follow the controls" if offered.choices else ""
        return f"Played where this page opens{told}."
    named = [setting_words(each.name, step[each.name]) for each in offered.choices if each.kind == "switch"]
    rest = f"; the knobs stay where this page opens, {', '.join(knobs)}" if knobs else ""
    return f"Played with {', '.join(named)}{rest}."


def _told(each: _Seen) -> list[str]:
    """A sentence to each percent that is marked."""
    return [reached_words(percent, stock, modded) for percent, (stock, modded) in each.reached.items()]


@style.picture_settings()
def _draw(one: xr.Dataset, seen: Sequence[_Seen], opens: int, played: bool) -> tuple[list[dict[str, Any]], Markup]:
    """What moves in the picture at each position, and the picture where the page opens, on axes that hold them all."""
    picture = Picture(_WIDTH, _HEIGHT, "When it breaks up", seen[opens].words)
    axes = picture.box(_LEFT, _FOOT, _WIDTH - _RIGHT, _HEIGHT - _TOP)
    highest = max(float(points[:, 1].max()) for each in seen for points in each.curves.values())
    marks = draw_distortion(axes, one, highest)
    how = "how hard it is played, at the pickup" if played else "how hard it is driven, at the input"
    axes.set_xlabel(f"{how} [peak]", fontsize=style.TEXT_SIZE, color=style.INK, labelpad=4)
    for (percent, variant), each in (_absent_marks(axes, one) | marks).items():
        each.set_gid(_mark_name(percent, variant))
    template = MovingSvg(picture, seen[opens].curves)
    svg = template.svg()
    shapes: list[dict[str, Any]] = [
        {
            "lines": template.paths(each.curves),
            "marks": _marks(picture, axes, each.reached),
            "desc": with_capitals(each.words),
        }
        for each in seen
    ]
    for gid, place in shapes[opens]["marks"].items():
        if place is None:
            svg = svg.replace(f'<g id="{gid}"', f'<g id="{gid}" visibility="hidden"')
    return shapes, Markup(own_ids(svg, _PREFIX))


def _absent_marks(axes: Axes, one: xr.Dataset) -> dict[tuple[float, int], Line2D]:
    """Marks that another position may have, for the script to place."""
    middle = math.prod(axes.get_xlim()) ** 0.5
    return {
        (percent, variant): axes.plot([middle], [percent], linestyle="none", zorder=4, **look)[0]
        for percent, levels in reached_levels(one).items()
        for variant, (level, look) in enumerate(zip(levels, marks_of(one), strict=True))
        if not 0.0 < level < math.inf
    }


def _mark_name(percent: float, variant: int) -> str:
    return f"mark-{percent:g}-{variant}"


def _marks(picture: Picture, axes: Axes, reached: Mapping[float, Sequence[float]]) -> dict[str, list[float] | None]:
    """Where each mark stands [points from the upper left corner]; None where an amp does not reach the percent."""
    scale = _POINTS_PER_INCH / picture.dpi
    found: dict[str, list[float] | None] = {}
    for percent, levels in reached.items():
        for variant, level in enumerate(levels):
            name = _mark_name(percent, variant)
            found[name] = None
            if 0.0 < level < math.inf:
                x, y = axes.transData.transform((level, percent))
                found[name] = [round(each, 6) for each in (scale * x, _POINTS_PER_INCH * picture.height - scale * y)]
    return found


def reached_words(percent: float, stock: float, modded: float) -> str:
    """Where distortion reaches a mark beside where stock does.

    Parameters
    ----------
    percent : float
    stock, modded : float
        Levels [V peak]: 0 where it is passed at the faintest already, infinite where the hardest does not reach it.
    """
    if 0.0 < stock < math.inf and 0.0 < modded < math.inf:
        earlier = 20.0 * math.log10(stock / modded)
        if abs(earlier) < BREAKING_UP.least:
            return f"Distortion reaches {percent:g} % where stock does."
        if earlier > 0.0:
            return (
                f"Distortion reaches {percent:g} % at {100.0 * modded / stock:.0f} % of the picking strength that "
                "stock takes for it."
            )
        return f"Distortion reaches {percent:g} % at {modded / stock:.1f} times the picking strength of stock."
    words = {
        0.0: f"However softly it is played, distortion is above {percent:g} %",
        math.inf: f"Distortion stays below {percent:g} % up to the hardest stroke",
    }
    if modded == stock:
        return f"{words[modded]}, as with stock."
    if modded in words:
        return f"{words[modded]}, unlike stock."
    return f"Distortion reaches {percent:g} % within what is played; with stock it is {_STOCK[stock]}."


_STOCK = {0.0: "above it however softly that is played", math.inf: "below it up to the hardest stroke"}
