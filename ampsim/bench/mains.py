"""The mains while measuring, and those that the drawing's volts hold for."""

from __future__ import annotations

LEAST_VOLTS, MOST_VOLTS = 50.0, 500.0
MOST_OFF = 0.3
"""What is further off is no matter of the mains (own choice)."""


def mains_factor(mains: float | None, drawn: float | None) -> float | None:
    """The supply over the drawing's [ratio], as mains and drawn mains [V] tell; None where one is not known."""
    return None if mains is None or drawn is None else mains / drawn


def mains_fault(mains: float | None, drawn: float | None) -> str:
    """What is wrong with mains [V] that are too far from those of the drawing [V], in words; "" where nothing is."""
    factor = mains_factor(mains, drawn)
    if factor is None or abs(factor - 1.0) <= MOST_OFF:
        return ""
    return f"{mains:g} V against {drawn:g} V; expected within {100.0 * MOST_OFF:.0f} %"
