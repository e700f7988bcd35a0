"""What a drawing shows: parts and switch poles on nets, what happens to each, and the names of nets that go on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from ...circuit.active_parts import ACTIVE
from ...circuit.amp import Amp, Edit, Pot
from ...circuit.build import build_circuit
from ...circuit.mods import describe_part
from ...circuit.nets import INPUT, PASSIVE, reachable_nets
from ...circuit.stages import Kind, stages_of
from ...circuit.stages.template import Element
from ...circuit.supply.transformer import MainsTransformer
from ...circuit.switches.plan import SwitchPlan
from ...circuit.switches.wire_pieces import Pieces
from ...circuit.transformer import Transformer
from ...circuit.whole_parts import sections_of
from ..wiring.from_to import Wiring
from ..wiring.readback import wiring
from .items import LOOKS, Item, Throw
from .split_items import drawn_items

JACK = "jack "
NEW, CHANGED, MOVED, GONE = "new", "changed", "moved", "comes out"


@dataclass(frozen=True)
class Contents:
    """What is to be drawn.

    `ground` is the net of ground; `rails` and `flags` name nets: the rail it is, or where it goes on outside the
    drawing. `start` is where the signal comes in, `touched` are the names of what a mod changes or is fitted to;
    at the nets of each of `windings` a supply begins.
    """

    items: tuple[Item, ...]
    ground: str
    rails: Mapping[str, str] = field(default_factory=dict)
    flags: Mapping[str, str] = field(default_factory=dict)
    start: str = ""
    touched: frozenset[str] = frozenset()
    windings: tuple[tuple[str, ...], ...] = ()

    def common(self, net: str) -> bool:
        """Whether a net is ground or a rail, drawn as a sign at each place."""
        return net == self.ground or net in self.rails


def contents(amp: Amp) -> Contents:
    """The circuit of an amp after its mods, with what comes out still in its place.

    Raises
    ------
    DescriptionError
        As `wiring.readback.wiring`.
    """
    return _everything(amp, wiring(amp))


def is_entry(word: str) -> bool:
    """Whether a flag says that a signal comes in there."""
    return word == "input" or word.startswith(JACK)


def _everything(amp: Amp, found: Wiring) -> Contents:
    pieces = found.pieces
    outside = {*stages_of(amp, Kind.INSTRUMENT, Kind.SOURCE)} - _stages_with_edits(amp, pieces)
    volts = {rail.name: (f"{rail.volts:g} V",) for rail in amp.fitted_rails if rail.volts is not None}
    shown = [each for each in pieces.elements if each.stage not in outside]
    items = [
        item for each in shown for item in drawn_items(_item(each, pieces, _change(each.designator, found, amp), volts))
    ]
    on = {plan.shaft: plan.designator for plan in found.switches if plan.shaft}
    items = [replace(item, words=(*item.words, f"one body with {on[item.name]}")) if item.name in on else item
             for item in items]  # fmt: skip
    switches = [switch for mod in amp.mods for switch in mod.switches]
    brought = {switch.designator for switch in switches} | {each.coil.driver for each in switches if each.coil}
    for plan in found.switches:
        items += _poles(plan, pieces, amp, NEW if plan.designator in brought else "")
    items += _gone(found, outside)
    place = {each: str(n) for n, piece in enumerate(pieces.pieces) for each in piece.places}
    drawn = {item.name.partition(" (")[0] for item in items}
    rails = {place[rail.name]: rail.name for rail in amp.rails if rail.name in place}
    start = _start(amp, pieces, place, outside)
    common = {place["ground"], *rails}
    flags = _flags(items, drawn, pieces, common) | _jacks(amp, place, common) | ({start: "input"} if start else {})
    if not any(item.kind == "loudspeaker" for item in items):
        flags |= {net: "output" for net in _output(amp, place) if net not in rails and net != place["ground"]}
    return Contents(tuple(items), place["ground"], rails, flags, start, _touched(amp, items))


def _output(amp: Amp, place: Mapping[str, str]) -> Iterator[str]:
    """The net where an amp without a loudspeaker hands on."""
    wired = build_circuit(amp)
    found = (place[each] for each in wired.places_by_net[wired.speaker] if each in place)
    yield from (net for net in [next(found, "")] if net)


def part_of(every: Contents, names: set[str]) -> Contents:
    """The items of these names; nets that go on say where to."""
    items = tuple(item for item in every.items if item.name in names)
    on = {net for item in items for net in item.nets}
    flags = {net: word for net, word in every.flags.items() if net in on}
    for item in sorted((item for item in every.items if item.name not in names), key=_importance):
        for pin, net in item.pins:
            if net in on and not every.common(net):
                flags.setdefault(net, f"{item.name}.{item.own_pin(pin)}")
    rails = {net: name for net, name in every.rails.items() if net in on}
    start = every.start if every.start in on else ""
    return Contents(items, every.ground, rails, flags, start, every.touched)


def _importance(item: Item) -> int:
    return ("valve", "transformer", "pot").index(item.kind) if item.kind in ("valve", "transformer", "pot") else 3


def _edits(amp: Amp) -> Iterator[Edit]:
    for mod in amp.mods:
        yield from mod.every_edit()
    if not amp.mods:
        yield from (edit for switch in amp.switches for _, each in switch.positions for edit in each)


def _places(edit: Edit) -> Iterator[str]:
    yield from (edit.part, edit.across, edit.in_series.partition(".")[0])
    for place in (*(edit.between or ()), *(place for _, place in edit.pins)):
        yield place.partition(".")[0]


def _stages_with_edits(amp: Amp, pieces: Pieces) -> set[str]:
    named = {name for edit in _edits(amp) for name in _places(edit)}
    return {each.stage for each in pieces.elements if each.designator in named}


def _touched(amp: Amp, items: Iterable[Item]) -> frozenset[str]:
    """Items that are new, change or come out, and those that edits name."""
    named = {name for edit in _edits(amp) for name in _places(edit)}
    return frozenset(item.name for item in items if item.change or item.name in named)


def _change(name: str, found: Wiring, amp: Amp) -> tuple[str, str]:
    """What happens to a part, and its value before."""
    if not amp.mods:
        return "", ""
    if name not in {each.designator for each in found.pieces_before.elements}:
        return NEW, found.bought.get(name, "")
    was = next((before for each, before, _ in found.values if each == name), "")
    moved = any(place.partition(".")[0] == name for place, _ in found.unsoldered)
    return (CHANGED, was) if was else (MOVED, "") if moved else ("", "")


def _item(element: Element, pieces: Pieces, change: tuple[str, str], volts: Mapping[str, tuple[str, ...]]) -> Item:
    name = element.designator
    what, was = change
    words = tuple(_words(name, pieces)) or volts.get(name, ())
    if what == NEW and was:
        # A part that a switch puts in another's place.
        words, was = (*words, f"for {was}"), ""
    look = _look(element, pieces)
    if not look:
        return Item(name, element.kind, element.pins, words, what, was)
    pins = tuple((LOOKS[look][pin], net) for pin, net in element.pins)
    if look == "tank":
        return Item(name, "transformer", pins, (), what, was, look=look)
    return Item(name, "valve", pins, words, what, was, look=look)


def _look(element: Element, pieces: Pieces) -> str:
    if element.kind != "operational amplifier":
        return {"transistor": "transistor", "effect": "effect", "reverb tank": "tank"}.get(element.kind, "")
    still = {str(n) for n, piece in enumerate(pieces.pieces) if any("." not in each and each != INPUT
                                                                    for each in piece.places)}  # fmt: skip
    driven = {str(n) for n, piece in enumerate(pieces.pieces) if INPUT in piece.places}
    ends = {kind: each[1:] for kind, each in ACTIVE.items()} | {"effect": ("out",)}
    driven |= {net for each in pieces.elements if each.designator != element.designator
               for pin, net in each.pins if pin in ends.get(each.kind, ())}  # fmt: skip
    passive = [each for each in pieces.elements if each.kind in PASSIVE]
    reached = reachable_nets(passive, {element.net("plus")}, still | {element.net("minus"), element.net("out")})
    return "amplifier" if driven & reached.keys() else "inverting amplifier"


def _words(name: str, pieces: Pieces) -> Iterator[str]:
    part = pieces.parts.get(name)
    if part is None:
        return
    if isinstance(part, Pot):
        text = describe_part(part).split(" ", 1)
        yield part.control
        yield " ".join(text)
        others = [each for each in sections_of(pieces.parts, name) if each != name]
        if others:
            yield f"one pot with {' and '.join(others)}"
    elif isinstance(part, Transformer):
        yield f"{part.primary / 1e3:g}k"
    elif isinstance(part, MainsTransformer):
        yield from (f"{each.name} {each.words}" for each in part.windings)
    else:
        yield "" if describe_part(part) == part.kind else describe_part(part)


def _poles(plan: SwitchPlan, pieces: Pieces, amp: Amp, change: str) -> Iterator[Item]:
    """An item for each pole, with all its positions; one that no usual switch does has its contacts all the same."""
    number = {id(piece): str(n) for n, piece in enumerate(pieces.pieces)}
    for _, piece in plan.terminals:
        # A wire between terminals of the switch alone is no piece of the amp.
        number.setdefault(id(piece), f"{plan.designator} {len(number)}")
    drawn = next(switch.drawn for switch in amp.all_switches if switch.control == plan.control)
    letters = list(dict.fromkeys(terminal.pole for terminal, _ in plan.terminals))
    for letter in letters:
        pins = tuple((each.name, number[id(piece)]) for each, piece in plan.terminals if each.pole == letter)
        own = {name for name, _ in pins}
        throws = []
        for row in sorted(plan.rows, key=lambda row: plan.lever.index(row.label) if row.label in plan.lever else 0):
            reached = [end for pair in row.closed for end in pair if end in own and not end.endswith("common")]
            throws += [Throw(row.label, each, row.label == drawn) for each in reached or [""]]
        name = plan.designator + (f" {letter}" if len(letters) > 1 or plan.designator in pieces.parts else "")
        words = (plan.control, f"on {plan.shaft}") if plan.shaft else (plan.control,)
        yield Item(name, "pole", pins, words, change, "", tuple(throws))


def _gone(found: Wiring, outside: Iterable[str]) -> Iterator[Item]:
    """Parts that come out, on the nets where the leads they leave behind are now."""
    there = {each.designator for each in found.pieces.elements}
    place = {each: str(n) for n, piece in enumerate(found.pieces.pieces) for each in piece.places}
    off = {each for each, _ in found.unsoldered}
    old = found.pieces_before
    for element in old.elements:
        if element.designator in there or element.stage in set(outside):
            continue
        pins = []
        for pin, net in element.pins:
            left = [each for each in old.pieces[int(net)].places if each in place and each not in off]
            pins.append((pin, place[left[0]] if left else f"old {net}"))
        yield replace(_item(element, old, (GONE, ""), {}), pins=tuple(pins))


def _start(amp: Amp, pieces: Pieces, place: Mapping[str, str], outside: set[str]) -> str:
    """The net where the signal comes in: where what is played or the test source hands on, else the input."""
    ends = [each for each in pieces.elements if each.stage in outside]
    inside = {net for each in pieces.elements if each.stage not in outside for _, net in each.pins}
    met = [net for each in ends for _, net in each.pins if net in inside and net != place["ground"]]
    return met[-1] if met else place.get(INPUT, "")


def _jacks(amp: Amp, place: Mapping[str, str], common: set[str]) -> dict[str, str]:
    """The nets that jacks are at, beside that where the drawing begins."""
    wired = build_circuit(amp)
    names = {each.name for each in amp.jacks if not each.before}
    tips = {each.name: wired.places_by_net.get(each.tip, ()) for each in wired.jacks if each.name in names}
    found = {name: next((place[each] for each in places if each in place), "") for name, places in tips.items()}
    return {net: f"{JACK}{name}" for name, net in found.items() if net and net not in common}


def _flags(items: Sequence[Item], drawn: set[str], pieces: Pieces, common: set[str]) -> dict[str, str]:
    """Where nets go on to parts that are not drawn."""
    found = {}
    for net in {net for item in items for net in item.nets} - common:
        places = pieces.pieces[int(net)].places if net.isdigit() else ()
        far = [each for each in places if "." in each and each.partition(".")[0] not in drawn and " " not in each]
        if far:
            found[net] = far[0]
    return found
