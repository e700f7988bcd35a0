"""Which lugs a mod wants together: what its edits name, part by part, and what they leave to the drawing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from ...circuit.amp import Amp, Edit
from ...circuit.build import SPEAKER, build_circuit
from ...circuit.edits import fitted_pins
from ...circuit.stages.template import Element
from ...circuit.switches.wire_pieces import Pieces


@dataclass(frozen=True)
class WantedLugs:
    """Two places that one edit wants on one piece of wire.

    Each is a lug, "ground", "input", "speaker" or a rail. `was` says that not `second` itself is
    meant but where it was soldered before. `strap` marks a wire from lug to lug of one pot, `near` the parts that the
    edit names, the first of them the nearest.
    """

    first: str
    second: str
    near: tuple[str, ...]
    was: bool = False
    strap: bool = False


def wanted_lugs(amp: Amp, before: Pieces, after: Pieces) -> list[WantedLugs]:
    """Every pair of places that the edits of an amp's mods (without mods: of its switches) want together."""
    elements = {each.designator: each for each in (*before.elements, *after.elements)}
    found = _in_a_row([want for edit in edits_of(amp) for want in _of_edit(amp, edit, elements)])
    for name, old in after.bought.items():
        pins = [pin for pin, _ in elements[name].pins]
        found += [WantedLugs(f"{name}.{pin}", f"{old}.{pin}", (old,)) for pin in pins]
    return found


def _in_a_row(wants: Sequence[WantedLugs]) -> list[WantedLugs]:
    """What goes in series at a part that is itself brought takes over where that part's end would have gone."""
    firsts = {want.first: want for want in wants if not want.strap}
    over = {want.second: want.first for want in wants if want.was and want.second in firsts}
    found = []
    for want in wants:
        if want.was and want.second in over:
            found.append(replace(firsts[want.second], first=want.first))
        elif want.first not in over or want.strap or want is not firsts[want.first]:
            found.append(want)
    return found


def edits_of(amp: Amp) -> list[Edit]:
    """Every edit of the mods of an amp; without mods, every edit of its own switches."""
    if amp.mods:
        return [edit for mod in amp.mods for edit in mod.every_edit()]
    return [edit for switch in amp.switches for _, each in switch.positions for edit in each]


def bridged_lugs(amp: Amp, edit: Edit) -> tuple[str, str]:
    """The two places that a bridge joins: of a part, which stays, its ends."""
    if edit.between:
        return edit.between
    wired = build_circuit(amp)
    return _ends({each.designator: each for each in (*wired.removed, *wired.elements)}, edit.part) or ("", "")


def parts_near(amp: Amp) -> Mapping[str, tuple[str, ...]]:
    """To each part that the edits bring, and each switch, what it stands near: the parts named with it."""
    direct: dict[str, tuple[str, ...]] = {}
    for edit in edits_of(amp):
        direct[edit.part] = (*direct.get(edit.part, ()), *_near(amp, edit)) if edit.action == "fit" else (edit.part,)
    found = {part: _followed(part, direct) for part in direct}
    for switch in amp.all_switches:
        edits = [edit for _, each in switch.positions for edit in each]
        parts = [part for edit in edits for part in (found.get(edit.part, ()) if edit.part else _near(amp, edit))]
        found[switch.designator] = tuple(dict.fromkeys(parts))
    return found


def _followed(part: str, direct: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    """What a part stands near, and what stands near that where it is brought as well."""
    reached = list(dict.fromkeys(direct[part]))
    for each in reached:
        reached += [other for other in direct.get(each, ()) if other not in (*reached, part)]
    return tuple(reached)


def _near(amp: Amp, edit: Edit) -> tuple[str, ...]:
    """The parts that an edit names besides the one it brings; a rail stands for its parts, so does the speaker."""
    several = {rail.name: (*rail.reservoir, *rail.series) for rail in amp.rails}
    several[SPEAKER] = load_of(amp)
    for mod in amp.mods:
        for net in mod.nets:  # what meets there stands near what the others there are fitted to
            met = [each for each in mod.every_edit() if net in each.places]
            named = [name for each in met for name in (each.part, *(place.partition(".")[0] for place in each.places))]
            several[net] = tuple(name for name in dict.fromkeys(named) if name not in (edit.part, net))
    names = [edit.across, *(place.partition(".")[0] for place in edit.places)]
    names = [part for name in names if name for part in several.get(name, (name,))]
    return tuple(dict.fromkeys(name for name in names if name in amp.part_by_designator))


@lru_cache(maxsize=16)
def load_of(amp: Amp) -> tuple[str, ...]:
    """The parts that an amp works into."""
    return tuple(each.designator for each in build_circuit(amp).load)


def _of_edit(amp: Amp, edit: Edit, elements: Mapping[str, Element]) -> Iterator[WantedLugs]:
    near = _near(amp, edit)
    if edit.action == "bridge":
        ends = edit.between or _ends(elements, edit.part)
        yield from (WantedLugs(*ends, near or (edit.part,)),) if ends else ()
    if edit.action == "move" and edit.between:
        yield WantedLugs(*edit.between, near)
    if edit.action != "fit":
        return
    if edit.pins:
        yield from _of_pins(edit, near)
        return
    first, second, strapped = fitted_pins(edit, amp.part_by_designator[edit.part].kind)
    if edit.in_series:
        yield WantedLugs(f"{edit.part}.{first}", edit.in_series, near)
        yield WantedLugs(f"{edit.part}.{second}", edit.in_series, near, was=True)
    else:
        places = edit.between or _ends(elements, edit.across)
        pairs = zip((first, second), places, strict=True) if places else ()
        yield from (WantedLugs(f"{edit.part}.{pin}", place, near) for pin, place in pairs)
    if strapped:
        yield WantedLugs(f"{edit.part}.{second}", f"{edit.part}.{strapped}", near, strap=True)


def _of_pins(edit: Edit, near: tuple[str, ...]) -> Iterator[WantedLugs]:
    """Each pin to its place; what goes where the wiper goes is strapped to it."""
    wiper = dict(edit.pins).get("wiper")
    for pin, place in edit.pins:
        strapped = place == wiper and pin != "wiper"
        where_to = (f"{edit.part}.wiper", f"{edit.part}.{pin}") if strapped else (f"{edit.part}.{pin}", place)
        yield WantedLugs(*where_to, near, strap=strapped)


def _ends(elements: Mapping[str, Element], part: str) -> tuple[str, str] | None:
    """The two lugs of a part that another goes across."""
    if part not in elements:
        return None
    first, second = elements[part].end_pins
    return f"{part}.{first}", f"{part}.{second}"
