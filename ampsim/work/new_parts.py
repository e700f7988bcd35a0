"""What mods bring to an amp: those that it has not yet, and the part that an edit puts in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from ..circuit.amp import Amp, AnyPart, Edit, Mod, Pot, Socket, Switch
from ..circuit.build import build_circuit
from ..circuit.designators import body_of
from ..circuit.mods import describe_part
from ..circuit.replacing import put_in_place
from ..circuit.switches.kinds import ON_POTS, Action
from ..circuit.valves.pinout import rewiring
from ..circuit.whole_parts import sections_of


def new_mods(stock: Amp, modded: Amp) -> tuple[Mod, ...]:
    """The mods that the stock amp has not."""
    return tuple(mod for mod in modded.mods if mod not in stock.mods)


def new_parts(stock: Amp, modded: Amp) -> frozenset[str]:
    """The designators that the new mods bring, or give another value, in any position of their switches."""
    edits = [edit for mod in new_mods(stock, modded) for edit in mod.every_edit()]
    return frozenset(edit.part for edit in edits if edit.action in ("fit", "replace"))


def work_mods(stock: Amp, modded: Amp) -> tuple[Mod, ...]:
    """The new mods as they are worked: a switch on the shaft of a pot of the stock amp means another pot in its place.

    A pot with a switch on its shaft is one part; the old pot comes out for it.
    """
    new = new_mods(stock, modded)
    there = {name: part for name, part in build_circuit(stock).parts.items() if name in stock.part_by_designator}
    exchanged = {edit.part for mod in new for edit in mod.edits if edit.action in ("replace", "lift")}
    found = []
    for mod in new:
        shafts = dict.fromkeys(switch.shaft for switch in mod.switches if switch.shaft)
        names = [each for name in shafts for each in sections_of(stock.part_by_designator, name)]
        pots = [part for name in names if isinstance(part := there.get(name), Pot)]
        edits = tuple(Edit("replace", pot.designator, pot.value) for pot in pots if pot.designator not in exchanged)
        found.append(replace(mod, edits=(*edits, *mod.edits)) if edits else mod)
    return tuple(found)


def switches_on(amp: Amp, shaft: str) -> tuple[Switch, ...]:
    """The switches on the shaft of a pot."""
    return tuple(switch for switch in amp.all_switches if shaft and switch.shaft in (shaft, body_of(shaft)))


def describe_bought(amp: Amp, part: AnyPart) -> str:
    """A part as it is bought: its value, and the switch on its shaft."""
    on = switches_on(amp, part.designator)
    others = [name for name in sections_of(amp.part_by_designator, part.designator) if name != part.designator]
    gang = f", on one shaft with {' and '.join(others)}" if others and isinstance(part, Pot) else ""
    if not on:
        return f"{describe_part(part)}{gang}"
    kind = on[0].kind.action if on[0].kind.action in ON_POTS else Action.PUSH_PULL
    end = " on its shaft" if kind is Action.PUSH_PULL else ""
    return f"{describe_part(part)}{gang}, with {kind.value} {on[0].designator}{end}"


def rewiring_words(amp: Amp, part: Socket) -> str:
    """What a valve of another type needs besides, and whether the other half of its bottle is of another type."""
    drawn = amp.part_by_designator[part.designator]
    if not isinstance(drawn, Socket) or drawn.type == part.type:
        return ""
    words = socket_words(amp, drawn.type, part.type)
    parts = build_circuit(amp).parts
    halves = [name for name in sections_of(amp.part_by_designator, part.designator) if name != part.designator]
    other = [name for name in halves if isinstance(one := parts[name], Socket) and one.type != part.type]
    body = body_of(part.designator)
    alike = (
        f". {' and '.join(other)} in the same bottle is of another type: exchange {body} as a whole" if other else ""
    )
    return words + alike


def socket_words(amp: Amp, old: str, new: str, back: bool = False) -> str:
    """What a socket needs in which a valve of one type makes room for another: a sentence, "" for the same type.

    Parameters
    ----------
    amp : Amp
        Knows both types.
    old, new : str
        The types.
    back : bool
        Whether the new type is the one that the socket was wired for at first.
    """
    before, after = amp.valve_by_type[old].pinout, amp.valve_by_type[new].pinout
    return "" if old == new else rewiring(old, before, new, after, back)


def in_one_body(amp: Amp, edit: Edit, edits: Iterable[Edit]) -> tuple[str, ...]:
    """The sections that come out as one body with the part of an edit, as all of it does; else the part alone.

    The tracks of a pot that is exchanged stay apart: each goes in with what is soldered to it.
    """
    names = sections_of(amp.part_by_designator, edit.part)
    alike = {each.part for each in edits if each.action == edit.action}
    one = edit.action == "lift" or (edit.action == "replace" and amp.part_by_designator[edit.part].kind != "pot")
    return names if one and set(names) <= alike else (edit.part,)


def body_name(names: Sequence[str]) -> str:
    """What some sections of one body are called together."""
    return body_of(names[0]) if len(names) > 1 else names[0]


def part_put_in(amp: Amp, edit: Edit) -> AnyPart | None:
    """The part that an edit puts in: fitted, or of another value."""
    part = amp.part_by_designator.get(edit.part)
    if edit.action == "replace" and part is not None:
        return put_in_place(part, edit)
    return part if edit.action == "fit" else None


def part_name(amp: Amp, edit: Edit, names: Sequence[str] = ()) -> str:
    """The part that an edit puts in, or the body that it does so with, with what it is."""
    part, name = part_put_in(amp, edit), body_name(names or (edit.part,))
    return f"{name} ({describe_bought(amp, part)})" if part else name
