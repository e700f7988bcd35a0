"""An amp with other values in some of its resistors and capacitors, without some of them, or at another supply."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import cast

from ..base.quantities import FARAD, HENRY, OHM, Quantity
from .amp import Amp, AnyPart, Edit, Mod, Part, Pot
from .every_part import with_every_part
from .positions import Position, switches_at
from .supply.transformer import MainsTransformer

_LEFT_OUT = "parts left out"


def with_values(amp: Amp, values: Mapping[str, float | None]) -> Amp:
    """The amp with new values in some of the parts that it is built with; None leaves a part out.

    A value belongs to the part of the drawing or of a mod; where a mod replaces that part for good, the new value
    takes the place of the mod's. Where a position of a switch puts another part in its place, the circuit has the
    switch's value, see `switched_values`. A part that a mod fits is left out by not fitting it, one of the drawing by
    lifting it.

    Parameters
    ----------
    amp : Amp
    values : mapping
        Designator to value [ohm, F or H], or None.
    """
    given = {name: value for name, value in values.items() if value is not None}
    out = [name for name, value in values.items() if value is None]
    fitted = {edit.part for mod in amp.mods for edit in mod.every_edit() if edit.action == "fit"}
    mods = [_mod(mod, given, {name for name in out if name in fitted}) for mod in amp.mods]
    lifted = tuple(Edit("lift", name) for name in out if name not in fitted)
    if lifted:
        mods.append(Mod(_LEFT_OUT, "", (), lifted, ()))
    return replace(amp, parts=_parts(amp.parts, given), mods=tuple(mods))


def _parts(parts: tuple[AnyPart, ...], given: Mapping[str, float]) -> tuple[AnyPart, ...]:
    return tuple(
        replace(part, value=given[part.designator])
        if isinstance(part, (Part, Pot)) and part.designator in given
        else part
        for part in parts
    )


def _mod(mod: Mod, given: Mapping[str, float], out: set[str]) -> Mod:
    def kept(edits: tuple[Edit, ...]) -> tuple[Edit, ...]:
        return tuple(edit for edit in edits if not (edit.action == "fit" and edit.part in out))

    edits = tuple(
        replace(edit, value=given[edit.part]) if edit.action == "replace" and edit.part in given else edit
        for edit in kept(mod.edits)
    )
    switches = tuple(
        replace(switch, positions=tuple((label, kept(each)) for label, each in switch.positions))
        for switch in mod.switches
    )
    return replace(mod, parts=_parts(mod.parts, given), edits=edits, switches=switches)


@dataclass(frozen=True)
class SwitchedValue:
    """What a switch does to a part in one of its positions: puts in another `value`, or takes it out (None)."""

    control: str
    position: str
    value: float | None


def switched_values(amp: Amp, designator: str) -> tuple[SwitchedValue, ...]:
    """Every position of a switch in which the circuit does not have a part's own value [ohm, F or H].

    Where several switches are at work, the last of those found decides.
    """
    fitted = any(edit.action == "fit" and edit.part == designator for mod in amp.mods for edit in mod.edits)
    found = []
    for switch in amp.all_switches:
        does = {label: [edit for edit in edits if edit.part == designator] for label, edits in switch.positions}
        fits = not fitted and any(edit.action == "fit" for edits in does.values() for edit in edits)
        for label, edits in does.items():
            actions = {edit.action for edit in edits}
            if "lift" in actions or "bridge" in actions or (fits and "fit" not in actions):
                found.append(SwitchedValue(switch.control, label, None))
            else:
                new = [edit.value for edit in edits if edit.action == "replace" and isinstance(edit.value, float)]
                found += [SwitchedValue(switch.control, label, value) for value in new[-1:]]
    return tuple(found)


def switched_value(amp: Amp, designator: str, position: Position) -> SwitchedValue | None:
    """What the switches do to a part at a position; None where it has its own value [ohm, F or H]."""
    stands = switches_at(amp, position)
    at_work = [each for each in switched_values(amp, designator) if (each.control, each.position) in stands]
    return at_work[-1] if at_work else None


def at_supply(amp: Amp, factor: float) -> Amp:
    """The amp with its mains, or every rail's source, at a factor [ratio] of the volts that drawing and mods give."""
    if factor == 1.0:
        return amp
    mods = tuple(replace(mod, edits=tuple(_scaled(edit, factor) for edit in mod.edits)) for mod in amp.mods)
    rails = (replace(each, volts=None if each.volts is None else factor * each.volts) for each in amp.rails)
    return with_every_part(
        replace(amp, rails=tuple(rails), mods=mods),
        lambda each: replace(each, mains=factor * each.mains) if isinstance(each, MainsTransformer) else each,
    )


def _scaled(edit: Edit, factor: float) -> Edit:
    supply = edit.action == "supply" and isinstance(edit.value, float)
    return replace(edit, value=factor * cast("float", edit.value)) if supply else edit


def value_of(amp: Amp, designator: str) -> float:
    """The value a part has in an amp [ohm, F or H]: what a mod puts in its place for good, else as drawn."""
    for mod in amp.mods:
        for edit in mod.edits:
            if edit.action == "replace" and edit.part == designator and isinstance(edit.value, float):
                return edit.value
    found = amp.part_by_designator[designator]
    assert isinstance(found, (Part, Pot))
    return found.value


def quantity_of(amp: Amp, designator: str) -> Quantity:
    """What a part's value is: ohm, F or H."""
    return QUANTITY_OF_KIND[amp.part_by_designator[designator].kind]


QUANTITY_OF_KIND = {"resistor": OHM, "pot": OHM, "capacitor": FARAD, "inductor": HENRY}
