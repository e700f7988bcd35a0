"""Pieces of wire: which part ends stay together in every position, and which pieces a switch joins in which."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import count

from ...base.errors import DescriptionError
from ..amp import Amp, AnyPart, Part, Pot, Switch
from ..build import Circuit, build_circuit
from ..mods import touches
from ..nets import INPUT, tied_together
from ..replacing import put_in_place
from ..stages.template import GROUND, Element

FIXED = ("ground", INPUT)
_STAYS = ("valve", "transformer", "rail")


@dataclass(frozen=True)
class SwitchStand:
    """How the switches stand: all as in the base, or one of them (`control`) at another position (`label`)."""

    control: str
    label: str
    circuit: Circuit


@dataclass(frozen=True, eq=False)
class Piece:
    """Places soldered together; `nets` has the net they are on in each stand, None where their parts are not in use."""

    places: tuple[str, ...]
    nets: tuple[str | None, ...]


@dataclass(frozen=True, eq=False)
class Joint:
    """Two pieces that one switch joins in some of its positions."""

    ends: tuple[Piece, Piece]
    control: str
    labels: frozenset[str]


@dataclass(frozen=True, eq=False)
class Pieces:
    """An amp taken apart: parts as bought (another value is another part), pieces of wire, joints of every switch.

    `elements` holds each part once, its pins on piece numbers written as text; `bought` maps the name of a part that
    a switch puts in place of another to the designator of the drawing.
    """

    parts: Mapping[str, AnyPart]
    elements: tuple[Element, ...]
    pieces: tuple[Piece, ...]
    joints: tuple[Joint, ...]
    bought: Mapping[str, str]


def find_pieces(amp: Amp, base: tuple[tuple[str, str], ...] = ()) -> Pieces:
    """Find the pieces of wire of an amp and what its switches join.

    Every switch is moved on its own with the others as in `base` (those not given as drawn); what several do
    together is checked by `readback`. The
    idea is that of `moving.moving`, for any number of positions: places that are together in every position are
    one piece, and parts that only some positions have stay soldered where the others would short their ends. Parts
    that are in use in the same positions share a lug where they hang on one net in all others.

    Raises
    ------
    DescriptionError
        When a switch changes a valve or a transformer, or two switches work on the same part or wire.
    """
    _refuse_shared(amp)
    return _PieceFinder(amp, {switch.control: switch.drawn for switch in amp.all_switches} | dict(base)).pieces()


def _refuse_shared(amp: Amp) -> None:
    """Refuse what `apply` refuses of two mods: two switches that change the same part or open the same wire."""
    takers: dict[str, str] = {}
    for switch in amp.all_switches:
        for name in {name for _, edits in switch.positions for edit in edits for name in touches(edit)}:
            if takers.setdefault(name, switch.designator) != switch.designator:
                raise DescriptionError(
                    f"{amp.name}: switches {takers[name]} and {switch.designator} both change {name}; "
                    "what they do together is not said"
                )


def switch_stands(amp: Amp, base: Mapping[str, str]) -> list[SwitchStand]:
    """All as in the base first, then each switch at each of its other positions."""
    stands = [SwitchStand("", "", build_circuit(amp, tuple(base.items())))]
    for switch in amp.all_switches:
        for label in switch.labels:
            if label != base[switch.control]:
                moved = {**base, switch.control: label}
                stands.append(SwitchStand(switch.control, label, build_circuit(amp, tuple(moved.items()))))
    return stands


class _PieceFinder:
    def __init__(self, amp: Amp, base: Mapping[str, str]) -> None:
        self.amp, self.base = amp, base
        self.stands = switch_stands(amp, base)
        self.parts: dict[str, AnyPart] = {}
        self.bought: dict[str, str] = {}
        self.kinds: dict[str, Element] = {}
        self.pins: dict[str, dict[int, Mapping[str, str]]] = {}
        self.own = self._own_parts()
        for number, stand in enumerate(self.stands):
            for element in stand.circuit.elements:
                name = self._name(element, stand)
                self.kinds.setdefault(name, replace(element, designator=name))
                self.pins.setdefault(name, {})[number] = dict(element.pins)
        self.sizes: dict[tuple[str, ...], int] = {}
        self.members: dict[tuple[tuple[str | None, ...], object], list[str]] = {}

    def _name(self, element: Element, stand: SwitchStand) -> str:
        """The part's own name: a part that a switch gives another value is another part."""
        designator = element.designator
        part = stand.circuit.parts.get(designator)
        if part is None:
            return designator
        for name in (designator, *(each for each, old in self.bought.items() if old == designator)):
            known = self.parts.get(name, self.own.get(name))
            if known is None or replace(known, designator=designator) == part:
                self.parts.setdefault(name, part)
                return name
        if not isinstance(part, (Part, Pot)):
            switch = next(each.designator for each in self.amp.all_switches if each.control == stand.control)
            raise DescriptionError(
                f"{self.amp.name}: switch {switch} changes {designator}; no switch exchanges a {part.kind}"
            )
        taken = {*self.parts, *self.amp.part_by_designator}
        name = next(each for letter in _letters() if (each := f"{designator}{letter}") not in taken)
        self.parts[name], self.bought[name] = replace(part, designator=name), designator
        return name

    def _own_parts(self) -> dict[str, AnyPart]:
        """Parts as they are without a switch, where some position has them so: they keep the designator."""
        own = dict(self.amp.part_by_designator)
        for edit in (edit for mod in self.amp.mods for edit in mod.edits):
            part = own.get(edit.part)
            put_in = put_in_place(part, edit) if part is not None and edit.action == "replace" else None
            if put_in is not None:
                own[edit.part] = put_in
        used = [(each.designator, stand.circuit.parts.get(each.designator))
                for stand in self.stands for each in stand.circuit.elements]  # fmt: skip
        return {name: part for name, part in used if isinstance(part, (Part, Pot)) and part == own.get(name)}

    def pieces(self) -> Pieces:
        every = range(len(self.stands))
        for name, pins in self.pins.items():
            if len(pins) == len(every):
                for pin in pins[0]:
                    self._add(tuple(pins[k][pin] for k in every), f"{name}.{pin}")
        for place, net in (("ground", GROUND), (INPUT, INPUT)):
            self._add((net,) * len(every), place, 1000)
        for rail in self.amp.rails:
            self._add(tuple(stand.circuit.net_by_place[rail.name] for stand in self.stands), rail.name)
        first = self.stands[0].circuit
        if first.entry != INPUT:  # what is plugged in is no part of the amp: the wire at its jack has a name of its own
            self._add(tuple(stand.circuit.entry for stand in self.stands), f"{first.jacks[0].name} jack")
        for place in self._bridged_lugs():
            self._add(tuple(stand.circuit.net_by_place[place] for stand in self.stands), place)
        self.anchors = [self._anchors(k) for k in every]
        for cluster in self._clusters():
            self._solder(cluster)
        return self._all_pieces()

    def _add(self, nets: tuple[str, ...], place: str, size: int = 1) -> None:
        self.sizes[nets] = self.sizes.get(nets, 0) + size
        self.members.setdefault((nets, None), []).append(place)

    def _bridged_lugs(self) -> list[str]:
        """The lugs of what is bridged for good: it carries no current any more, and stays where it is."""
        doings = [edit for mod in self.amp.mods for edit in mod.edits]
        bridged, lifted = ({edit.part for edit in doings if edit.action == word} for word in ("bridge", "lift"))
        names = bridged - lifted - self.pins.keys()
        idle = {each.designator: each for each in self.stands[0].circuit.removed if each.designator in names}
        return [f"{name}.{pin}" for name, each in idle.items() for pin, _ in each.pins]

    def _anchors(self, stand: int) -> dict[str, tuple[str, ...]]:
        """The main piece of every net in one stand: ground and input, else the one with most pins."""
        rising = sorted(self.sizes, key=lambda nets: (self.sizes[nets], len(set(nets)) == 1, nets))
        return {nets[stand]: nets for nets in rising}

    def _clusters(self) -> Iterator[list[str]]:
        """Parts that some positions do not have, those together that nets of their own tie together."""
        some = [name for name, pins in self.pins.items() if len(pins) < len(self.stands)]
        nets_of: dict[str, list[str]] = {}
        for name in some:
            if self.kinds[name].kind in _STAYS:
                raise DescriptionError(
                    f"{self.amp.name}: a switch takes {name} out of the circuit; no switch does that to a "
                    f"{self.kinds[name].kind}{self._instead(name)}"
                )
            uses = tuple(self.pins[name])
            nets_of[name] = [
                f"{k} {uses} {net}"
                for k, pins in self.pins[name].items()
                for net in pins.values()
                if net not in self.anchors[k]
            ]
        yield from tied_together(nets_of)

    def _instead(self, name: str) -> str:
        """What a switch does in the place of pulling a valve: it breaks the wire at its cathode."""
        pins = next(iter(self.pins[name].values()))
        if "cathode" not in pins:
            return ""
        foot = "ground" if pins["cathode"] == GROUND else "..."
        return f'; for half power it breaks its cathode: {{ cut = ["{name}.cathode", "{foot}"] }}'

    def _solder(self, cluster: list[str]) -> None:
        """Give the pins of a cluster their pieces: those that all other stands would short stay soldered."""
        uses = tuple(self.pins[cluster[0]])
        spare = [k for k in range(len(self.stands)) if k not in uses]
        ends = {
            (name, pin): self._end({k: self.pins[name][k][pin] for k in uses})
            for name in cluster
            for pin in self.pins[name][uses[0]]
        }
        groups: dict[tuple[str, ...], set[tuple[str, ...]]] = {}
        for nets in ends.values():
            if nets:
                groups.setdefault(tuple(nets[k] for k in spare), set()).add(nets)
        chosen = max(groups, key=lambda far: (len(groups[far]), set(far) == {GROUND}, far), default=())
        for (name, pin), nets in ends.items():
            own = tuple(self.pins[name][k][pin] if k in uses else None for k in range(len(self.stands)))
            soldered = nets in groups.get(chosen, ())
            key = (nets, None) if nets and soldered else (own, (uses, chosen))
            self.members.setdefault(key, []).append(f"{name}.{pin}")

    def _end(self, nets: Mapping[int, str]) -> tuple[str, ...] | None:
        """The piece always in use that is on these nets; its main pieces come first."""
        fitting = [each for each in self.sizes if all(each[k] == net for k, net in nets.items())]
        main = [each for each in fitting if any(self.anchors[k][net] == each for k, net in nets.items())]
        return max(main or fitting, key=lambda each: (self.sizes[each], each), default=None)

    def _all_pieces(self) -> Pieces:
        pieces = [Piece(tuple(places), nets) for (nets, _), places in self.members.items()]
        number = {place: str(n) for n, piece in enumerate(pieces) for place in piece.places}
        elements = tuple(
            replace(element, pins=tuple((pin, number[f"{name}.{pin}"]) for pin, _ in element.pins))
            for name, element in self.kinds.items()
        )
        return Pieces(self.parts, elements, tuple(pieces), tuple(self._joints(pieces)), self.bought)

    def _joints(self, pieces: list[Piece]) -> Iterator[Joint]:
        closed: dict[tuple[Piece, Piece], set[int]] = {}
        for k in range(len(self.stands)):
            on: dict[str, list[Piece]] = {}
            for piece in pieces:
                net = piece.nets[k]
                if net is not None:
                    on.setdefault(net, []).append(piece)
            for net, joined in on.items():
                main = next((each for each in joined if each.nets == self.anchors[k].get(net)), joined[0])
                for piece in joined:
                    if piece is not main:
                        pair = (piece, main) if (piece, main) in closed else (main, piece)
                        closed.setdefault(pair, set()).add(k)
        for pair, when in closed.items():
            yield self._joint(pair, when)

    def _joint(self, pair: tuple[Piece, Piece], when: set[int]) -> Joint:
        """Whose joint it is: that of the one switch whose positions open or close it."""
        moved = [
            (switch, labels)
            for switch in self.amp.all_switches
            if 0 < len(labels := self._labels(switch, when)) < len(switch.labels)
        ]
        if len(moved) != 1:
            names = " and ".join(each.designator for each in self.amp.all_switches)
            raise DescriptionError(
                f"{self.amp.name}: {names} work on the same wire, at {pair[1].places[0]}; "
                "no contact of one switch alone does what they do"
            )
        return Joint(pair, moved[0][0].control, moved[0][1])

    def _labels(self, switch: Switch, when: Iterable[int]) -> frozenset[str]:
        stood = {(self.stands[k].control, self.stands[k].label) for k in when}
        at_base = {self.base[switch.control]} if 0 in when else set()
        return frozenset(at_base | {label for label in switch.labels if (switch.control, label) in stood})


def _letters() -> Iterator[str]:
    for turn in count():
        for letter in "BCDEFGHJKLMN":
            yield letter * (turn + 1)
