"""Giving the curves of a picture new points."""

from __future__ import annotations

import numpy as np
from matplotlib.artist import Artist
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from ..base.errors import DescriptionError, nearest, shown
from . import style
from .canvas import Curves, Picture


@style.picture_settings()
def move(picture: Picture, curves: Curves) -> None:
    """Give the moving artists of a picture new points; axes, ticks and words stay.

    Raises
    ------
    DescriptionError
        When a picture has no artist of such a `gid`.
    """
    moving = moving_artists(picture)
    for gid, points in curves.items():
        if not isinstance(moving.get(gid), Line2D | Polygon):
            raise DescriptionError(f"this picture has no curve {shown(gid)}{nearest(gid, moving)}")
        set_points(moving[gid], points)


def moving_artists(picture: Picture) -> dict[str, Artist]:
    """The artists of a picture that have a `gid`, by it."""
    return {str(each.get_gid()): each for each in picture.findobj(_has_gid)}


def set_points(artist: Artist, points: NDArray[np.float64]) -> None:
    """Give a line or an area new points [unit of the axes]; other artists stay."""
    if isinstance(artist, Line2D):
        artist.set_data(points[:, 0], points[:, 1])
    elif isinstance(artist, Polygon):
        artist.set_xy(points)


def _has_gid(artist: Artist) -> bool:
    return artist.get_gid() is not None
