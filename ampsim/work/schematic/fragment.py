"""What a schematic fragment shows: the parts of the touched stages, the nets between their ends, and what is marked."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from ...circuit.amp import Amp, Edit
from ...circuit.mods import describe_part
from ...circuit.stages.template import Element
from ..wiring.readback import wiring
from ..wiring.switch_plan import SwitchPlan
from ..wiring.wire_pieces import Piece, Pieces

_LARGE = 18  # elements of the touched stages beyond which only those next to a change are shown


@dataclass(frozen=True)
class Item:
    """One part or contact: its pins on nets, the text beside it, and its mark in words ("" when unchanged).

    `closed` says how a contact is drawn.
    """

    name: str
    kind: str
    pins: tuple[tuple[str, str], ...]
    text: str
    mark: str = ""
    closed: bool = False

    @property
    def nets(self) -> tuple[str, ...]:
        """The nets it is on, each once."""
        return tuple(dict.fromkeys(net for _, net in self.pins))


@dataclass(frozen=True)
class Fragment:
    """A part of a circuit to draw.

    `rails` and `flags` give a net's words: the rail it is, or the place outside the fragment that it goes on to, ""
    where it only goes on to another piece of the drawing; `ground` is the net of ground.
    """

    title: str
    items: tuple[Item, ...]
    ground: str
    rails: dict[str, str]
    flags: dict[str, str]


def fragments(amp: Amp) -> tuple[Fragment, Fragment]:
    """The touched stages before and after the mods of an amp (its own switches, when it has no mods).

    Raises
    ------
    DescriptionError
        As `wiring.wiring`.
    """
    after = wiring(amp)
    bare = replace(amp, mods=()) if amp.mods else replace(amp, switches=())
    old, new = after.pieces_before, after.pieces
    edits = list(_edits(amp))
    seen = _seen(old, edits)
    brought = {each.designator for each in new.elements} - {each.designator for each in old.elements}
    gone = {each.designator for each in old.elements} - {each.designator for each in new.elements}
    moved = {place.partition(".")[0] for place, _ in after.unsoldered} & seen
    marks = dict.fromkeys(gone, "comes out") | dict.fromkeys(moved, "one end off")
    first = _fragment("Stock", bare, old, after.plans_before, seen, marks)
    marks = dict.fromkeys(moved, "moved") | {name: f"was {was}" for name, was, _ in after.values}
    marks |= dict.fromkeys(brought, "new")
    if not amp.mods:
        # Its own switches are nothing new.
        first, marks = replace(first, title="Without its switches"), {}
    second = _fragment(_standing(amp), amp, new, after.switches, (seen - gone) | brought, marks)
    return first, second


def _standing(amp: Amp) -> str:
    """The title of what is drawn, with how its switches stand."""
    stands = ", ".join(f"{switch.control}: {switch.drawn}" for switch in amp.all_switches)
    return ("Modded" if amp.mods else "As built") + (f" ({stands})" if stands else "")


def _edits(amp: Amp) -> Iterator[Edit]:
    for mod in amp.mods:
        yield from mod.every_edit()
    if not amp.mods:
        yield from (edit for switch in amp.switches for _, each in switch.positions for edit in each)


def _seen(pieces: Pieces, edits: Iterable[Edit]) -> set[str]:
    """Designators of the drawing to show: the stages in which something is done."""
    elements = {each.designator: each for each in pieces.elements if each.kind != "rail"}
    touched = {name for edit in edits for name in _names(edit)} & set(elements)
    own = {name for name in touched if elements[name].kind != "transformer"}
    stages = {elements[name].stage for name in own} - {"supply"}
    found = {name for name, each in elements.items() if each.stage in stages} | own
    if len(found) <= _LARGE:
        return found
    common = {net for net in _nets(elements.values()) if _is_common(pieces, net)}
    near = {net for name in own for _, net in elements[name].pins} - common
    return own | {name for name in found if any(net in near for _, net in elements[name].pins)}


def _names(edit: Edit) -> Iterator[str]:
    yield from (edit.part, edit.across, edit.in_series.partition(".")[0])
    for place in (*(edit.between or ()), *(place for _, place in edit.pins)):
        yield place.partition(".")[0]


def _nets(elements: Iterable[Element]) -> set[str]:
    return {net for each in elements for _, net in each.pins}


def _is_common(pieces: Pieces, net: str) -> bool:
    """Ground or a rail: a net that has a name of its own."""
    return any("." not in place and place != "input" for place in pieces.pieces[int(net)].places)


def _fragment(
    title: str, amp: Amp, pieces: Pieces, plans: Iterable[SwitchPlan], seen: set[str], marks: dict[str, str]
) -> Fragment:
    number = {id(piece): str(n) for n, piece in enumerate(pieces.pieces)}
    shown = _nets(each for each in pieces.elements if each.designator in seen)
    shown -= {net for net in shown if _is_common(pieces, net)}
    contacts: list[Item] = []
    for plan in plans:
        switch = next(each for each in amp.all_switches if each.control == plan.control)
        mark = "new" if any(switch in mod.switches for mod in amp.mods) else ""
        made = list(_contacts(plan, number, switch.drawn, mark))
        if any(net in shown for item in made for net in item.nets):
            contacts += made
            # What it puts in circuit belongs to it, stage or not.
            seen = seen | {edit.part for _, edits in switch.positions for edit in edits}
            seen |= {name for name, part in pieces.bought.items() if part in seen}
    items = [_item(each, pieces, marks) for each in pieces.elements if each.designator in seen] + contacts
    used = {net for item in items for _, net in item.pins}
    drawn = {item.name for item in items}
    rails, flags, ground = {}, {}, ""
    for net in sorted(used, key=int):
        places = pieces.pieces[int(net)].places
        ground = net if "ground" in places else ground
        own = [rail.name for rail in amp.rails if rail.name in places]
        outside = [place for place in places if place.partition(".")[0] not in drawn]
        if own:
            rails[net] = own[0]
        elif outside and "ground" not in places:
            flags[net] = min(outside, key=lambda place: (place[0] not in "VT", outside.index(place)))
    return Fragment(title, tuple(items), ground, rails, flags)


def _item(element: Element, pieces: Pieces, marks: dict[str, str]) -> Item:
    name = element.designator
    text = describe_part(pieces.parts[name]) if name in pieces.parts else element.kind
    if name in pieces.bought:
        text = f"{text} for {pieces.bought[name]}"
    return Item(name, element.kind, element.pins, text, marks.get(name, ""))


def _contacts(plan: SwitchPlan, number: dict[int, str], drawn: str, mark: str) -> Iterator[Item]:
    """A contact to each wired throw of every pole, with the positions that close it."""
    ends: dict[str, Piece] = dict(plan.soldered)
    closed: dict[tuple[str, str], list[str]] = {}
    for row in plan.rows:
        for pair in row.closed:
            closed.setdefault(pair, []).append(row.label)
    for (common, throw), labels in closed.items():
        pins = (("1", number[id(ends[common])]), ("2", number[id(ends[throw])]))
        text = "at " + " or ".join(labels)
        yield Item(f"{plan.designator} {throw}", "contact", pins, text, mark, drawn in labels)
