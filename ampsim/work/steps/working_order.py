"""The iron's work in an order that can be measured on the way: out first, then wires opened, then parts fitted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from ...circuit.amp import Amp, Edit, Mod
from ...circuit.edits import phase


@dataclass(frozen=True)
class ModEdit:
    """One edit of one mod."""

    mod: Mod
    edit: Edit


def working_order(mods: Iterable[Mod]) -> list[ModEdit]:
    """Edits that no switch carries out: values, lifted parts, opened wires, fitted parts, bridges.

    What is built upon a part that the same work brings comes after it.
    """
    waiting = sorted((ModEdit(mod, edit) for mod in mods for edit in mod.edits), key=lambda each: phase(each.edit))
    coming = {each.edit.part for each in waiting if each.edit.action == "fit"}
    done: list[ModEdit] = []
    while waiting:
        ready = next((each for each in waiting if not _leans_on(each.edit) & coming), waiting[0])
        waiting.remove(ready)
        coming.discard(ready.edit.part)
        done.append(ready)
    return done


def _leans_on(edit: Edit) -> set[str]:
    places = [edit.across, *edit.places, *([edit.part] if edit.action != "fit" else [])]
    return {place.partition(".")[0] for place in places} - {""}


def partly_modded(stock: Amp, modded: Amp, done: Sequence[ModEdit]) -> Amp:
    """The amp with only some edits carried out, switches left out."""
    edits = {mod.name: tuple(each.edit for each in done if each.mod.name == mod.name) for mod in modded.mods}
    mods = tuple(mod if mod in stock.mods else replace(mod, switches=(), edits=edits[mod.name]) for mod in modded.mods)
    return replace(modded, mods=mods)
