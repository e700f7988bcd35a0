"""Axes that draw all their ticks with one: matplotlib makes five artists of each tick and measures each label twice."""

from __future__ import annotations

from typing import Any

from matplotlib.axes import Axes
from matplotlib.axis import Axis, XAxis, YAxis
from matplotlib.ticker import NullLocator

_CLOSE = 1e-10  # of the whole axis: a tick so near its end still stands on it
_GROUP = "matplotlib.axis"


class _OneTick(Axis):
    """An axis whose only tick goes from place to place, unless somebody has to do with single ticks."""

    axis_name: str
    single = True
    placed = False

    def draw(self, renderer: Any) -> None:
        """Draw grid lines, ticks and labels as matplotlib does, the label of the axis below or at its place."""
        below = bool(self.get_label_text()) and not self.placed
        simple = self.single and isinstance(self.get_minor_locator(), NullLocator) and self.get_visible()
        if not simple or (below and self.axis_name != "x"):
            return super().draw(renderer)
        places, formatter = self.get_majorticklocs(), self.get_major_formatter()
        labels = formatter.format_ticks(list(places))
        (tick,) = self.get_major_ticks(1)
        if formatter.get_offset() or (below and not (labels and all(labels) and tick.label1.get_visible())):
            return super().draw(renderer)
        renderer.open_group(_GROUP, gid=self.get_gid())
        low, high = sorted(self.get_transform().transform(self.get_view_interval()))
        room = _CLOSE * (high - low)
        for place, label in zip(places, labels, strict=True):
            if low - room <= self.get_transform().transform(place) <= high + room:
                tick.update_position(place)
                tick.label1.set_text(label)
                tick.label2.set_text(label)
                tick.draw(renderer)
        if below:  # labels of ticks all stand on one line
            bottom = tick.label1.get_window_extent(renderer).y0
            self.label.set_y(bottom - self.labelpad * self.axes.figure.dpi / 72.0)
        self.label.draw(renderer)
        renderer.close_group(_GROUP)
        self.stale = False
        return None

    def set_label_coords(self, *place: Any, **more: Any) -> None:
        """As that of every axis."""
        self.placed = True
        super().set_label_coords(*place, **more)

    def get_ticklabels(self, *which: Any, **more: Any) -> Any:
        """As that of every axis; labels that somebody has looked at are each drawn by themselves."""
        self.single = False
        return super().get_ticklabels(*which, **more)


class _PlainX(_OneTick, XAxis):
    """The lower one."""


class _PlainY(_OneTick, YAxis):
    """The upright one."""


class PlainAxes(Axes):
    """Axes that make and measure few artists; what they look like is matplotlib's."""

    def _init_axis(self) -> None:
        self.xaxis, self.yaxis = _PlainX(self, clear=False), _PlainY(self, clear=False)
        for sides, axis in ((("bottom", "top"), self.xaxis), (("left", "right"), self.yaxis)):
            for side in sides:
                self.spines[side].register_axis(axis)
