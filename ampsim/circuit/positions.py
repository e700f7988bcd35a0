"""Positions of controls: making them, naming them, checking them."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ..base.errors import DescriptionError, nearest, shown
from ..base.wording import join_words
from .amp import Amp

Position = Mapping[str, float | str]
Switches = tuple[tuple[str, str], ...]
AS_DRAWN = "as drawn"
_COORD = "control_"
_MOST = 512  # combinations of switch positions that are looked at


def face(rotation: float) -> str:
    """A rotation [ratio] as numbered on the panel of an amp, 0 to 10: "7", "2.5", "7.25"."""
    return f"{10.0 * rotation:.4g}"


def setting_words(control: str, value: float | str) -> str:
    """Where a control stands (rotation [ratio] or the name of a position), as in a list: "gain 3", "bright 120p"."""
    between = " at " if control[-1:].isdigit() else " "  # "level 1 1.24" cannot be read
    return f"{control}{between}{value if isinstance(value, str) else face(value)}"


def setting_clause(control: str, value: float | str) -> str:
    """Where a control stands (rotation [ratio] or the name of a position), as in a sentence: "gain at 3"."""
    return f"{control} at {value if isinstance(value, str) else face(value)}"


def position_label(position: Position) -> str:
    """A position in words: "bright 120p, gain 5"; "as drawn" when nothing is moved.

    Positions go by it along the dimension `position` of every response and table; the rotations [ratio] themselves
    are in the coordinate of each control, that of a knob "gain" in `response["control_gain"]`.
    """
    return ", ".join(setting_words(name, value) for name, value in position.items()) or AS_DRAWN


def position_clause(position: Position) -> str:
    """A position as in a sentence, its rotations [ratio] on the panel's scale: "with bright at 120p and gain at 5"."""
    if not position:
        return "with every control as drawn"
    return f"with {join_words([setting_clause(name, value) for name, value in position.items()])}"


def switches_at(amp: Amp, position: Position) -> Switches:
    """Every switch of an amp with where it stands at a position; those not named stand as drawn."""
    return tuple((name, value) for name, value in amp.setting(position).items() if isinstance(value, str))


def every_position(amp: Amp, *controls: str, rotations: Sequence[float] = (0.0, 0.5, 1.0)) -> list[dict[str, Any]]:
    """Every combination of the positions of some controls (switches: all positions; knobs: rotations [ratio]).

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


def coord_name(control: str) -> str:
    """The coordinate of a response that says how a control stands: a knob may be called as a dimension is, "level"."""
    return f"{_COORD}{control}"


def control_named(coord: str) -> str | None:
    """The control whose coordinate this is; None of any other coordinate."""
    return coord.removeprefix(_COORD) if coord.startswith(_COORD) else None


def control_coords(settings: list[dict[str, float | str]]) -> dict[str, Any]:
    """One coordinate along position for every control that was set, by `coord_name`."""
    coords: dict[str, Any] = {}
    for name in dict.fromkeys(name for setting in settings for name in setting):
        values = [setting.get(name) for setting in settings]
        words = any(isinstance(value, str) for value in values)
        blank: str | float = AS_DRAWN if words else float("nan")
        coords[coord_name(name)] = ("position", [blank if value is None else value for value in values])
    return coords


def every_setting(amp: Amp) -> Iterator[Switches]:
    """Every combination of switch positions; with very many, each switch alone, the others as drawn."""
    ranges = [[(each.control, label) for label in each.labels] for each in amp.all_switches]
    total = 1
    for labels in ranges:
        total *= len(labels)
    if total <= _MOST:
        yield from itertools.product(*ranges)
        return
    drawn = {each.control: each.drawn for each in amp.all_switches}
    for labels in ranges:
        for control, label in labels:
            yield tuple((drawn | {control: label}).items())
