"""When both amps break up where the page opens: distortion over how hard they are played, drawn and in plain words."""

from __future__ import annotations

import math
from dataclasses import dataclass

import xarray as xr
from markupsafe import Markup

from ...base.errors import AmpsimError
from ...circuit.signal_path import begins_at_guitar
from ...measures.labels import records
from ...measures.noticed import BREAKING_UP
from ...pictures import style
from ...pictures.canvas import Picture
from ...pictures.export import svg_element
from ...studies.audition_request import Audition, Setting
from ...studies.headroom.distortion_picture import (
    MARKS_PERCENT,
    describe_distortion,
    distortion_curves,
    draw_distortion,
)
from ...studies.headroom.measures import distortion_column, power_table
from ...studies.headroom.simulate import headroom
from .drawing import own_ids

_WIDTH, _HEIGHT = 4.2, 2.7  # inches
_LEFT, _RIGHT, _FOOT, _TOP = 0.66, 0.12, 0.46, 0.1
_CHECKS = 0  # the sheet has ngspice check such runs


@dataclass(frozen=True)
class BreakingUp:
    """The picture as SVG, and a sentence to each percent that is marked in it."""

    picture: Markup
    sentences: tuple[str, ...]


def take_breaking_up(audition: Audition, setting: Setting) -> BreakingUp | None:
    """Play both amps at one position at rising levels; None where that has no answer.

    Parameters
    ----------
    audition : Audition
    setting : mapping
        Where the page opens.
    """
    try:
        response = headroom([audition.stock, audition.modded], [setting], checks=_CHECKS)
    except AmpsimError:
        return None
    if not all(points.size for points in distortion_curves(response).values()):
        return None
    stock, modded = records(power_table(response))
    columns = {percent: distortion_column(percent) for percent in MARKS_PERCENT}
    told = tuple(reached_words(percent, float(stock[own]), float(modded[own])) for percent, own in columns.items())
    picture = _draw(response, begins_at_guitar(audition.stock))
    return BreakingUp(Markup(own_ids(str(svg_element(picture)), "breaking-")), told)


@style.picture_settings()
def _draw(response: xr.Dataset, played: bool) -> Picture:
    picture = Picture(_WIDTH, _HEIGHT, "When it breaks up", describe_distortion(response))
    axes = picture.box(_LEFT, _FOOT, _WIDTH - _RIGHT, _HEIGHT - _TOP)
    draw_distortion(axes, response)
    how = "how hard it is played, at the pickup" if played else "how hard it is driven, at the input"
    axes.set_xlabel(f"{how} [peak]", fontsize=style.TEXT_SIZE, color=style.INK, labelpad=4)
    return picture


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
