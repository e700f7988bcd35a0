"""A figure with heading and text alternative; its header; moving its curves; saving it."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from numpy.typing import NDArray
from PIL import Image

from ..base.wording import one_line, with_capitals
from . import style
from .plain_axes import PlainAxes
from .text_widths import text_width, wrap_text

Curves = Mapping[str, NDArray[np.float64]]
"""The `gid` of each moving artist to its points, shape (points, 2), in the units of its axes."""

SIDE = 0.78  # inches left of the axes
_SAMPLE = 0.43  # inches, of a line or bar in the key


class Picture(Figure):
    """A matplotlib figure that also has a heading and a text alternative (one paragraph with the numbers)."""

    def __init__(self, width: float, height: float, heading: str, alternative: str) -> None:
        super().__init__(figsize=(round(width, 2), round(height, 2)), dpi=100, facecolor="white")
        FigureCanvasAgg(self)
        self.heading = one_line(heading)
        self.alternative = with_capitals(one_line(alternative))

    @property
    def width(self) -> float:
        """Of the whole [inches]."""
        return float(self.get_size_inches()[0])

    @property
    def height(self) -> float:
        """Of the whole [inches]."""
        return float(self.get_size_inches()[1])

    def _repr_png_(self) -> bytes:
        """What a notebook shows, also without a kernel; with a palette it takes a third of the room."""
        buffer = io.BytesIO()
        drawn = Image.open(io.BytesIO(png(self, 110.0)))
        drawn.convert("RGB").quantize(128, dither=Image.Dither.NONE).save(buffer, "png", optimize=True)
        return buffer.getvalue()

    def box(self, left: float, bottom: float, right: float, top: float) -> Axes:
        """Axes with their edges at some places.

        Parameters
        ----------
        left, bottom, right, top : float
            From the lower left corner of the picture [inches].
        """
        w, h = self.width, self.height
        return self.add_axes((left / w, bottom / h, (right - left) / w, (top - bottom) / h), axes_class=PlainAxes)

    def write(self, x: float, y: float, words: str, size: float = style.TEXT_SIZE, **more: Any) -> None:
        """Write at a place, by default with the top left corner there, in ink.

        Parameters
        ----------
        x, y : float
            From the lower left corner of the picture [inches].
        words : str
            On one line.
        size : float
            Of the letters [pt].
        **more
            As for `matplotlib.figure.Figure.text`.
        """
        settings: dict[str, Any] = {"va": "top", "ha": "left", "color": style.INK, **more}
        self.text(x / self.width, y / self.height, one_line(words), fontsize=size, **settings)

    def stamp(self, lines: Sequence[str], width: int = 72) -> None:
        """Write over everything what makes the picture worth nothing, and say it in the text alternative too.

        Parameters
        ----------
        lines : sequence of str
            Longer ones are broken to `width` letters.
        """
        broken = "\n".join(part for line in lines for part in textwrap.wrap(one_line(line), width))
        box = {"facecolor": "white", "edgecolor": style.CHANGE, "linewidth": 2.0, "alpha": 0.92, "pad": 8.0}
        self.text(0.5, 0.5, broken, fontsize=style.TEXT_SIZE, color=style.CHANGE, weight="bold", ha="center",
                  va="center", bbox=box, zorder=10)  # fmt: skip
        self.alternative = one_line(f"{' '.join(lines)} {self.alternative}")

    def rule(self, x: Sequence[float], y: Sequence[float], look: style.Look, **more: Any) -> None:
        """Draw a line [inches] over the whole figure."""
        w, h = self.width, self.height
        settings: dict[str, Any] = {"solid_capstyle": "butt", **more}
        self.add_artist(
            Line2D([each / w for each in x], [each / h for each in y], color=look.colour, linewidth=look.width,
                   linestyle=look.linestyle, **settings)
        )  # fmt: skip

    def block(self, x: float, y: float, width: float, height: float, look: style.Bar, **more: Any) -> None:
        """Draw a rectangle.

        Parameters
        ----------
        x, y : float
            Its lower left corner [inches].
        width, height : float
            [inches]
        look : Bar
        **more
            As for a matplotlib `Rectangle`.
        """
        w, h = self.width, self.height
        self.add_artist(
            Rectangle(
                (x / w, y / h),
                width / w,
                height / h,
                facecolor=look.face,
                edgecolor=look.edge,
                hatch=look.hatch or None,
                linewidth=0.8,
                **more,
            )
        )

    def stack(self, x: float, middle: float, words: Sequence[str], size: float = style.TEXT_SIZE, **more: Any) -> None:
        """Write lines one below the other, on baselines that do not depend on the letters.

        Parameters
        ----------
        x, middle : float
            Where they begin, and the height they stand around [inches].
        words : sequence of str
            A line each.
        size : float
            Of the letters [pt].
        **more
            As for `write`.
        """
        step, rise = 1.18 * size / 72.0, 0.36 * size / 72.0
        for place, line in enumerate(words):
            y = middle + step * (0.5 * (len(words) - 1) - place) - rise
            self.write(x, y, line, size, va="baseline", **more)


Keys = Sequence[tuple[str, style.Look | style.Bar]]


def header_height(heading: str, subtitle: str, width: float, keys: Keys = (), left: float = SIDE) -> float:
    """Height that `header` takes [inches].

    Parameters
    ----------
    heading, subtitle, keys, left
        As those of `start_picture`.
    width : float
        Of the picture [inches].
    """
    room = width - left - 0.2
    titles, subtitles = _header_lines(heading, subtitle, room)
    rows = sum(len(_key_lines(name, room)) for row in _key_rows(keys, room) for name, _ in row[:1])
    return 0.14 + 0.21 * len(titles) + 0.165 * len(subtitles) + (0.07 + 0.17 * rows if keys else 0.0) + 0.08


def header(picture: Picture, subtitle: str, keys: Keys = (), left: float = SIDE) -> float:
    """Write heading, subtitle and a key of line or bar samples; return the height [inches] where they end.

    Parameters
    ----------
    picture : Picture
        With its heading.
    subtitle, keys, left
        As those of `start_picture`.
    """
    room = picture.width - left - 0.2
    titles, subtitles = _header_lines(picture.heading, subtitle, room)
    y = picture.height - 0.14
    for line in titles:
        picture.write(left, y, line, style.TITLE_SIZE, weight="bold")
        y -= 0.21
    for line in subtitles:
        picture.write(left, y, line, color=style.QUIET)
        y -= 0.165
    y -= 0.07 + 0.085
    for row in _key_rows(keys, room):
        x = left
        for name, look in row:
            lines = _key_lines(name, room)
            _sample(picture, x, y, look)
            picture.stack(x + _SAMPLE, y - 0.085 * (len(lines) - 1), lines)
            x += _SAMPLE + text_width(name, style.TEXT_SIZE) + 0.3
        y -= 0.17 * len(_key_lines(row[0][0], room))
    return picture.height - header_height(picture.heading, subtitle, picture.width, keys, left)


def start_picture(
    heading: str,
    subtitle: str,
    alternative: str,
    below: Sequence[float],
    keys: Keys = (),
    left: float = SIDE,
    width: float = style.PAGE_WIDTH,
) -> tuple[Picture, float]:
    """A picture with its header, and the height [inches] where the header ends.

    Parameters
    ----------
    heading, subtitle, alternative : str
        The line on top, the line below it, and the text alternative.
    below : sequence of float
        Heights [inches] of what comes below the header, gaps included.
    keys : sequence of (str, Look or Bar)
        Names beside samples of lines or bars.
    left, width : float
        Where texts begin, and the width of the whole [inches].
    """
    tall = header_height(heading, subtitle, width, keys, left)
    for part in below:
        tall += part
    picture = Picture(width, tall, heading, alternative)
    return picture, header(picture, subtitle, keys, left)


def _header_lines(heading: str, subtitle: str, room: float) -> tuple[list[str], list[str]]:
    return wrap_text(heading, room, style.TITLE_SIZE, True), wrap_text(subtitle, room, style.TEXT_SIZE)


def _key_lines(name: str, room: float) -> list[str]:
    return wrap_text(name, room - _SAMPLE, style.TEXT_SIZE)


def _key_rows(keys: Keys, room: float) -> list[Keys]:
    """All in one row when they fit, else one to a row."""
    whole = sum(_SAMPLE + text_width(name, style.TEXT_SIZE) + 0.3 for name, _ in keys) - 0.3
    return [keys] if keys and whole <= room else [[key] for key in keys]


def _sample(picture: Picture, x: float, y: float, look: style.Look | style.Bar) -> None:
    if isinstance(look, style.Look):
        picture.rule([x, x + _SAMPLE - 0.08], [y, y], look)
    else:
        picture.block(x, y - 0.055, _SAMPLE - 0.08, 0.11, look)


@style.picture_settings()
def png(picture: Picture, dpi: float = 200.0) -> bytes:
    """The picture as PNG [dots per inch]; the text alternative stands in its "Description"."""
    buffer = io.BytesIO()
    facts = {"Title": picture.heading, "Description": picture.alternative, "Software": None}
    picture.savefig(buffer, format="png", dpi=dpi, metadata=facts)
    return buffer.getvalue()
