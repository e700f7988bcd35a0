"""The resistances that a pot's track makes between its pins: two, or with a tap five of which some are open."""

from __future__ import annotations

import math

from .stages.template import Element

_HALVES = (("top", "top", "wiper"), ("bottom", "wiper", "bottom"))
_TAPPED = (*_HALVES, ("upper", "top", "tap"), ("lower", "tap", "bottom"), ("between", "tap", "wiper"))
OPEN_OHMS = 1e15
"""A stretch of track that is none, because the wiper or the tap lies between its ends [ohm]."""
STRETCHES = tuple(name for name, _, _ in _TAPPED)
"""The names of all stretches; of an untapped pot the first two."""


def track_stretches(element: Element) -> tuple[tuple[str, str, str], ...]:
    """The stretches of a pot's track: name, and the pins at its ends."""
    return _TAPPED if any(pin == "tap" for pin, _ in element.pins) else _HALVES


def stretch_share(stretch: str, below: float, tap: float | None) -> float:
    """How much of the whole track a stretch has [ratio]; infinite for one that is open.

    Parameters
    ----------
    stretch : str
        One of `STRETCHES`, or "track" for the whole.
    below : float
        The share of the track below the wiper [ratio].
    tap : float or None
        The share below the tap [ratio]; None for a pot without one.
    """
    if stretch == "track":
        return 1.0
    if tap is None:
        return {"bottom": below, "top": 1.0 - below}[stretch]
    under = below < tap  # the wiper stands below the tap
    return {
        "bottom": below if under else math.inf,
        "top": math.inf if under else 1.0 - below,
        "upper": 1.0 - tap if under else math.inf,
        "lower": math.inf if under else tap,
        "between": abs(below - tap),
    }[stretch]
