"""The overlay of the page: drawn once for wide and once for narrow screens, on axes that hold every position."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from numpy.typing import NDArray

from ...base.wording import minus
from ...circuit.positions import control_named
from ...pictures import style
from ...pictures.axes import tidy
from ...pictures.canvas import Curves, Picture
from ...pictures.moving_svg import MovingSvg
from ...pictures.overlay import overlay_curves, overlay_picture
from .scales import Scales, scales_for, ticks

Array = NDArray[np.float64]
Frame = tuple[float, float, float, float]
LINES = ("stock-0", "modded-0", "change-0")
_NO_SIGNAL = 1e-15  # V: no signal at all has no level, and a line must be somewhere
OUTSIDE = 0.03  # of the height of the axes: where a line runs, out of sight, that does not fit


@dataclass(frozen=True)
class Format:
    """Inches: width of the picture, heights of the two axes, margins, gap; and the words over the guitar's range."""

    width: float
    gain: float
    change: float
    guitar: str = "guitar fundamentals, 82 Hz to 1.3 kHz"
    left: float = 0.66
    right: float = 0.12
    top: float = 0.24
    bottom: float = 0.46
    gap: float = 0.17


WIDE = Format(6.2, 2.6, 1.1)
NARROW = Format(3.7, 1.55, 0.75, "guitar fundamentals")


@dataclass(frozen=True)
class Drawing:
    """Two pictures as SVG text, their scales, and where their axes are: per picture the frames of gain and of change.

    A frame is left, right, top and bottom [points from the upper left corner].
    """

    wide: str
    narrow: str
    scales: Scales
    frames: tuple[tuple[Frame, ...], tuple[Frame, ...]]


def draw(response: xr.Dataset, node: str, gains: Array, alternative: str) -> Drawing:
    """Draw stock against modded where the page opens, on axes that its script moves with the position.

    Parameters
    ----------
    response : xarray.Dataset
        Frequency sweep of the stock and the modded amp at one position.
    node : str
        The place listened at.
    gains : ndarray
        Gains of both amps [dB] where the page opens, then at positions all over the range of the controls, shape
        (positions, 2, f).
    alternative : str
        The picture in words, for who cannot see it.
    """
    audible = _unnamed(_audible(response))
    curves = overlay_curves(audible, node)
    scales = scales_for(gains[0], gains)
    pictures = [_picture(audible, node, scales, gains[0], form) for form in (WIDE, NARROW)]
    for picture in pictures:
        picture.alternative = alternative
    wide, narrow = (_template(picture, curves) for picture in pictures)
    return Drawing(wide, own_ids(narrow, "narrow-"), scales, (_frames(pictures[0]), _frames(pictures[1])))


def _template(picture: Picture, curves: Curves) -> str:
    """The picture, its lines drawn as the page draws them, so that nothing jumps at the first move."""
    template = MovingSvg(picture, curves)
    limits = [axes.get_ylim() for axes in picture.axes[:2]]
    return template.svg(template.drawn | template.paths(_lines(curves, limits)))


def _lines(curves: Curves, limits: Sequence[tuple[float, float]]) -> dict[str, Array]:
    """The three lines, held so near to their axes that each stays one unbroken line on the picture."""
    found = {}
    for gid, (low, high) in zip(LINES, (limits[0], limits[0], limits[1]), strict=True):
        room = OUTSIDE * (high - low)
        found[gid] = np.column_stack([curves[gid][:, 0], np.clip(curves[gid][:, 1], low - room, high + room)])
    return found


def _audible(response: xr.Dataset) -> xr.Dataset:
    voltage = response["voltage"]
    silent = np.abs(voltage.values) < _NO_SIGNAL
    return response.assign(voltage=voltage.copy(data=np.where(silent, _NO_SIGNAL, voltage.values)))


def _unnamed(one: xr.Dataset) -> xr.Dataset:
    """One position, without its settings: the page says them, so that the picture's words need not move."""
    controls = [name for name in one.coords if control_named(str(name))]
    return one.drop_vars(controls).assign_coords(position=["as chosen"])


@style.picture_settings()
def _picture(response: xr.Dataset, node: str, scales: Scales, start: Array, form: Format) -> Picture:
    """The overlay without its heading, which the page has as text, on axes whose numbers the page can find."""
    picture = overlay_picture(response, node, title="Stock against modded")
    for artist in (*picture.texts, *picture.artists):
        artist.remove()
    height = form.top + form.gain + form.gap + form.change + form.bottom
    picture.set_size_inches(form.width, height)
    upper, lower = picture.axes[:2]
    _place(upper, form, height, form.bottom + form.change + form.gap, form.gain)
    _place(lower, form, height, form.bottom, form.change)
    for text in upper.texts:
        text.set_text(form.guitar)
    factor = scales.factor(start[1] - start[0])
    _scale(upper, "gain", *scales.gain)
    _scale(lower, "change", *(factor * each for each in scales.change))
    return picture


def _scale(axes: Axes, name: str, low: float, high: float, step: float) -> None:
    """Limits and ticks, each number in a group of its own."""
    tidy(axes, f"{name} [dB]", [np.array([low, high])], 0.0)
    axes.set_ylim(low, high)
    marks = ticks(low, high, step)
    axes.set_yticks(marks, [minus(f"{mark:g}") for mark in marks])
    for number, label in enumerate(axes.get_yticklabels()):
        label.set_gid(f"{name}-tick-{number}")


def _place(axes: Axes, form: Format, height: float, bottom: float, tall: float) -> None:
    wide = form.width - form.left - form.right
    axes.set_position((form.left / form.width, bottom / height, wide / form.width, tall / height))


def _frames(picture: Picture) -> tuple[Frame, ...]:
    width, height = 72.0 * picture.width, 72.0 * picture.height
    boxes = [axes.get_position() for axes in picture.axes[:2]]
    return tuple((width * box.x0, width * box.x1, height * (1.0 - box.y1), height * (1.0 - box.y0)) for box in boxes)


def own_ids(svg: str, prefix: str) -> str:
    """The same picture with other ids, so that several can stand on one page."""
    return re.sub(r'(\bid="|href="#|url\(#|labelledby="|describedby="|>#)', rf"\1{prefix}", svg)
