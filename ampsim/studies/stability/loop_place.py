"""Where a feedback loop is, and which switch positions close it."""

from __future__ import annotations

from itertools import product

from ...base.errors import DescriptionError
from ...circuit.amp import Amp
from ...circuit.feedback import feedback_loop, find_loop
from ...circuit.positions import Position, position_label, switches_at
from .corner_search import Setting


def has_feedback(amp: Amp, fixed: Position | None = None) -> bool:
    """Whether there is a feedback loop in some position of the switches that are not fixed."""
    return close_loop(amp, None, held_settings(amp, fixed)) is not None


def held_settings(amp: Amp, fixed: Position | None) -> Setting:
    """What is fixed, of the controls that the amp has."""
    whole = amp.setting(fixed or {})
    return {name: whole[name] for name in fixed or {} if name in whole}


def is_closed(amp: Amp, at: str | None, position: Position) -> bool:
    """Whether the loop that a part belongs to (None: the global loop) is closed at a position of the switches."""
    return find_loop(amp, switches_at(amp, position), at or "") is not None


def closed_settings(amp: Amp, at: str | None, fixed: Setting) -> Setting:
    """What is fixed and what closes the line.

    Raises
    ------
    DescriptionError
        When no switch position closes it.
    """
    found = close_loop(amp, at, fixed)
    if found is None and at is None and fixed:
        raise DescriptionError(f"{amp.name} has no feedback with {position_label(fixed)}")
    if found is None:
        feedback_loop(amp, switches_at(amp, fixed), at or "")
    return found or dict(fixed)


def close_loop(amp: Amp, at: str | None, fixed: Setting) -> Setting | None:
    """What is fixed and, where a switch as drawn opens the line, the first switch positions that close it."""
    if is_closed(amp, at, fixed):
        return dict(fixed)
    switches = [each for each in amp.controls.values() if each.kind == "switch" and each.name not in fixed]
    for values in product(*(each.positions for each in switches)):
        found: Setting = {**fixed, **dict(zip((each.name for each in switches), values, strict=True))}
        if is_closed(amp, at, found):
            return found
    return None
