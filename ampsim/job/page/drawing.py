"""The overlay of the page: drawn once for wide and once for narrow screens, and the lines of every position."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from numpy.typing import NDArray

from ...pictures import style
from ...pictures.axes import tidy
from ...pictures.canvas import Curves, Picture
from ...pictures.moving_svg import MovingSvg
from ...pictures.overlay import overlay_curves, overlay_picture

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]
LINES = ("stock-0", "modded-0", "change-0")
_NO_SIGNAL = 1e-15  # V: no signal at all has no level, and a line must be somewhere
_SPAN_DB = 60.0  # from the highest point down: a knob at zero must not squeeze all the rest
_OUTSIDE = 0.03  # of the height of the axes: where a line runs, out of sight, that does not fit
_PAIR = re.compile(r"(-?[\d.]+) (-?[\d.]+)")


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
    """Two pictures as SVG text, and the lines of each position as "x y x y ..." in points of the wide one.

    `lines` holds every line once, `places` the three of each position. `fits` maps points of the wide picture to the
    narrow one: per axes, factor and offset of x and of y. `zeros` is the height of no change in either picture.
    """

    wide: str
    narrow: str
    lines: tuple[str, ...]
    places: tuple[tuple[int, int, int], ...]
    fits: tuple[Box, ...]
    zeros: tuple[float, float]


def draw(response: xr.Dataset, node: str, start: int, alternative: str) -> Drawing:
    """Draw a response of two variants at many positions.

    Parameters
    ----------
    response : xarray.Dataset
        Frequency sweep of the stock and the modded amp.
    node : str
        The place listened at.
    start : int
        The position that the pictures show.
    alternative : str
        The picture in words, for who cannot see it.
    """
    audible = _audible(response)
    curves = [overlay_curves(_at(audible, place), node) for place in range(response.sizes["position"])]
    heights = _heights(response, node)
    picture = _picture(_at(audible, start), node, heights, WIDE)
    picture.alternative = alternative
    narrow = _picture(_at(audible, start), node, heights, NARROW)
    narrow.alternative = alternative
    fits = tuple(_fit(*pair) for pair in zip(_boxes(picture), _boxes(narrow), strict=True))
    template = MovingSvg(picture, curves[start])
    wide = template.svg()
    # The areas between lines follow from the lines: the page makes them, the file need not hold them.
    limits = [axes.get_ylim() for axes in picture.axes[:2]]
    rows = [[_pairs(path) for path in template.paths(_lines(each, limits)).values()] for each in curves]
    known = {line: number for number, line in enumerate(dict.fromkeys(line for row in rows for line in row))}
    places = tuple((known[stock], known[modded], known[change]) for stock, modded, change in rows)
    small = _own_ids(MovingSvg(narrow, curves[start]).svg())
    return Drawing(wide, small, tuple(known), places, fits, (_zero(picture), _zero(narrow)))


def _lines(curves: Curves, limits: Sequence[tuple[float, float]]) -> dict[str, Array]:
    """The three lines, held so near to their axes that each stays one unbroken line on the picture."""
    found = {}
    for gid, (low, high) in zip(LINES, (limits[0], limits[0], limits[1]), strict=True):
        room = _OUTSIDE * (high - low)
        found[gid] = np.column_stack([curves[gid][:, 0], np.clip(curves[gid][:, 1], low - room, high + room)])
    return found


def _audible(response: xr.Dataset) -> xr.Dataset:
    voltage = response["voltage"]
    silent = np.abs(voltage.values) < _NO_SIGNAL
    return response.assign(voltage=voltage.copy(data=np.where(silent, _NO_SIGNAL, voltage.values)))


def _at(response: xr.Dataset, place: int) -> xr.Dataset:
    """One position, without its settings: the page says them, so that the picture's words need not move."""
    one = response.isel(position=[place])
    controls = [str(name) for name, coord in one.coords.items() if coord.dims == ("position",) and name != "position"]
    return one.drop_vars(controls).assign_coords(position=["as chosen"])


def _heights(response: xr.Dataset, node: str) -> tuple[list[Array], list[Array]]:
    """All gains and all changes [dB] of all positions that the axes are to hold."""
    found = [overlay_curves(_at(response, place), node) for place in range(response.sizes["position"])]
    gains = [each[gid][:, 1] for each in found for gid in LINES[:2]]
    return _upper(gains), _upper([each["change-0"][:, 1] for each in found])


def _upper(heights: list[Array]) -> list[Array]:
    highest = max((float(each[np.isfinite(each)].max()) for each in heights if np.isfinite(each).any()), default=0.0)
    return [np.maximum(each[np.isfinite(each)], highest - _SPAN_DB) for each in heights]


@style.picture_settings()
def _picture(response: xr.Dataset, node: str, heights: tuple[list[Array], list[Array]], form: Format) -> Picture:
    """The overlay without its heading, which the page has as text, on axes that hold every position."""
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
    gains, changes = heights
    tidy(upper, "gain [dB]", gains, 6.0)
    tidy(lower, "change [dB]", [*changes, np.zeros(1)], 2.0, ticks=4)
    return picture


def _place(axes: Axes, form: Format, height: float, bottom: float, tall: float) -> None:
    wide = form.width - form.left - form.right
    axes.set_position((form.left / form.width, bottom / height, wide / form.width, tall / height))


def _boxes(picture: Picture) -> list[Box]:
    """Left, right, top and bottom of the axes in points from the upper left corner."""
    width, height = 72.0 * picture.width, 72.0 * picture.height
    boxes = [axes.get_position() for axes in picture.axes[:2]]
    return [(width * box.x0, width * box.x1, height * (1.0 - box.y1), height * (1.0 - box.y0)) for box in boxes]


def _zero(picture: Picture) -> float:
    """Height of no change, in points from the upper edge."""
    low, high = picture.axes[1].get_ylim()
    _, _, top, bottom = _boxes(picture)[1]
    return round(bottom + (bottom - top) * low / (high - low), 2)


def _fit(wide: Box, narrow: Box) -> Box:
    x = (narrow[1] - narrow[0]) / (wide[1] - wide[0])
    y = (narrow[3] - narrow[2]) / (wide[3] - wide[2])
    return round(x, 6), round(narrow[0] - x * wide[0], 4), round(y, 6), round(narrow[2] - y * wide[2], 4)


def _pairs(path: str) -> str:
    """A path of straight pieces as plain numbers, to a hundredth of a point."""
    return " ".join(f"{_short(x)} {_short(y)}" for x, y in _PAIR.findall(path))


def _short(number: str) -> str:
    return f"{float(number):.2f}".rstrip("0").rstrip(".")


def _own_ids(svg: str) -> str:
    """The same picture with other ids, so that two can stand on one page."""
    return re.sub(r'(\bid="|href="#|url\(#|labelledby="|describedby="|>#)', r"\1narrow-", svg)
