"""A switch on its way: one circuit that holds what both positions have, with contacts that open and close."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import count

from ...base.errors import DescriptionError, nearest, shown
from ..amp import Amp, AnyPart, Part, Pot
from ..build import Circuit, build_circuit
from ..nets import INPUT, conducting, tied_together
from ..stages.template import GROUND, Element

SIDES = ("before", "after")
_STAYS = ("valve", "transformer", "rail")
_Piece = tuple[str, str]  # a piece of wire: its net before and its net after the switch moves


@dataclass(frozen=True)
class ContactData:
    """How good contacts are, and what keeps a capacitor behind an open one from holding a charge for ever.

    `on` and `off` [ohm] of a contact, closed and open; `leak` [ohm] across every capacitor that hangs on an open
    contact: a hundredth of `off`, so that such a capacitor stands discharged and not at what the open contact lets
    through. `bleed` [ohm], when given, lies across every contact behind which a capacitor hangs and keeps it charged.
    The numbers are assumptions: common practice, no source.
    """

    on: float = 0.01
    off: float = 1e12
    leak: float = 1e10
    bleed: float | None = None

    def __post_init__(self) -> None:
        bleed = self.leak if self.bleed is None else self.bleed
        if not 1e-6 <= self.on <= 1e3 < bleed <= self.leak < self.off <= 1e15:
            raise DescriptionError(
                f"contacts of {shown(self.on)} ohm closed and {shown(self.off)} ohm open, leak {shown(self.leak)} ohm, "
                f"bleed {shown(self.bleed)} ohm; expected 1e-6 to 1000 ohm < bleed <= leak < open <= 1e15 ohm"
            )


@dataclass(frozen=True)
class Contact:
    """One contact of a switch: closed "before" it moves or "after"; `on` and `off` [ohm]."""

    designator: str
    closed: str
    on: float
    off: float

    def ohms(self, closed: Collection[str]) -> float:
        """What it is [ohm] where those are closed that are so "before" a movement, "after" it, both or neither."""
        return self.on if self.closed in closed else self.off


@dataclass(frozen=True, eq=False)
class MovingCircuit(Circuit):
    """What two positions of a switch have, in one circuit; at rest its contacts stand as before the movement.

    `contacts` by designator; `held` names the capacitors that hang on open contacts.
    """

    contacts: Mapping[str, Contact] = field(default_factory=dict)
    held: tuple[str, ...] = ()


@lru_cache(maxsize=256)
def moving(
    amp: Amp, switches: tuple[tuple[str, str], ...], control: str, to: str, data: ContactData | None = None
) -> MovingCircuit:
    """Wire an amp up with one switch ready to move.

    Both positions are wired by `circuit`, so mods and switches mean here what they mean there. Places that are one
    piece of wire in both positions stay one; a contact joins two pieces wherever one position has them together. A
    part that only one position has keeps one end (or several, where the other position shorts them) soldered.

    Parameters
    ----------
    amp : Amp
    switches : tuple of (control, position)
        Where the switches stand before; those not given stand as drawn.
    control, to : str
        The switch that moves, and the position it moves to.
    data : ContactData

    Raises
    ------
    DescriptionError
        For no such switch or position, for a switch that stays where it is or changes a valve or a transformer, and
        when a position cannot be wired up.
    """
    stands = dict(switches)
    known = {switch.control: switch for switch in amp.all_switches}
    if control not in known:
        raise DescriptionError(f"{amp.name}: no switch {shown(control)}{nearest(control, known)}")
    start = stands.get(control, known[control].drawn)
    for position in (start, to):
        if position not in known[control].labels:
            raise DescriptionError(
                f"{amp.name}: switch '{control}' has no position {shown(position)}"
                f"{nearest(position, known[control].labels)}"
            )
    if start == to:
        raise DescriptionError(f"{amp.name}: switch '{control}' stands at {shown(to)} already; nothing moves")
    sides = tuple(build_circuit(amp, tuple(sorted((stands | {control: each}).items()))) for each in (start, to))
    return _Union((sides[0], sides[1]), known[control].designator).wired(data or ContactData())


class _Union:
    """Two circuits laid over one another."""

    def __init__(self, sides: tuple[Circuit, Circuit], switch: str) -> None:
        self.sides, self.switch = sides, switch
        elements = [{element.designator: element for element in side.elements} for side in sides]
        self.both = [name for name in elements[0] if self._same(name, elements)]
        self.only = [[each for name, each in found.items() if name not in self.both] for found in elements]
        for element in (*self.only[0], *self.only[1]):
            if element.kind in _STAYS:
                raise DescriptionError(
                    f"{sides[0].amp.name}: switch {switch} changes {element.designator}; a {element.kind} is not "
                    "changed while the amp is on, so there is no pop to work out"
                )
        self.pins = {
            (0, name, pin): (net, elements[1][name].net(pin))
            for name in self.both
            for pin, net in elements[0][name].pins
        }
        self.anchors = (self._anchors(0), self._anchors(1))
        self.loose = count(1)
        for side in (0, 1):
            for cluster in self._clusters(side):
                self._solder(side, cluster)

    def _same(self, name: str, elements: list[dict[str, Element]]) -> bool:
        if name not in elements[1] or self.sides[0].parts.get(name) != self.sides[1].parts.get(name):
            return False
        return [pin for pin, _ in elements[0][name].pins] == [pin for pin, _ in elements[1][name].pins]

    def _anchors(self, side: int) -> dict[str, _Piece]:
        """The main piece of every net of one side: ground and input, else the one with most pins."""
        sizes: dict[_Piece, int] = {(GROUND, GROUND): 1000, (INPUT, INPUT): 1000}
        for piece in self.pins.values():
            sizes[piece] = sizes.get(piece, 0) + 1
        rising = sorted(sizes, key=lambda piece: (sizes[piece], piece[0] == piece[1], piece))
        return {piece[side]: piece for piece in rising}

    def _clusters(self, side: int) -> Iterator[list[Element]]:
        """Parts that one side alone has, those together that nets of their own tie together."""
        own = {element.designator: element for element in self.only[side]}
        nets_of = {name: [net for _, net in each.pins if net not in self.anchors[side]] for name, each in own.items()}
        yield from ([own[name] for name in cluster] for cluster in tied_together(nets_of))

    def _solder(self, side: int, cluster: list[Element]) -> None:
        """Give every pin of a cluster its piece: those that one net of the other side would short stay soldered."""
        anchors = self.anchors[side]
        ends = {net for element in cluster for _, net in element.pins if net in anchors}
        groups: dict[str, set[str]] = {}
        for net in ends:
            groups.setdefault(anchors[net][1 - side], set()).add(net)
        chosen = max(groups, key=lambda far: (len(groups[far]), far == GROUND, far), default="")
        # Free ends on one net, whose parts the other side shorts at one net, stand on one lug as they are wired.
        own = f"*{side} {chosen or next(self.loose)}"
        for element in cluster:
            for pin, net in element.pins:
                apart = (net, own) if side == 0 else (own, net)
                soldered = net in groups.get(chosen, ())
                self.pins[side, element.designator, pin] = anchors[net] if soldered else apart

    def wired(self, data: ContactData) -> MovingCircuit:
        """The union with its contacts, leaks and bleeds."""
        names = self._names()
        elements, parts = self._elements(names)
        contacts = {
            f"{self.switch}_{number}": (Contact(f"{self.switch}_{number}", closed, data.on, data.off), ends)
            for number, (closed, *ends) in enumerate(self._joints(names), 1)
        }
        joints = [(contact.closed, _two_pin(name, "contact", *ends)) for name, (contact, ends) in contacts.items()]
        hanging = {
            closed: _hanging([*elements, *(_bridge(joint) for when, joint in joints if when == closed)])
            for closed in SIDES
        }
        loose = hanging["before"] | hanging["after"]
        held = [e for e in elements if e.kind == "capacitor" and any(net in loose for _, net in e.pins)]
        added = [(f"RL_{each.designator}", data.leak, tuple(net for _, net in each.pins)) for each in held]
        if data.bleed is not None:
            charged = _reached(elements, held)
            for closed, joint in joints:
                open_side = SIDES[SIDES.index(closed) - 1]
                ends = tuple(net for _, net in joint.pins)
                if any(net in hanging[open_side] and net in charged for net in ends):
                    added.append((f"RB_{joint.designator}", data.bleed, ends))
        elements += [joint for _, joint in joints]
        for name, ohms, (first, second) in added:
            elements.append(_two_pin(name, "resistor", first, second))
            parts[name] = Part(name, "resistor", ohms)
        found = {name: contact for name, (contact, _) in contacts.items()}
        outputs = {name: names[self._piece(net)] for name, net in self.sides[0].outputs.items()}
        designators = tuple(each.designator for each in held)
        return MovingCircuit(self.sides[0].amp, tuple(elements), (), parts, outputs, contacts=found, held=designators)

    def _piece(self, net: str) -> _Piece:
        return self.anchors[0].get(net) or next(piece for piece in self.pins.values() if piece[0] == net)

    def _names(self) -> dict[_Piece, str]:
        """A net's name for every piece: the main piece of a net keeps it."""
        names = {piece: net for net, piece in self.anchors[0].items()}
        taken = {net for piece in self.pins.values() for net in piece} | set(names.values())
        for piece in dict.fromkeys(self.pins.values()):
            if piece not in names:
                base = piece[1] if piece[0].startswith("*") else piece[0]
                names[piece] = next(name for n in count(1) if (name := f"{base}_piece{n}") not in taken)
                taken.add(names[piece])
        return names

    def _elements(self, names: Mapping[_Piece, str]) -> tuple[list[Element], dict[str, AnyPart]]:
        parts = dict(self.sides[0].parts)
        before = list(self.sides[0].elements)
        elements = [self._placed(0, element, element.designator, names) for element in before]
        taken = {element.designator for element in before}
        for element in self.only[1]:
            name = f"{element.designator}_after" if element.designator in taken else element.designator
            elements.append(self._placed(1, element, name, names))
            part = self.sides[1].parts[element.designator]
            parts[name] = replace(part, designator=name) if isinstance(part, (Part, Pot)) else part
        return elements, parts

    def _placed(self, side: int, element: Element, name: str, names: Mapping[_Piece, str]) -> Element:
        pins = tuple((pin, names[self.pins[side, element.designator, pin]]) for pin, _ in element.pins)
        return replace(element, designator=name, pins=pins)

    def _joints(self, names: Mapping[_Piece, str]) -> Iterator[tuple[str, str, str]]:
        """Which pieces a contact joins, and when it is closed: every piece of a net with its main piece."""
        for side, closed in enumerate(SIDES):
            for piece in dict.fromkeys(self.pins.values()):
                main = self.anchors[side].get(piece[side], piece)
                if piece != main:
                    yield closed, names[main], names[piece]


def _bridge(joint: Element) -> Element:
    return replace(joint, kind="resistor")


def _hanging(elements: Iterable[Element]) -> set[str]:
    """Nets without a DC path to ground."""
    paths = conducting(elements)
    return {net for element in elements for _, net in element.pins if paths.find(net) != GROUND}


def _reached(elements: list[Element], held: Iterable[Element]) -> set[str]:
    """Nets that have a DC path to a held capacitor as long as every contact is open."""
    paths = conducting(elements)
    ends = {paths.find(net) for element in held for _, net in element.pins}
    return {net for element in elements for _, net in element.pins if paths.find(net) in ends}


def _two_pin(designator: str, kind: str, first: str, second: str) -> Element:
    return Element(designator, kind, (("1", first), ("2", second)), "switch")
