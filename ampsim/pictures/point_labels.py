"""Where the labels of numbered points stand, so that none covers another point or label."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_PLACES = ((9.0, 9.0), (9.0, -9.0), (-9.0, 9.0), (-9.0, -9.0))  # pt from a point to the middle of its label
_BESIDE = 18.0  # pt: farther away two labels or points are as good as anywhere


def label_offsets(points: NDArray[np.float64]) -> list[tuple[float, float]]:
    """Where the label of each point stands beside it: of four places the one farthest from other points and labels.

    `points`: where they are [pt].

    Returns
    -------
    list of (float, float)
        From each point to the middle of its label [pt].
    """
    taken = list(points)
    found = []
    for place, point in enumerate(points):
        others = np.array([each for n, each in enumerate(taken) if n != place]).reshape(-1, 2)
        room = [np.hypot(*(others - point - offset).T).min(initial=_BESIDE) for offset in _PLACES]
        found.append(_PLACES[int(np.argmax(room))])
        taken.append(point + found[-1])
    return found
