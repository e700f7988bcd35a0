"""An amp with its parts changed wherever they are described: in the drawing, in a mod, or as what an edit puts in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from .amp import Amp, AnyPart, Edit, Part, Pot, Socket, Switch
from .semiconductors.device import Device

Change = Callable[[AnyPart], AnyPart]


def with_every_part(amp: Amp, change: Change) -> Amp:
    """The amp with every part as `change` gives it: those of drawing and mods, and those that edits exchange them for.

    What an edit gives as a value or type alone counts as the part that it is put in for, with that value or type.
    """
    known = amp.part_by_designator
    mods = tuple(
        replace(
            mod,
            parts=tuple(map(change, mod.parts)),
            edits=_edits(mod.edits, change, known),
            switches=_switches(mod.switches, change, known),
        )
        for mod in amp.mods
    )
    switches = _switches(amp.switches, change, known)
    return replace(amp, parts=tuple(map(change, amp.parts)), switches=switches, mods=mods)


def _edits(edits: tuple[Edit, ...], change: Change, known: Mapping[str, AnyPart]) -> tuple[Edit, ...]:
    return tuple(_edit(each, change, known.get(each.part)) if each.action == "replace" else each for each in edits)


def _edit(edit: Edit, change: Change, part: AnyPart | None) -> Edit:
    if isinstance(edit.value, float):
        changed = change(replace(part, value=edit.value)) if isinstance(part, (Part, Pot)) else None
        return replace(edit, value=changed.value) if isinstance(changed, (Part, Pot)) else edit
    if isinstance(edit.value, str):
        changed = change(replace(part, type=edit.value)) if isinstance(part, (Socket, Device)) else None
        return replace(edit, value=changed.type) if isinstance(changed, (Socket, Device)) else edit
    return edit if edit.value is None else replace(edit, value=change(edit.value))


def _switches(switches: tuple[Switch, ...], change: Change, known: Mapping[str, AnyPart]) -> tuple[Switch, ...]:
    return tuple(
        replace(switch, positions=tuple((label, _edits(each, change, known)) for label, each in switch.positions))
        for switch in switches
    )
