"""The way back: what the iron undoes, and what was kept put back."""

from __future__ import annotations

from collections.abc import Iterator

from ...circuit.amp import Amp, Switch
from ...circuit.mods import describe_part, where
from ..new_parts import new_mods, work_mods
from .checks import loose_part_checks
from .polarity import plus_words
from .soldering import part_name
from .step import Phase, Step
from .working_order import working_order


def back_steps(stock: Amp, modded: Amp) -> Iterator[Step]:
    """The way back: switches out, then the edits in reverse, with what was kept put back."""
    for mod in reversed(new_mods(stock, modded)):
        for switch in reversed(mod.switches):
            words = f"Take out switch {switch.designator} with the parts on it and every wire to it."
            if switch.shaft:
                words = f"Take off every wire and part on the switch of {switch.shaft}; it comes out with its pot."
            yield Step(Phase.REMOVE, f"{words}{_restoring_words(switch)}")
    for doing in reversed(working_order(work_mods(stock, modded))):
        edit = doing.edit
        old = modded.part_by_designator.get(edit.part)
        if edit.action == "bridge":
            rest = f"; fit {edit.part} again" if edit.part else ""
            yield Step(Phase.REMOVE, f"Take out the bridge at {' - '.join(edit.between or (edit.part,))}{rest}.")
        elif edit.action == "cut":
            yield Step(Phase.FIT, f"Join the wire between {where(edit)} again.")
        elif edit.action == "move":
            yield Step(Phase.FIT, f"Take the wire from {where(edit)} off, and put {edit.opened[0]} back where it was.")
        elif edit.action == "supply":
            drawn = next((rail.volts for rail in stock.rails if rail.name == edit.part), None)
            yield Step(Phase.FIT, f"Set {edit.part} back{f' to {drawn:g} V' if drawn is not None else ''}.")
        elif edit.action == "fit":
            back = f", and put the wire back on {edit.in_series}" if edit.in_series else ""
            yield Step(Phase.REMOVE, f"Take out {part_name(modded, edit)} {where(edit)}{back}.")
        elif old is not None:
            was = f"{edit.part} ({describe_part(old)})"
            first = f"Take out {part_name(modded, edit)}; fit" if edit.action == "replace" else "Fit"
            words = f"{first} {was} again, the one that was kept.{plus_words(stock, edit.part)}"
            yield Step(Phase.FIT, words, list(loose_part_checks(old, was)))


def _restoring_words(switch: Switch) -> str:
    """Parts and wires of the stock amp that the switch had taken hold of."""
    edits = [edit for _, doings in switch.positions for edit in doings]
    wires = [lug for edit in edits for lug in edit.opened]
    parts = [edit.part for edit in edits if edit.action in ("replace", "lift", "bridge") and edit.part]
    told = [f" Put the wire back on {place}." for place in dict.fromkeys(wires)]
    return "".join([*told, *(f" Solder {part} back to both its places." for part in dict.fromkeys(parts))])
