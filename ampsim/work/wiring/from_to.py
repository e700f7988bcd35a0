"""The from-to list: what is unsoldered, and which lead or wire goes from which place to which."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from ...circuit.amp import Amp, AnyPart
from ...circuit.designators import part_of
from ...circuit.mods import describe_part
from ...circuit.switches.plan import SwitchPlan
from ...circuit.switches.planning import plan_switches
from ...circuit.switches.wire_pieces import FIXED, Pieces, find_pieces
from ..new_parts import describe_bought
from .joining import Joining, SolderedPair
from .nearest_lug import Neighbourhood
from .wanted_lugs import WantedLugs, edits_of, wanted_lugs

_LEADED = ("resistor", "capacitor", "inductor", "diode")


@dataclass(frozen=True)
class Wire:
    """One connection made: `start` and `end` are places; `what` is "wire", "strap" or whose lead it is."""

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
        Parts that another takes the place of for good, lug for lug: of another value, or a pot with a switch on it.
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
    plans = plan_switches(amp, after)
    # A switch of the drawing that is left nothing to do stays as it is wired.
    idle = {each.designator for each in plans if not each.soldered}
    plans_before = tuple(each for each in plan_switches(bare, before) if each.designator not in idle)
    terminals = {f"{each.designator}.{terminal}" for each in plans for terminal in each.soldered}
    there = Neighbourhood(amp, before, after, terminals)
    old, new = _places_of_pieces(before, plans_before), _places_of_pieces(after, plans)
    known, stay = ({place for places in each for place in places} for each in (old, new))
    # What comes out: parts of which a place is not there after the work.
    gone = {part_of(place) for place in known - stay} - {each.designator for each in plans}
    opened = {lug for edit in edits_of(amp) for lug in edit.opened}
    unsoldered = tuple(_unsoldered(old, new, gone, opened, there))
    joining = Joining(old, new, {place for place, _ in unsoldered} | (stay - known), plans, there)
    wants = [*wanted_lugs(amp, before, after), *(WantedLugs(lead, at, (part_of(at),)) for lead, at in unsoldered)]
    return Wiring(
        amp,
        tuple(tuple(each) for each in old),
        unsoldered,
        tuple(sorted(gone)),
        tuple(sorted((_wire(pair, known, there) for pair in joining.pairs(wants)), key=_working_order)),
        plans,
        dict(after.parts),
        dict(after.bought),
        {each.designator: (each.kind, tuple(pin for pin, _ in each.pins), each.stage) for each in after.elements},
        tuple(_exchanged(amp, before, after)),
        after,
        before,
        plans_before,
    )


def _unsoldered(
    old: Sequence[Sequence[str]],
    new: Sequence[Sequence[str]],
    gone: Collection[str],
    opened: Collection[str],
    there: Neighbourhood,
) -> Iterator[tuple[str, str]]:
    """Leads and wires taken off, each with a place where it was; not those of what comes out."""
    for places in old:
        main, others = _split(places, new, opened)
        for place in others:
            if part_of(place) not in gone:
                yield place, there.nearest(main, (part_of(place),))


def _wire(pair: SolderedPair, known: Collection[str], there: Neighbourhood) -> Wire:
    """A pair of places as a line of the list: the lead of a new part first, a wire from a terminal on."""
    if pair.strap:
        return Wire(pair.start, pair.end, "strap")
    for start, end in ((pair.start, pair.end), (pair.end, pair.start)):
        element = there.elements.get(part_of(start))
        if element is not None and element.kind in _LEADED and start not in known and start not in there.terminals:
            return Wire(start, end, f"lead of {element.designator}")
    start, end = sorted((pair.start, pair.end), key=lambda place: (place not in there.terminals, place in known))
    return Wire(start, end, "wire")


def soldered_to(found: Wiring, switch: SwitchPlan, terminal: str) -> str:
    """Where a terminal of a switch goes by the list; one wired before the work, to a place of its piece of wire.

    Terminals of the switch itself go by their names alone, so a rail, which may be called B1 too, is said to be one.
    """
    own = f"{switch.designator}.{terminal}"
    pairs = [(each.start, each.end) for each in found.wires if own in (each.start, each.end)]
    others = [end if start == own else start for start, end in pairs] or switch.soldered[terminal].places[:1]
    rails = {rail.name for rail in found.amp.rails}
    names = [f"rail {each}" if each in rails else each.removeprefix(f"{switch.designator}.") for each in others]
    return " and ".join(names) or "nothing"


def _places_of_pieces(pieces: Pieces, plans: Iterable[SwitchPlan]) -> list[list[str]]:
    """The places of every piece, the terminals of the switches included."""
    found = {id(piece): list(piece.places) for piece in pieces.pieces}
    for each in plans:
        for terminal, piece in each.soldered.items():
            found.setdefault(id(piece), []).append(f"{each.designator}.{terminal}")
    return list(found.values())


def _split(places: Sequence[str], new: Sequence[Sequence[str]], opened: Collection[str]) -> tuple[list[str], list[str]]:
    """What of a piece stays together, and what comes off.

    Ground stays, and the places at which no wire is opened, most of them.
    """
    groups = [[place for place in places if place in each] for each in map(set, new)]
    gone = [place for place in places if not any(place in group for group in groups)]
    stay = set(opened)
    main = max(groups, key=lambda group: (any(f in group for f in FIXED), len(set(group) - stay), len(group)))
    stays = set(main)
    return main or gone, [place for place in places if place not in stays]


def _working_order(wire: Wire) -> tuple[bool, str, str]:
    return (wire.what == "wire", wire.what, wire.start)


def _exchanged(amp: Amp, before: Pieces, after: Pieces) -> Iterable[tuple[str, str, str]]:
    """Parts that another takes the place of, lug for lug: one of another value, or a pot with a switch on its shaft."""
    shafts = {switch.shaft for mod in amp.mods for switch in mod.switches}
    for name, part in after.parts.items():
        known = before.parts.get(name)
        if known is not None and (known != part or name in shafts):
            yield name, describe_part(known), describe_bought(amp, part)
