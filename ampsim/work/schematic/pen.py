"""What draws: lines, circles and texts in units on matplotlib axes."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon

from ...base.wording import one_line
from ...pictures import style
from .geometry import LINE, SIZE, UNIT, Text

THIN, HEAVY = 0.95, 1.7  # points at `UNIT`
Place = tuple[float, float]


class Pen:
    """Draws in units on axes; widths and letters grow with the unit."""

    def __init__(self, axes: Axes, unit: float) -> None:
        self.axes, self.scale = axes, unit / UNIT
        self.colour, self.width = style.INK, THIN

    def line(self, *points: Place, dashed: bool = False, **more: Any) -> None:
        """A line along points."""
        xs, ys = zip(*points, strict=True)
        looks: dict[str, Any] = {"color": self.colour, "linewidth": self.width * self.scale, **more}
        # Not `Axes.plot`, which asks of each of hundreds of lines what units it has and how far the axes must reach.
        self.axes.add_artist(Line2D(xs, ys, linestyle=(0, (2.2, 1.6)) if dashed else "-", solid_capstyle="round",
                                    solid_joinstyle="round", **looks))  # fmt: skip

    def circle(self, at: Place, radius: float, filled: bool = False) -> None:
        """A circle of a radius [units], white inside or filled."""
        face = self.colour if filled else "white"
        self.axes.add_patch(Circle(at, radius, facecolor=face, edgecolor=self.colour,
                                   linewidth=self.width * self.scale, zorder=3))  # fmt: skip

    def box(self, left: float, low: float, right: float, top: float) -> None:
        """An empty rectangle.

        Parameters
        ----------
        left, low, right, top : float
            Its edges [units].
        """
        self.line((left, low), (right, low), (right, top), (left, top), (left, low))

    def arrow(self, start: Place, end: Place) -> None:
        """A line with a filled head."""
        self.line(start, end, zorder=4)
        (x, y), (u, v) = start, end
        far = float(np.hypot(u - x, v - y)) or 1.0
        dx, dy = (u - x) / far, (v - y) / far
        corners = [(u, v), (u - 0.55 * dx - 0.25 * dy, v - 0.55 * dy + 0.25 * dx),
                   (u - 0.55 * dx + 0.25 * dy, v - 0.55 * dy - 0.25 * dx)]  # fmt: skip
        self.axes.add_patch(Polygon(corners, closed=True, facecolor=self.colour, edgecolor="none", zorder=4))

    def write(self, text: Text, bold: bool = True) -> None:
        """Lines of text in their box, the first in bold where asked."""
        left, _, right, top = text.box
        x = {"left": left, "right": right, "center": (left + right) / 2}[text.align]
        for number, line in enumerate(text.lines):
            y = top - LINE * (number + 0.78)
            self.axes.text(x, y, one_line(line), ha=text.align, va="baseline", fontsize=SIZE * self.scale,
                           color=self.colour, weight="bold" if bold and number == 0 else "normal")  # fmt: skip
            if number in text.struck:
                self.line((left, y + 0.3), (right, y + 0.3), linewidth=0.8 * self.scale)
