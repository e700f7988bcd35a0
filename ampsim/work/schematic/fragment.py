"""What a schematic fragment shows: the parts of the touched stages, the nets between their ends, and what is marked."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from ...circuit.amp import Amp, Edit, Switch
from ...circuit.mods import describe_part
from ...circuit.stages.template import Element
from ...circuit.switches.plan import SwitchPlan
from ...circuit.switches.wire_pieces import Pieces
from ..wiring.readback import wiring

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

    `name` is what it shows ("Stock"), `switches` how its switches stand, in words; `ground` is the net of ground.
    `rails` and `flags` give a net's words: the rail it is, or the place outside the fragment that it goes on to, ""
    where it only goes on to another piece of the drawing.
    """

    name: str
    switches: str
    items: tuple[Item, ...]
    ground: str
    rails: dict[str, str]
    flags: dict[str, str]

    @property
    def title(self) -> str:
        """Its name, with how its switches stand."""
        return f"{self.name} ({self.switches})" if self.switches else self.name


def fragments(amp: Amp) -> tuple[Fragment, Fragment]:
    """The touched stages before and after the mods of an amp (its own switches, when it has no mods).

    Raises
    ------
    DescriptionError
        As `wiring.readback.wiring`.
    """
    after = wiring(amp)
    bare = replace(amp, mods=()) if amp.mods else replace(amp, switches=())
    old, new = after.pieces_before, after.pieces
    seen = _touched_parts(old, list(_edits(amp)))
    names_before, names_after = ({each.designator for each in pieces.elements} for pieces in (old, new))
    brought, gone = names_after - names_before, names_before - names_after
    moved = {place.partition(".")[0] for place, _ in after.unsoldered} & seen
    taken = dict.fromkeys(gone, "comes out") | dict.fromkeys(moved, "one end off")
    given = dict.fromkeys(moved, "moved") | {name: f"was {was}" for name, was, _ in after.values}
    given |= dict.fromkeys(brought, "new")
    standing = ", ".join(f"{switch.control}: {switch.drawn}" for switch in amp.all_switches)
    first = _View(bare, old, after.plans_before, taken)
    # Its own switches are nothing new.
    second = _View(amp, new, after.switches, given if amp.mods else {})
    return (
        first.fragment("Stock" if amp.mods else "Without its switches", "", seen),
        second.fragment("Modded" if amp.mods else "As built", standing, (seen - gone) | brought),
    )


def _edits(amp: Amp) -> Iterator[Edit]:
    for mod in amp.mods:
        yield from mod.every_edit()
    if not amp.mods:
        yield from (edit for switch in amp.switches for _, each in switch.positions for edit in each)


def _touched_parts(pieces: Pieces, edits: Iterable[Edit]) -> set[str]:
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


@dataclass(frozen=True)
class _View:
    """An amp before or after the work, with what marks its parts: designator to words."""

    amp: Amp
    pieces: Pieces
    plans: Sequence[SwitchPlan]
    marks: Mapping[str, str]

    def fragment(self, name: str, switches: str, seen: set[str]) -> Fragment:
        """The parts of these designators, the switches that work on them, and what those put in circuit."""
        reached = self._switches_at(seen)
        shown = seen | self._parts_put_in([switch for switch, _ in reached], seen)
        items = [self._item(each) for each in self.pieces.elements if each.designator in shown]
        items += [contact for _, contacts in reached for contact in contacts]
        ground, rails, flags = self._net_names(items)
        return Fragment(name, switches, tuple(items), ground, rails, flags)

    def _switches_at(self, seen: set[str]) -> list[tuple[Switch, list[Item]]]:
        """The switches with a contact on a net of these parts that is neither ground nor a rail, and all contacts."""
        nets = _nets(each for each in self.pieces.elements if each.designator in seen)
        nets -= {net for net in nets if _is_common(self.pieces, net)}
        jumpers = {id(piece): piece for plan in self.plans for _, piece in plan.terminals if not piece.places}
        number = {id(piece): str(n) for n, piece in enumerate((*self.pieces.pieces, *jumpers.values()))}
        switches = {switch.control: switch for switch in self.amp.all_switches}
        brought = [switch for mod in self.amp.mods for switch in mod.switches]
        found = []
        for plan in self.plans:
            switch = switches[plan.control]
            contacts = list(_contacts(plan, number, switch.drawn, "new" if switch in brought else ""))
            if any(net in nets for item in contacts for net in item.nets):
                found.append((switch, contacts))
        return found

    def _parts_put_in(self, switches: Iterable[Switch], seen: set[str]) -> set[str]:
        """Parts that switches put in circuit: they belong to the drawing, whatever stage they are of."""
        shown = set(seen)
        for switch in switches:
            shown |= {edit.part for _, edits in switch.positions for edit in edits}
            shown |= {name for name, part in self.pieces.bought.items() if part in shown}
        return shown

    def _item(self, element: Element) -> Item:
        name = element.designator
        text = describe_part(self.pieces.parts[name]) if name in self.pieces.parts else element.kind
        if name in self.pieces.bought:
            text = f"{text} for {self.pieces.bought[name]}"
        return Item(name, element.kind, element.pins, text, self.marks.get(name, ""))

    def _net_names(self, items: Iterable[Item]) -> tuple[str, dict[str, str], dict[str, str]]:
        """The net of ground, and what rails and wires that go on elsewhere are called."""
        items = list(items)
        drawn = {item.name for item in items}
        rails, flags, ground = {}, {}, ""
        for net in sorted({net for item in items for net in item.nets}, key=int):
            # A wire between two terminals of a switch comes after the pieces of the amp.
            places = next((piece.places for piece in self.pieces.pieces[int(net) :]), ())
            rail = next((rail.name for rail in self.amp.rails if rail.name in places), "")
            outside = [place for place in places if place.partition(".")[0] not in drawn]
            if "ground" in places:
                ground = net
            if rail:
                rails[net] = rail
            elif outside and "ground" not in places:
                flags[net] = self._best_known(outside)
        return ground, rails, flags

    def _best_known(self, places: Sequence[str]) -> str:
        """The place of a net that a person would look for: at a valve or a transformer, else the first."""
        large = {each.designator for each in self.pieces.elements if each.kind in ("valve", "transformer")}
        return next((place for place in places if place.partition(".")[0] in large), places[0])


def _contacts(plan: SwitchPlan, number: dict[int, str], drawn: str, mark: str) -> Iterator[Item]:
    """A contact to each wired throw of every pole, with the positions that close it."""
    ends = plan.soldered
    closed: dict[tuple[str, str], list[str]] = {}
    for row in plan.rows:
        for pair in row.closed:
            closed.setdefault(pair, []).append(row.label)
    for (common, throw), labels in closed.items():
        pins = (("1", number[id(ends[common])]), ("2", number[id(ends[throw])]))
        text = "at " + " or ".join(labels)
        yield Item(f"{plan.designator} {throw}", "contact", pins, text, mark, drawn in labels)
