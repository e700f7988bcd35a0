"""What mods bring to an amp: those that it has not yet, and the part that an edit puts in."""

from __future__ import annotations

from dataclasses import replace

from ..circuit.amp import Amp, AnyPart, Edit, Mod, Part, Pot, Socket


def new_mods(stock: Amp, modded: Amp) -> tuple[Mod, ...]:
    """The mods that the stock amp has not."""
    return tuple(mod for mod in modded.mods if mod not in stock.mods)


def part_put_in(amp: Amp, edit: Edit) -> AnyPart | None:
    """The part that an edit puts in: fitted, or of another value."""
    part = amp.part_by_designator.get(edit.part)
    if edit.action == "replace" and isinstance(part, (Part, Pot)) and isinstance(edit.value, float):
        return replace(part, value=edit.value)
    if edit.action == "replace" and isinstance(part, Socket):
        return replace(part, type=str(edit.value))
    return part if edit.action == "fit" else None
