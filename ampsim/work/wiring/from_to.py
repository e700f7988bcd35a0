"""The from-to list: what is unsoldered, and which lead or wire goes from which place to which."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from ...circuit.amp import Amp, AnyPart, Switch
from ...circuit.mods import describe_part
from ...circuit.switches.plan import SwitchPlan, plan_switch
from ...circuit.switches.planning import order_needed
from ...circuit.switches.wire_pieces import FIXED, Pieces, find_pieces

_UNNAMED = 10_000  # comes after every place that an edit names


@dataclass(frozen=True)
class Wire:
    """One connection made: `start` and `end` are places; `what` is "wire" or whose lead it is."""

    start: str
    end: str
    what: str


@dataclass(frozen=True, eq=False)
class Wiring:
    """How a mod is wired.

    Attributes
    ----------
    amp : Amp
        The amp with its mods.
    before : tuple of tuple of str
        The places that are soldered together before work begins: the amp without its mods.
    unsoldered : tuple of (place, from)
        Leads and wires taken off, each with a place where it was.
    taken_out : tuple of str
        Parts that come out for good.
    wires : tuple of Wire
        What is soldered, in an order to work in.
    switches : tuple of SwitchPlan
        Every switch of the amp and its mods, with its contact truth table.
    parts : mapping of str to part
        The parts after the work, each with one value; `bought` names those that a switch puts in another's place.
    kinds : mapping of str to (kind, pins, stage)
    values : tuple of (designator, before, after)
        Parts replaced for good by one of another value.
    pieces, pieces_before, plans_before
        What the list was made from: pieces of wire after and before, and the switches before.
    """

    amp: Amp
    before: tuple[tuple[str, ...], ...]
    unsoldered: tuple[tuple[str, str], ...]
    taken_out: tuple[str, ...]
    wires: tuple[Wire, ...]
    switches: tuple[SwitchPlan, ...]
    parts: dict[str, AnyPart]
    bought: dict[str, str]
    kinds: dict[str, tuple[str, tuple[str, ...], str]]
    values: tuple[tuple[str, str, str], ...]
    pieces: Pieces
    pieces_before: Pieces
    plans_before: tuple[SwitchPlan, ...]

    @property
    def unrealised(self) -> tuple[SwitchPlan, ...]:
        """Switches that no usual switch does."""
        return tuple(each for each in self.switches if not each.kind)


def list_wiring(amp: Amp, base: tuple[tuple[str, str], ...] = ()) -> Wiring:
    """List how the mods of an amp are wired (without mods, how its own switches are), not yet read back.

    Raises
    ------
    DescriptionError
        When a switch changes what no switch can, or two switches work on the same part or wire.
    """
    after = find_pieces(amp, base)
    bare = replace(amp, mods=()) if amp.mods else replace(amp, switches=())
    before = find_pieces(bare)
    plans = tuple(_plan(amp, switch, after) for switch in amp.all_switches)
    plans_before = tuple(_plan(bare, switch, before) for switch in bare.all_switches)
    change = _Change(
        _places_of_pieces(before, plans_before),
        _places_of_pieces(after, plans),
        frozenset(f"{each.designator}.{terminal}" for each in plans for terminal in each.soldered),
        _named_places(amp),
    )
    gone = change.gone - {each.designator for each in plans}
    unsoldered = tuple(change.unsoldered(gone))
    return Wiring(
        amp,
        tuple(tuple(each) for each in change.old),
        unsoldered,
        tuple(sorted(gone)),
        tuple(sorted(change.wires({place for place, _ in unsoldered}), key=_working_order)),
        plans,
        dict(after.parts),
        dict(after.bought),
        {each.designator: (each.kind, tuple(pin for pin, _ in each.pins), each.stage) for each in after.elements},
        tuple(_values(before, after)),
        after,
        before,
        plans_before,
    )


@dataclass(frozen=True)
class _Change:
    """Places soldered together before and after the work, the terminals of switches among them, those a mod names."""

    old: Sequence[Sequence[str]]
    new: Sequence[Sequence[str]]
    terminals: frozenset[str]
    named: Mapping[str, int]

    @cached_property
    def known(self) -> set[str]:
        """Places that are there before the work."""
        return {place for places in self.old for place in places}

    @cached_property
    def there(self) -> set[str]:
        """Places that are there after the work."""
        return {place for places in self.new for place in places}

    @property
    def gone(self) -> set[str]:
        """What comes out: parts and switches of which a place is not there after the work."""
        return {place.partition(".")[0] for place in self.known - self.there}

    def unsoldered(self, gone: set[str]) -> Iterator[tuple[str, str]]:
        """Leads and wires taken off, each with a place where it was; not those of what comes out."""
        for places in self.old:
            main, others = _split(places, self.new)
            for place in others:
                if place.partition(".")[0] not in gone:
                    yield place, _spot(main, self.named, self.terminals)

    def wires(self, unsoldered: set[str]) -> Iterator[Wire]:
        """What is soldered: to the largest part of each new piece of wire that is together already, all the others."""
        loose = unsoldered | (self.there - self.known)
        for places in self.new:
            chunks = _chunks(places, self.old, loose)
            hub, *rest = sorted(chunks, key=lambda chunk: (-len(chunk), chunk[0] not in self.known))
            for chunk in rest:
                spots = [_spot(each, self.named, self.terminals) for each in (chunk, hub)]
                yield self._wire(*spots)

    def _wire(self, start: str, end: str) -> Wire:
        for place, other in ((start, end), (end, start)):
            name, _, pin = place.partition(".")
            if pin and place not in self.known and place not in self.terminals:
                return Wire(place, other, f"lead of {name}")
        return Wire(start, end, "wire")


def soldered_to(found: Wiring, switch: SwitchPlan, terminal: str) -> str:
    """Where a terminal of a switch goes by the list; one wired before the work, to a place of its piece of wire."""
    reached = [f"{switch.designator}.{terminal}"]
    for place in reached:
        for each in found.wires:
            # Leads that are soldered to a lead stand on the same terminal.
            if place in (each.start, each.end) and (place == reached[0] or each.what != "wire"):
                other = each.end if each.start == place else each.start
                reached += [other] if other not in reached else []
    return " and ".join(reached[1:]) or _spot(switch.soldered[terminal].places, _named_places(found.amp))


def _plan(amp: Amp, switch: Switch, pieces: Pieces) -> SwitchPlan:
    joints = [joint for joint in pieces.joints if joint.control == switch.control]
    return plan_switch(switch, joints, order_needed(amp, switch))


def _places_of_pieces(pieces: Pieces, plans: Iterable[SwitchPlan]) -> list[list[str]]:
    """The places of every piece, the terminals of the switches included."""
    found = {id(piece): list(piece.places) for piece in pieces.pieces}
    for each in plans:
        for terminal, piece in each.soldered.items():
            found.setdefault(id(piece), []).append(f"{each.designator}.{terminal}")
    return list(found.values())


def _split(places: Sequence[str], new: Sequence[Sequence[str]]) -> tuple[list[str], list[str]]:
    """What of a piece stays together (where ground or most places are), and what comes off."""
    groups = [[place for place in places if place in each] for each in map(set, new)]
    gone = [place for place in places if not any(place in group for group in groups)]
    main = max(groups, key=lambda group: (any(fixed in group for fixed in FIXED), len(group)))
    stays = set(main)
    return main or gone, [place for place in places if place not in stays]


def _chunks(places: Sequence[str], old: Sequence[Sequence[str]], loose: set[str]) -> list[list[str]]:
    """What of a new piece is soldered together already; places that are loose stand alone."""
    held = [[place for place in each if place in places and place not in loose] for each in old]
    return [chunk for chunk in held if chunk] + [[place] for place in places if place in loose]


def _named_places(amp: Amp) -> dict[str, int]:
    """Places that the edits name, in their order: those a person would solder to."""
    edits = [edit for mod in amp.mods for edit in mod.every_edit()]
    edits += [edit for switch in amp.switches for _, each in switch.positions for edit in each]
    found: list[str] = []
    for edit in edits:
        found += [*(edit.between or ()), *(place for _, place in edit.pins)]
        found += [edit.in_series] if edit.in_series else []
        found += [f"{edit.across}.{pin}" for pin in ("1", "2", "top", "bottom")] if edit.across else []
    return {place: number for number, place in reversed(list(enumerate(found)))}


def _spot(chunk: Sequence[str], named: Mapping[str, int], terminals: Container[str] = ()) -> str:
    """The place of a piece that is soldered to: one the mod names, else the first that is no terminal of a switch."""
    return min(chunk, key=lambda place: (named.get(place, _UNNAMED), place in terminals, chunk.index(place)))


def _working_order(wire: Wire) -> tuple[bool, str, str]:
    return (wire.what == "wire", wire.what, wire.start)


def _values(earlier: Pieces, after: Pieces) -> Iterable[tuple[str, str, str]]:
    """Parts that stay in their place with another value: designator, before, after."""
    for name, part in after.parts.items():
        known = earlier.parts.get(name)
        if known is not None and known != part:
            yield name, describe_part(known), describe_part(part)
