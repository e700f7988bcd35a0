"""What stands on the panel beside a knob or lever: the names of its positions, and which way it points in each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ...circuit.amp import Amp, Pot, Switch
from ...circuit.designators import body_of
from ...circuit.switches.kinds import TOGGLES, Action
from ...circuit.switches.plan import Row, SwitchPlan
from .panel_parts import PanelPart, PanelWork, switch_plans

UP, DOWN, ROUND, LISTED = "up", "down", "round", "listed"
STEP = 30.0
"""Degrees between positions of a rotary switch: common practice, no source."""
_ENDS = {"one end": UP, "other end": DOWN}


@dataclass(frozen=True)
class Way:
    """One position: its name, `where` it stands beside the hole, and how it is called in the wiring's table.

    `where` is up or down of the hole, round it, or in a list below. `angle` [degree] is to the right of straight up,
    for the positions of a rotary switch.
    """

    label: str
    where: str
    stands: str
    angle: float = 0.0


@dataclass(frozen=True)
class Face:
    """The face of one part: the names of its knob and lever, whether it has a scale from 0 to 10, and its positions."""

    part: PanelPart
    control: str
    scale: bool
    ways: tuple[Way, ...]


def faces(modded: Amp, work: PanelWork) -> tuple[Face, ...]:
    """The faces that the panel does not have yet: of new parts, and of old knobs that get a switch."""
    return tuple(face for part in work.parts if (face := _face(modded, part)) is not None)


def _face(modded: Amp, part: PanelPart) -> Face | None:
    plans = switch_plans(modded)
    for switch in modded.all_switches:
        if part.name == (switch.coil.driver if switch.coil else switch.designator):
            return Face(part, switch.control, False, tuple(_ways(switch, plans.get(part.name))))
    if not part.control:
        return None
    on = [each for each in modded.all_switches if body_of(each.shaft) == part.name or each.shaft == part.name]
    ways = tuple(way for switch in on for way in _ways(switch, plans.get(switch.designator)))
    new = part.name != part.into
    knob = any(isinstance(each, Pot) and each.control == part.control for each in modded.part_by_designator.values())
    control = ", ".join([part.control, *(each.control for each in on)])
    return Face(part, control, new and knob, ways) if new or ways else None


def _ways(switch: Switch, plan: SwitchPlan | None) -> Iterator[Way]:
    if plan is None or plan.action is Action.NONE:
        yield from (Way(label, LISTED, "") for label in switch.labels)
        return
    rows: dict[str, Row] = {row.label: row for row in plan.rows}
    for number, label in enumerate(switch.labels):
        stands = rows[label].stands
        if plan.action in TOGGLES:
            yield Way(label, _ENDS.get(stands, LISTED), stands)
        elif plan.action is Action.ROTARY:
            step = min(STEP, 330.0 / len(switch.labels))
            yield Way(label, ROUND, stands, step * (number - (len(switch.labels) - 1) / 2))
        else:
            yield Way(label, LISTED, stands)
