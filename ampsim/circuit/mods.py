"""Fitting mods to an amp: `apply` and `diff`, with the laws that keep mods honest."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from ..base.errors import DescriptionError, nearest, shown
from ..base.quantities import FARAD, HENRY, OHM, format_value
from .amp import Amp, AnyPart, Edit, Mod, Part, Pot, Socket
from .designators import body_of
from .landing.choosing import check_parts
from .loudspeaker import Loudspeaker
from .positions import setting_clause
from .replacing import put_in_place
from .semiconductors.device import Device
from .supply.transformer import MainsTransformer
from .transformer import Transformer
from .usual_values import check_mod_values
from .whole_parts import check_tracks, with_sections


def apply_mods(amp: Amp, *mods: Mod) -> Amp:
    """Fit mods to an amp and return the new amp; the amp given stays as it is.

    Parameters
    ----------
    amp : Amp
        The amp to work on, with or without mods.
    *mods : Mod
        Mods to fit. Their order cannot matter: what they touch may not overlap.

    Returns
    -------
    Amp
        The amp with the mods added to `Amp.mods`, sorted by name.

    Raises
    ------
    DescriptionError
        When a mod is fitted twice, when two mods touch the same part, or bring the same designator or control; for
        values that no such part has at its place; for one whose places are still to be found in an amp, or whose parts
        are not what it expects.
    """
    for each in (each for each in mods if each.wants):
        raise DescriptionError(
            f"{each.file or each.name}: {shown(each.wants[0])} is still to be found in an amp (ampsim.apply_mods)"
        )
    for mod in (with_sections(each, amp) for each in mods):
        _refuse_clash(amp, mod)
        check_parts(amp, mod)
        check_mod_values(amp, mod)
        amp = replace(amp, mods=tuple(sorted((*amp.mods, mod), key=lambda each: each.name)))
    check_tracks(amp.part_by_designator.values(), amp.mods[-1].file if mods else amp.file)
    check_shafts(amp)
    return amp


def check_shafts(amp: Amp) -> None:
    """Refuse a switch on the shaft of a pot that is not there, and a second one on the same shaft.

    Raises
    ------
    DescriptionError
        Naming switch, shaft and the nearest pots.
    """
    out = {edit.part for mod in amp.mods for edit in mod.edits if edit.action == "lift"}
    names = [part.designator for part in amp.part_by_designator.values() if isinstance(part, Pot)]
    pots = list(dict.fromkeys([*names, *map(body_of, names)]))
    taken: dict[str, str] = {}
    for switch in amp.all_switches:
        where_it_is = f"{amp.file}: switch {switch.designator} is on the shaft of {switch.shaft}"
        if switch.shaft and switch.shaft not in pots:
            raise DescriptionError(f"{where_it_is}, which is no pot of this amp{nearest(switch.shaft, pots)}")
        if switch.shaft in out:
            raise DescriptionError(f"{where_it_is}, which a mod takes out; name the pot that is fitted")
        if switch.shaft and taken.setdefault(switch.shaft, switch.designator) != switch.designator:
            raise DescriptionError(f"{where_it_is}, where {taken[switch.shaft]} is already; a pot has one switch")


def without_mods(amp: Amp, names: Iterable[str]) -> Amp:
    """The amp with some of its mods taken out again, the others as they are.

    Parameters
    ----------
    amp : Amp
    names : iterable of str
        Mods by name, or by the name of their file.

    Raises
    ------
    DescriptionError
        For a mod that is not fitted, naming the nearest, and for one that a mod which stays is built upon.
    """
    out = []
    for name in names:
        found = [mod for mod in amp.mods if name in (mod.name, mod.file.removesuffix(".toml"))]
        if not found:
            raise DescriptionError(f"{shown(name)} is not fitted{nearest(name, [mod.name for mod in amp.mods])}")
        out += found
    left = replace(amp, mods=tuple(mod for mod in amp.mods if mod not in out))
    gone = {name for mod in out for part in mod.parts for name in (part.designator, body_of(part.designator))}
    gone |= {net for mod in out for net in mod.nets}
    for mod in left.mods:
        places = [place for edit in mod.every_edit() for place in (edit.across, *edit.places)]
        places += [switch.shaft for switch in mod.switches]
        leans = sorted({name for place in places for name in (place.partition(".")[0],) if name in gone})
        if leans:
            text = f"is built upon {', '.join(leans)}, which would come out; undo it first"
            raise DescriptionError(f"mod '{mod.name}' {text}")
    check_shafts(left)
    return left


def _refuse_clash(amp: Amp, mod: Mod) -> None:
    name = f"mod '{mod.name}'"
    _refuse_shared(mod.parts, amp.parts, f"{name} and the amp both have a part")
    known = {*(rail.name for rail in amp.rails), *(stage.name for stage in amp.stages)}
    _refuse_names(list(mod.nets), list(known), f"{name} and the amp both have a net")
    _refuse_names(
        [s.control for s in mod.switches] + [p.control for p in mod.parts if isinstance(p, Pot)],
        list(amp.controls),
        f"{name} and the amp both have a control",
    )
    for other in amp.mods:
        if other.name == mod.name:
            raise DescriptionError(f"{name} is fitted already; a mod is fitted once")
        _refuse_shared(mod.parts, other.parts, f"{name} and mod '{other.name}' both bring")
        _refuse_names(list(mod.nets), list(other.nets), f"{name} and mod '{other.name}' both have the net")
        _refuse_names(
            list(touched_designators(mod)),
            list(touched_designators(other)),
            f"{name} and mod '{other.name}' both change",
        )


def _refuse_shared(mine: Iterable[AnyPart], theirs: Iterable[AnyPart], text: str) -> None:
    _refuse_names([part.designator for part in mine], [part.designator for part in theirs], text)


def _refuse_names(mine: list[str], theirs: list[str], text: str) -> None:
    both = sorted(set(mine) & set(theirs))
    if both:
        raise DescriptionError(f"{text} {', '.join(both)}; they cannot be fitted together")


def touched_designators(mod: Mod) -> frozenset[str]:
    """What a mod changes of the amp: designators given a value, lifted or bridged, and part ends opened."""
    return frozenset(name for edit in mod.every_edit() for name in touches(edit))


def touches(edit: Edit) -> frozenset[str]:
    """What one edit takes for itself: a part's value or its presence, a rail's volts, or the wire at some places."""
    if edit.part and edit.action != "fit":
        return frozenset({edit.part})
    return frozenset(edit.opened)


@dataclass(frozen=True)
class Change:
    """One line of a diff: where, what was there, what is there now, in which switch position, and whose doing."""

    place: str
    before: str
    after: str
    when: str
    mod: str


def diff(amp: Amp, other: Amp) -> list[Change]:
    """The effective edits that lead from `amp` to `other`, one `Change` each; edits without effect are left out.

    Raises
    ------
    DescriptionError
        When `other` does not stem from the same drawing or lacks a mod that `amp` has.
    """
    if (amp.parts, amp.stages, amp.rails) != (other.parts, other.stages, other.rails):
        raise DescriptionError(f"{amp.name} and {other.name} are not the same drawing")
    missing = [mod.name for mod in amp.mods if mod not in other.mods]
    if missing:
        raise DescriptionError(f"mod '{missing[0]}' is fitted in the first amp only; compare the other way round")
    return [change for mod in other.mods if mod not in amp.mods for change in _changes(other, mod)]


def _changes(amp: Amp, mod: Mod) -> Iterator[Change]:
    for edit in mod.edits:
        yield from _change(amp, mod, edit, "always")
    for switch in mod.switches:
        for label, edits in switch.positions:
            for edit in edits:
                yield from _change(amp, mod, edit, setting_clause(switch.control, label))


def _change(amp: Amp, mod: Mod, edit: Edit, when: str) -> Iterator[Change]:
    part = amp.part_by_designator.get(edit.part)
    before = describe_part(part) if part else ""
    if edit.action == "replace" and part is not None:
        if put_in_place(part, edit) != part:
            after = describe_put_in(part, edit)
            yield Change(edit.part, before, after, when, mod.name)
    elif edit.action == "supply":
        drawn = next((rail.volts for rail in amp.rails if rail.name == edit.part), None)
        if drawn != edit.value:
            yield Change(edit.part, f"{drawn:g} V" if drawn is not None else "-", f"{edit.value:g} V", when, mod.name)
    elif edit.action in ("cut", "move"):
        yield Change(where(edit), "-", {"cut": "cut", "move": "moved"}[edit.action], when, mod.name)
    elif edit.action == "fit":
        yield Change(where(edit), "-", f"{edit.part} {before}", when, mod.name)
    elif edit.action == "lift":
        yield Change(edit.part, before, "lifted", when, mod.name)
    else:
        yield Change(edit.part or " - ".join(edit.between or ()), before or "-", "bridged", when, mod.name)


def describe_put_in(part: AnyPart, edit: Edit) -> str:
    """What a replacement puts in a part's place, as the schematic writes it."""
    put_in = put_in_place(part, edit)
    return describe_part(put_in) if put_in else str(edit.value)


def where(edit: Edit) -> str:
    """Say in words where a part is fitted, or which wire is cut or moved."""
    if edit.sides:
        return " and ".join(", ".join(side) for side in edit.sides)
    if edit.action == "move" and edit.between:
        return f"{edit.between[0]} to {edit.between[1]}"
    if edit.across:
        return f"across {edit.across}"
    if edit.in_series:
        return f"in series at {edit.in_series}"
    if edit.between:
        return f"between {edit.between[0]} and {edit.between[1]}"
    return ", ".join(f"{pin} to {place}" for pin, place in edit.pins)


def describe_part(part: AnyPart) -> str:
    """A part's value as the schematic writes it."""
    if isinstance(part, Device):
        return part.words
    if isinstance(part, Socket):
        return part.type
    if isinstance(part, Pot):
        tap = "" if part.tap is None else f", tap at {100.0 * part.tap:g} %"
        return f"{format_value(part.value, OHM)} {part.taper}{tap}"
    if isinstance(part, Part):
        if part.resistance:
            return f"{part.value:g} H, {format_value(part.resistance, OHM)} ohm"
        return format_value(part.value, {"resistor": OHM, "capacitor": FARAD, "inductor": HENRY}[part.kind])
    if isinstance(part, Transformer):
        return f"{format_value(part.primary, OHM)} to {', '.join(f'{tap:g}' for tap in part.taps)} ohm"
    if isinstance(part, MainsTransformer):
        return ", ".join(f"{each.name} {each.words}" for each in part.windings)
    return f"coil of {part.resistance:g} ohm" if isinstance(part, Loudspeaker) else part.kind
