"""An amp with other values in some of its resistors and capacitors, without some of them, or at another supply."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from ..base.quantities import FARAD, HENRY, OHM, Quantity
from .amp import Amp, AnyPart, Edit, Mod, Part, Pot

_LEFT_OUT = "parts left out"


def with_values(amp: Amp, values: Mapping[str, float | None]) -> Amp:
    """The amp with new values [ohm or F] in some parts; None leaves a part out.

    A part that a mod fits is left out by not fitting it, one of the drawing by lifting it. Where a mod replaces the
    part, the new value takes the place of the mod's.
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
        replace(part, value=given[part.designator]) if isinstance(part, Part) and part.designator in given else part
        for part in parts
    )


def _mod(mod: Mod, given: Mapping[str, float], out: set[str]) -> Mod:
    def kept(edits: tuple[Edit, ...]) -> tuple[Edit, ...]:
        staying = (edit for edit in edits if not (edit.action == "fit" and edit.part in out))
        return tuple(
            replace(edit, value=given[edit.part]) if edit.action == "replace" and edit.part in given else edit
            for edit in staying
        )

    switches = tuple(
        replace(switch, positions=tuple((label, kept(edits)) for label, edits in switch.positions))
        for switch in mod.switches
    )
    return replace(mod, parts=_parts(mod.parts, given), edits=kept(mod.edits), switches=switches)


def at_supply(amp: Amp, factor: float) -> Amp:
    """The amp with every rail's source at a factor of the volts it is drawn with."""
    if factor == 1.0:
        return amp
    rails = (replace(each, volts=None if each.volts is None else factor * each.volts) for each in amp.rails)
    return replace(amp, rails=tuple(rails))


def value_of(amp: Amp, designator: str) -> float:
    """The value a part has in an amp: what a mod puts in its place, else as drawn."""
    for mod in amp.mods:
        for edit in mod.edits:
            if edit.action == "replace" and edit.part == designator and isinstance(edit.value, float):
                return edit.value
    found = amp.part_by_designator[designator]
    assert isinstance(found, (Part, Pot))
    return found.value


def quantity_of(amp: Amp, designator: str) -> Quantity:
    """What a part's value is."""
    return _QUANTITIES[amp.part_by_designator[designator].kind]


_QUANTITIES = {"resistor": OHM, "pot": OHM, "capacitor": FARAD, "inductor": HENRY}
