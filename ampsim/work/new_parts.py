"""What mods bring to an amp: those that it has not yet, and the part that an edit puts in."""

from __future__ import annotations

from dataclasses import replace

from ..circuit.amp import Amp, AnyPart, Edit, Mod, Pot, Switch
from ..circuit.mods import describe_part
from ..circuit.replacing import put_in_place


def new_mods(stock: Amp, modded: Amp) -> tuple[Mod, ...]:
    """The mods that the stock amp has not."""
    return tuple(mod for mod in modded.mods if mod not in stock.mods)


def work_mods(stock: Amp, modded: Amp) -> tuple[Mod, ...]:
    """The new mods as they are worked: a switch on the shaft of a pot of the stock amp means another pot in its place.

    A pot with a switch on its shaft is one part; the old pot comes out for it.
    """
    new = new_mods(stock, modded)
    exchanged = {edit.part for mod in new for edit in mod.edits if edit.action in ("replace", "lift")}
    found = []
    for mod in new:
        shafts = dict.fromkeys(switch.shaft for switch in mod.switches if switch.shaft)
        pots = [part for name in shafts if isinstance(part := stock.part_by_designator.get(name), Pot)]
        edits = tuple(Edit("replace", pot.designator, pot.value) for pot in pots if pot.designator not in exchanged)
        found.append(replace(mod, edits=(*edits, *mod.edits)) if edits else mod)
    return tuple(found)


def switches_on(amp: Amp, shaft: str) -> tuple[Switch, ...]:
    """The switches on the shaft of a pot."""
    return tuple(switch for switch in amp.all_switches if shaft and switch.shaft == shaft)


def describe_bought(amp: Amp, part: AnyPart) -> str:
    """A part as it is bought: its value, and the switch on its shaft."""
    on = switches_on(amp, part.designator)
    return f"{describe_part(part)}{f', with push-pull switch {on[0].designator} on its shaft' if on else ''}"


def part_put_in(amp: Amp, edit: Edit) -> AnyPart | None:
    """The part that an edit puts in: fitted, or of another value."""
    part = amp.part_by_designator.get(edit.part)
    if edit.action == "replace" and part is not None:
        return put_in_place(part, edit)
    return part if edit.action == "fit" else None
