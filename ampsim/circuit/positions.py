"""Positions of controls: making them, naming them, checking them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from typing import Any

from ..base.errors import DescriptionError, nearest, shown
from .amp import Amp

Position = Mapping[str, float | str]
AS_DRAWN = "as drawn"


def position_label(position: Position) -> str:
    """A position in words: ``bright=120p, gain=0.5``; "as drawn" when nothing is moved."""
    return (
        ", ".join(
            f"{name}={value if isinstance(value, str) else format(value, '.4g')}" for name, value in position.items()
        )
        or AS_DRAWN
    )


def switches_at(amp: Amp, position: Position) -> tuple[tuple[str, str], ...]:
    """Every switch of an amp with where it stands at a position; those not named stand as drawn."""
    return tuple((name, value) for name, value in amp.setting(position).items() if isinstance(value, str))


def every_position(amp: Amp, *controls: str, rotations: Sequence[float] = (0.0, 0.5, 1.0)) -> list[dict[str, Any]]:
    """Every combination of the positions of some controls (switches: all positions; knobs: the rotations given).

    Raises
    ------
    DescriptionError
        For a control the amp does not have.
    """
    ranges: list[Sequence[float | str]] = []
    for name in controls:
        if name not in amp.controls:
            raise DescriptionError(f"{amp.name} has no control {shown(name)}{nearest(name, amp.controls)}")
        control = amp.controls[name]
        ranges.append(control.positions if control.kind == "switch" else rotations)
    return [dict(zip(controls, values, strict=True)) for values in itertools.product(*ranges)]


def control_coords(settings: list[dict[str, float | str]]) -> dict[str, Any]:
    """One coordinate along position for every control that was set."""
    coords: dict[str, Any] = {}
    for name in dict.fromkeys(name for setting in settings for name in setting):
        values = [setting.get(name) for setting in settings]
        words = any(isinstance(value, str) for value in values)
        blank: str | float = AS_DRAWN if words else float("nan")
        coords[name] = ("position", [blank if value is None else value for value in values])
    return coords


def face(rotation: float) -> str:
    """A rotation as numbered on the panel of an amp: "7", "2.5"."""
    return f"{10.0 * rotation:.3g}"


def dial_face(rotation: float) -> str:
    """A rotation as numbered on the panel of an amp: "3.0", "2.25"."""
    return f"{10.0 * rotation:.1f}" if math.isclose(rotation, round(rotation, 2)) else f"{10.0 * rotation:.4g}"
