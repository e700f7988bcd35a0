"""What cold readings show when a joint went wrong: each slip as a change of the dead amp, read by a meter."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from ...base.errors import DescriptionError
from ...circuit.amp import Amp, Pot, Socket, Switch
from ...circuit.designators import body_of
from ...circuit.stages.template import Element
from ...simulation.unpowered import DeadAmp, dead_amp
from ..parts_list.switch_need import wiring_of
from .checks import Check, reading_words

_BRIDGED = 0.1  # ohm of leads that touch, or a splash of solder
_DECADES = ((10.0, "ten times the value"), (0.1, "a tenth of the value"))
_TRACK = ("bottom", "wiper", "top")
_SECTIONS = {"A": "first", "B": "second"}


@dataclass(frozen=True)
class Slip:
    """Something done wrong, in words, and the dead amp that comes of it."""

    words: str
    dead: DeadAmp


def slip_signs(checks: Iterable[Check], slips: Iterable[Slip]) -> list[str]:
    """What the readings show of each slip, a sentence each; none for a slip that all of them would pass."""
    asked = [check for check in checks if check.unit == "ohm" and check.place]
    told = []
    for slip in slips:
        known = slip.dead.wired.net_by_place
        there = [check for check in asked if check.place in known and check.against in known]
        read = [(check, slip.dead.ohms(check.place, check.against)) for check in there]
        bad = [(check, value) for check, value in read if not check.passes(value)]
        if bad:
            check, value = max(bad, key=lambda each: _distance(each[0].value, each[1]))
            told.append(f"{slip.words}: {check.what} reads {reading_words(value, 'ohm')}.")
    return told


def _distance(expected: float, read: float) -> float:
    if math.isinf(expected) or math.isinf(read):
        return math.inf
    return abs(math.log((read + 1.0) / (expected + 1.0)))


def part_slips(amp: Amp, dead: DeadAmp, part: str) -> Iterator[Slip]:
    """The usual slips with a part that was just soldered in: missing, bridged, another decade, a lug too far."""
    element = next((each for each in dead.wired.elements if each.designator == part), None)
    if element is None or len(element.pins) != 2 or element.kind not in ("resistor", "capacitor", "inductor"):
        return
    own = [path for path in dead.paths if path[0] == part]
    rest = tuple(path for path in dead.paths if path[0] != part)
    if own:
        yield Slip(f"{part} missing or a joint open", DeadAmp(dead.wired, rest))
    (_, first), (_, second) = element.pins
    yield Slip(f"{part} bridged or shorted", DeadAmp(dead.wired, (*rest, (part, (first, second, _BRIDGED)))))
    if element.kind == "resistor":
        for factor, words in _DECADES:
            other = tuple((name, (one, two, factor * ohms)) for name, (one, two, ohms) in own)
            yield Slip(f"{part} of {words}", DeadAmp(dead.wired, (*rest, *other)))
    for pin, place in _leads(amp, part):
        was = dict(element.pins).get(pin, "")
        for beside in lugs_beside(amp, place):
            net = dead.wired.net_by_place.get(beside, was)
            if own and net not in (first, second):
                yield Slip(f"{part} at {beside} instead of {place}", _lead_moved(dead, element, pin, net))


def _lead_moved(dead: DeadAmp, part: Element, pin: str, net: str) -> DeadAmp:
    """The dead amp with one lead of a part on another piece of wire; a meter held to that lead goes with it."""
    was = part.net(pin)
    pins = tuple((name, net if name == pin else other) for name, other in part.pins)
    elements = tuple(replace(part, pins=pins) if each == part else each for each in dead.wired.elements)
    paths = tuple(
        (name, (net if one == was else one, net if two == was else two, ohms)) if name == part.designator
        else (name, (one, two, ohms))
        for name, (one, two, ohms) in dead.paths
    )  # fmt: skip
    return DeadAmp(replace(dead.wired, elements=elements), paths)


def _leads(amp: Amp, part: str) -> list[tuple[str, str]]:
    """The pins of a part with the lugs that the from-to list solders them to."""
    try:
        wires = wiring_of(amp).wires
    except DescriptionError:
        return []
    return [(wire.start.partition(".")[2], wire.end) for wire in wires if wire.what == f"lead of {part}"]


def lugs_beside(amp: Amp, place: str) -> list[str]:
    """The lugs next to a lug: of a pot by the order of its track, of a socket by the pins of the valve's base.

    Sections A and B of a bottle are taken for the first and the second of its data sheet. Of what is no pot and no
    valve nothing is known.
    """
    part, _, pin = place.partition(".")
    found = amp.part_by_designator.get(part)
    if found is not None and found.kind == "pot" and pin in _TRACK:
        at = _TRACK.index(pin)
        return [f"{part}.{_TRACK[each]}" for each in (at - 1, at + 1) if 0 <= each < len(_TRACK)]
    if isinstance(found, Socket) and found.type in amp.valve_by_type:
        pinout = amp.valve_by_type[found.type].pinout
        names = [_place_of_pin(amp, part, each) for each in (pinout.pins if pinout else ())]
        if place in names:
            at = names.index(place)
            return [each for each in (names[at - 1], names[(at + 1) % len(names)]) if each]
    return []


def _place_of_pin(amp: Amp, part: str, words: str) -> str:
    """The place that a pin of a base is, "" where this amp has none."""
    pin, _, section = words.partition(" of the ")
    if not section:
        return f"{part}.{pin}"
    letter = next((each for each, name in _SECTIONS.items() if section == f"{name} section"), "")
    name = f"{body_of(part)}{letter}"
    return f"{name}.{pin}" if letter and name in amp.part_by_designator else ""


def track_slips(amp: Amp, position: Mapping[str, float | str], pot: Pot) -> Iterator[Slip]:
    """A pot whose outer lugs are exchanged reads as if it stood at the other end."""
    words = f"{pot.designator} with its outer lugs exchanged"
    yield Slip(words, dead_amp(amp, {**position, pot.control: 1.0}))


def contact_slips(amp: Amp, stands: Mapping[str, float | str], switch: Switch) -> Iterator[Slip]:
    """A switch whose contacts do another position's work: one that does not close, or two throws exchanged."""
    for label in switch.labels:
        if label != stands[switch.control]:
            words = f"Contacts as in {label}: one does not move, or two throws are exchanged"
            yield Slip(words, dead_amp(amp, {**stands, switch.control: label}))
