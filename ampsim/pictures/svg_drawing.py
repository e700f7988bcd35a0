"""A figure drawn as SVG by matplotlib, what it would work out again and again for every picture worked out once."""

from __future__ import annotations

import io
from typing import Any

from matplotlib.backends.backend_svg import RendererSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties

_DPI = 72.0  # an SVG of matplotlib has a unit to a point
_MOST = 8192
_ROOM = 100.0
_measured: dict[tuple[str, Any, Any], tuple[float, float, float]] = {}


class _Renderer(RendererSVG):
    """Knows the texts of the pictures before: matplotlib measures them for each, which takes half of the drawing."""

    def get_text_width_height_descent(self, s: str, prop: FontProperties, ismath: Any) -> tuple[float, float, float]:
        """As that of every renderer."""
        if ismath:
            return self._measure(s, prop, ismath)
        key = (s, prop.get_weight(), prop.get_style())
        known = _measured.get(key)  # another thread may forget it
        if known is None:
            if len(_measured) > _MOST:
                _measured.clear()
            whole = prop.copy()
            whole.set_size(_ROOM)
            known = _measured[key] = self._measure(s, whole, ismath)
        scale = prop.get_size_in_points() / _ROOM
        width, height, descent = known
        return width * scale, height * scale, descent * scale

    def _measure(self, s: str, prop: FontProperties, ismath: Any) -> tuple[float, float, float]:
        width, height, descent = super().get_text_width_height_descent(s, prop, ismath)  # type: ignore[no-untyped-call]
        return width, height, descent


def svg_text(figure: Figure) -> str:
    """The figure as a whole SVG file, without date and maker; under `style.picture_settings`."""
    buffer, dots = io.StringIO(), figure.dpi
    width, height = figure.get_size_inches()
    try:
        figure.dpi = _DPI
        renderer: Any = _Renderer(  # type: ignore[no-untyped-call]
            _DPI * width, _DPI * height, buffer, metadata={"Date": None, "Creator": None}
        )
        figure.draw(renderer)
        renderer.finalize()
    finally:
        figure.dpi = dots
    return buffer.getvalue()
