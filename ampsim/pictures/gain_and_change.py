"""Axes for gains above those for their change: what several pictures of a change begin with."""

from __future__ import annotations

from matplotlib.axes import Axes

from . import style
from .canvas import SIDE, Keys, Picture, start_picture

GAIN_HEIGHT = 2.75  # inches
_GAP = 0.2  # inches


def gain_and_change(
    heading: str,
    subtitle: str,
    alternative: str,
    keys: Keys,
    height: float,
    beside: float = 0.25,
    gain_height: float = GAIN_HEIGHT,
) -> tuple[Picture, Axes, Axes]:
    """A picture with axes for gains above those for their change, both over frequency.

    Parameters
    ----------
    heading, subtitle, alternative : str
        As in a `Picture`.
    keys : sequence of (str, Look or Bar)
        Names beside samples.
    height : float
        Of the lower axes [inches].
    beside : float
        Right of the axes [inches].
    gain_height : float
        Of the upper axes [inches].
    """
    picture, top = start_picture(heading, subtitle, alternative, (gain_height, height, _GAP, 0.78), keys)
    top -= 0.22
    right = style.PAGE_WIDTH - beside
    upper = picture.box(SIDE, top - gain_height, right, top)
    return picture, upper, picture.box(SIDE, 0.56, right, 0.56 + height)
