"""One step of the work: its phase, what to do, and what to measure after it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from .checks import Check


class Phase(StrEnum):
    """Part of the work that a step belongs to, in the order of the work."""

    MAKE_SAFE = "make safe"
    BEFORE_THE_IRON = "before the iron"
    REMOVE = "remove"
    DRILL = "drill"
    FIT = "fit"
    SWITCHES = "switches"
    COLD_CHECK = "cold check"
    FIRST_POWER = "first power"
    PROOF = "proof"


@dataclass(frozen=True)
class Step:
    """One step: its phase, what to do, and what to measure after it."""

    phase: Phase
    do: str
    checks: Sequence[Check] = ()
