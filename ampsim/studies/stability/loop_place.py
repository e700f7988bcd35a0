"""Where a feedback loop is, and which switch positions close it."""

from __future__ import annotations

from itertools import product

from ...base.errors import DescriptionError
from ...circuit.amp import Amp
from ...circuit.build import build_circuit
from ...circuit.feedback import feedback_place, find_feedback
from ...circuit.positions import Position, position_label, switches_at
from .corner_search import Setting


def has_feedback(amp: Amp, fixed: Position | None = None) -> bool:
    """Whether there is a feedback loop in some position of the switches that are not fixed."""
    return close_loop(amp, None, settings_of(amp, fixed)) is not None


def settings_of(amp: Amp, fixed: Position | None) -> Setting:
    """What is fixed, of the controls that the amp has."""
    whole = amp.setting(fixed or {})
    return {name: whole[name] for name in fixed or {} if name in whole}


def place_of_loop(amp: Amp, at: str | None, position: Position) -> str | None:
    """Where the whole feedback passes at a position; None where a switch opens the line."""
    switches = switches_at(amp, position)
    if at is None:
        return find_feedback(amp, switches)
    ends = (f"{each.designator}.{pin}" for each in build_circuit(amp, switches).elements for pin, _ in each.pins)
    return at if at in ends else None


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
        raise DescriptionError(f"{amp.name}: {at or feedback_place(amp)} is nowhere in place")
    return found


def close_loop(amp: Amp, at: str | None, fixed: Setting) -> Setting | None:
    """What is fixed and, where a switch as drawn opens the line, the first switch positions that close it."""
    if place_of_loop(amp, at, fixed):
        return dict(fixed)
    switches = [each for each in amp.controls.values() if each.kind == "switch" and each.name not in fixed]
    for values in product(*(each.positions for each in switches)):
        found: Setting = {**fixed, **dict(zip((each.name for each in switches), values, strict=True))}
        if place_of_loop(amp, at, found):
            return found
    return None
