"""Volts that are held between two places while an amp is looked at, as a slow oscillator holds them for a moment."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class HeldVolts:
    """Holds direct voltage [V] from its first to its second end, and lets every signal be as it was."""

    designator: str
    volts: float
    kind: str = "held volts"
