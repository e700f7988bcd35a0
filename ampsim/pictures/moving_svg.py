"""A picture drawn once, of which only the moving curves are written again.

The SVG text is cut where the path of each moving artist stands. A move draws those artists alone, with the SVG writer
that drew the whole picture, so a patched template and a fresh drawing hold the same text.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.backends.backend_svg import RendererSVG

from ..base.errors import DescriptionError, nearest, shown
from . import style
from .canvas import Curves, Picture
from .export import svg_element
from .moving import moving_artists, set_points

_POINTS_PER_INCH = 72.0


class MovingSvg:
    """A picture with curves that move.

    Parameters
    ----------
    picture : pictures.Picture
        As `overlay_picture` draws it; it is kept.
    curves : mapping
        Its curves; their `gid` name the moving artists.

    Raises
    ------
    DescriptionError
        When the picture shows no path of a curve.
    """

    def __init__(self, picture: Picture, curves: Curves) -> None:
        self._picture = picture
        text = str(svg_element(picture))
        places = sorted((*_place(text, gid), gid) for gid in curves)
        self._gids = tuple(gid for _, _, gid in places)
        edges = [0, *(edge for start, end, _ in places for edge in (start, end)), len(text)]
        self._between = [text[start:end] for start, end in zip(edges[::2], edges[1::2], strict=True)]
        self.drawn = {gid: text[start:end] for start, end, gid in places}
        picture.set_dpi(_POINTS_PER_INCH)
        self._moving = moving_artists(picture)

    def svg(self, paths: Mapping[str, str] | None = None) -> str:
        """The picture as SVG text, as drawn or with other paths."""
        chosen = self.drawn if paths is None else paths
        pieces = [self._between[0]]
        for gid, piece in zip(self._gids, self._between[1:], strict=True):
            pieces += [chosen[gid], piece]
        return "".join(pieces)

    def paths(self, curves: Curves) -> dict[str, str]:
        """Move the curves and return the path of each, as it stands in an SVG `d` attribute."""
        text = io.StringIO()
        width, height = (inches * _POINTS_PER_INCH for inches in self._picture.get_size_inches())
        with style.picture_settings():
            renderer = RendererSVG(width, height, text, image_dpi=_POINTS_PER_INCH)  # type: ignore[no-untyped-call]
            for gid, points in curves.items():
                set_points(self._moving[gid], points)
                self._moving[gid].draw(renderer)
        drawn = text.getvalue()
        return {gid: drawn[slice(*_place(drawn, gid))] for gid in curves}

    def fits(self, curves: Curves, share: float = 0.0) -> bool:
        """Whether all curves lie inside their axes and fill at least a share [ratio] of the height of them."""
        spans: dict[Any, list[float]] = {}
        for gid, points in curves.items():
            heights = points[np.isfinite(points[:, 1]), 1]
            if heights.size:
                spans.setdefault(self._moving[gid].axes, []).extend((float(heights.min()), float(heights.max())))
        for axes, values in spans.items():
            low, high = axes.get_ylim()
            if min(values) < low or max(values) > high or max(values) - min(values) < share * (high - low):
                return False
        return True


def _place(text: str, gid: str) -> tuple[int, int]:
    """Where the path of a `gid` stands in SVG text: inside the first group's end, or there is none."""
    group = text.find(f'<g id="{gid}">')
    found = re.compile(r'<path d="([^"]*)"').search(text, group, text.find("</g>", group)) if group >= 0 else None
    if found is None:
        known = re.findall(r'<g id="([^"]*)">', text)
        raise DescriptionError(f"this picture shows no path of {shown(gid)}{nearest(gid, known)}")
    return found.span(1)
