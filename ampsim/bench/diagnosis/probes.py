"""Where the two leads of a meter are held: a place against ground, or two places, such as the ends of a resistor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ...base.errors import DescriptionError, nearest, shown
from ...circuit.build import Circuit
from ...circuit.nets import INPUT
from ...circuit.plugs import plugged_stages
from ...circuit.stages.template import GROUND, Element
from ...circuit.supply.averaged import supplied

MOST_PROBES = 200
_PINS = ("plate", "cathode", "grid", "screen")


@dataclass(frozen=True)
class Probe:
    """A reading's name as it was given, and the nets of the two leads, red first."""

    name: str
    first: str
    second: str = GROUND


def probe(wired: Circuit, name: str) -> Probe:
    """Find the places of a reading: "V1A.plate", "B2", "V4.plate to B1", or "across R26" (end 1 against end 2).

    Raises
    ------
    DescriptionError
        For a place or part that is not there (names the nearest), or two places on one piece of wire.
    """
    if name.startswith("across "):
        part = name.removeprefix("across ").strip()
        ends = {each.designator: each for each in wired.elements if len(each.pins) == 2}
        if part not in ends:
            raise DescriptionError(f"{shown(name)}: {shown(part)} is no part with two ends{nearest(part, ends)}")
        first, second = (net for _, net in ends[part].pins)
    else:
        place, _, other = (each.strip() for each in name.partition(" to "))
        first, second = _net(wired, place), _net(wired, other or "ground")
    if first == second:
        raise DescriptionError(f"{shown(name)}: both leads are on one piece of wire, there is nothing to read")
    return Probe(name, first, second)


def _net(wired: Circuit, place: str) -> str:
    known = wired.net_by_place
    if place not in known:
        raise DescriptionError(f"{wired.amp.name}: {shown(place)} is not a place{nearest(place, known)}")
    return known[place]


def standard_probes(wired: Circuit, pins_read: Sequence[str] = _PINS) -> tuple[str, ...]:
    """The readings of a usual voltage chart: every rail, and every plate, cathode, grid and screen (`pins_read`) once.

    Places on ground, and places on a net that was already named, are left out.
    """
    pins = [f"{each.designator}.{pin}" for pin in pins_read for each in wired.elements
            if each.kind == "valve" and pin in dict(each.pins)]  # fmt: skip
    found: dict[str, str] = {}
    for name in (*(rail.name for rail in wired.amp.rails), *pins):
        found.setdefault(wired.net_by_place[name], name)
    return tuple(name for net, name in found.items() if net not in (GROUND, INPUT))


def own_elements(wired: Circuit) -> tuple[Element, ...]:
    """The elements of the amp itself that direct volts tell of.

    Left out is what is plugged into it, a guitar with its cable, a generator, and what alternating current alone flows
    through before the rectifiers.
    """
    plugged, steady = plugged_stages(wired), {each.designator for each in supplied(wired).elements}
    return tuple(each for each in wired.elements if each.stage not in plugged and each.designator in steady)


def drop_probes(wired: Circuit) -> tuple[str, ...]:
    """The drops a careful bench reads besides: across every resistor, and from each output plate to its supply."""
    resistors = [each for each in own_elements(wired) if each.kind == "resistor"]
    drops = [f"across {each.designator}" for each in resistors if each.pins[0][1] != each.pins[1][1]]
    for each in wired.elements:
        pins = dict(each.pins)
        if each.kind == "transformer":
            halves = ("primary_a", "primary_b") if "centre" in pins else ("primary_a",)
            other = "centre" if "centre" in pins else "primary_b"
            drops += [f"{each.designator}.{half} to {each.designator}.{other}" for half in halves]
    return tuple(drops)
