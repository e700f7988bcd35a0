"""Axes for gains above those for their change: what several pictures of a change begin with."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from ..base.wording import in_decibels
from . import style
from .canvas import SIDE, Keys, Picture, start_picture

GAIN_HEIGHT = 2.75  # inches
_GAP = 0.2  # inches
# A line that changes by more than the first and no more than the second is to be read beside others: no change beyond
# the third is shown then.
_NONE_DB, _SMALL_DB, _SHOWN_DB = 0.1, 12.0, 24.0


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


def shown_changes(changes: Mapping[str, NDArray[np.float64]]) -> tuple[float, dict[str, str]]:
    """Up to which change axes go [dB], so that a small one can be read beside a loss of the whole signal.

    Besides, of each line that leaves them, where it goes to. `changes` holds each line's [dB].
    """
    if not any(_NONE_DB < np.abs(each).max() <= _SMALL_DB for each in changes.values()):
        return np.inf, {}
    gone = {}
    for name, each in changes.items():
        extreme = float(each[np.abs(each).argmax()])
        if abs(extreme) > _SHOWN_DB:
            gone[name] = f"to {in_decibels(extreme, True)}"
    return _SHOWN_DB, gone
