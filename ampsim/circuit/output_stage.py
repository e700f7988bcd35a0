"""The output stage as the wires show it: the valves that work into the transformer, and all that makes its power."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from functools import lru_cache

from .amp import Amp, Part, Pot, Socket
from .build import Circuit, circuit_at
from .nets import reachable_nets
from .positions import Position
from .stages.template import GROUND, Element, rail_net
from .transformer import Transformer

_SERIES = ("resistor", "inductor")
_OWN = ("plate", "screen", "cathode")
_LOAD_TIMES = 20.0  # a resistance at the loudspeaker below so many times the tap's takes power


def output_transformers(wired: Circuit) -> tuple[Element, ...]:
    """The transformers of the output stage: those that do not drive the springs of a reverb."""
    tanks = {each.net("in") for each in wired.elements if each.kind == "reverb tank"}
    ways = [each for each in wired.elements if each.kind in (*_SERIES, "capacitor")]
    driven = set(reachable_nets(ways, tanks, {GROUND, *(rail_net(rail.name) for rail in wired.amp.rails)}))
    return tuple(
        each
        for each in wired.elements
        if each.kind == "transformer" and not any(pin.startswith("tap") and net in driven for pin, net in each.pins)
    )


def output_valves(wired: Circuit) -> tuple[str, ...]:
    """The valves with a plate or a cathode on the primary of an output transformer, be it through a resistor."""
    return tuple(_primary_ends(wired))


def pulls_both_ways(wired: Circuit) -> bool:
    """Whether output valves work on different ends of a primary, so that what two of them do alike cancels."""
    ends = list(_primary_ends(wired).values())
    return any(one.isdisjoint(other) for one, other in itertools.combinations(ends, 2))


def _primary_ends(wired: Circuit) -> dict[str, set[str]]:
    """To each output valve the nets of the primary that its plate or its cathode works on."""
    primaries = {net for each in output_transformers(wired) for pin, net in each.pins if pin.startswith("primary")}
    dead = {GROUND, *(rail_net(rail.name) for rail in wired.amp.rails)}
    ways = [each for each in wired.elements if each.kind in _SERIES]
    reached = {net: set(reachable_nets(ways, {net}, dead | primaries - {net})) for net in primaries - dead}
    found: dict[str, set[str]] = {}
    for each in (each for each in wired.elements if each.kind == "valve"):
        own = {each.net("plate"), each.net("cathode")}
        if ends := {net for net, beside in reached.items() if own & beside}:
            found[each.designator] = ends
    return found


def changes_output_stage(stock: Amp, modded: Amp, position: Position) -> bool:
    """Whether what makes an amp's power is another circuit in the modded amp, each at what it has of a position.

    That is output valves with what hangs on their plates, screens and cathodes, the transformer, what takes power at
    the loudspeaker, and the volts of the supply.
    """
    first, second = (
        _output_circuit(amp, tuple((name, value) for name, value in position.items() if name in amp.controls))
        for amp in (stock, modded)
    )
    return first != second


@lru_cache(maxsize=128)
def _output_circuit(amp: Amp, position: tuple[tuple[str, float | str], ...]) -> frozenset[object]:
    wired = circuit_at(amp, dict(position))
    return frozenset({*_records(wired), *((rail.name, rail.volts) for rail in wired.amp.rails)})


def _records(wired: Circuit) -> Iterator[object]:
    marks = _landmarks(wired)
    valves = output_valves(wired)
    own = {each.net(pin) for each in wired.elements if each.designator in valves for pin, _ in each.pins if pin in _OWN}
    low, secondary, transformers = 0.0, {wired.speaker}, output_transformers(wired)
    for each in transformers:
        part = wired.parts.get(each.designator)
        if isinstance(part, Transformer):
            own |= {net for pin, net in each.pins if pin.startswith(("primary", "centre"))}
            secondary |= {net for pin, net in each.pins if pin.startswith("tap")}
            low = max(low, _LOAD_TIMES * max(part.taps))
    own -= {GROUND, *(rail_net(rail.name) for rail in wired.amp.rails)}
    for each in wired.elements:
        nets = {net for _, net in each.pins}
        part = wired.parts.get(each.designator)
        takes = isinstance(part, (Part, Pot)) and part.kind in ("resistor", "pot") and part.value < low
        if each.designator in valves or each in transformers or each.kind == "loudspeaker":
            yield (part, *sorted((pin, marks[net]) for pin, net in each.pins))
        elif each.kind != "valve" and (nets & own or (takes and nets & secondary)):
            yield (_value(part), each.kind, *sorted(marks[net] for _, net in each.pins))


def _value(part: object) -> object:
    if isinstance(part, (Part, Pot)):
        return part.value
    return part.type if isinstance(part, Socket) else part


def _landmarks(wired: Circuit) -> dict[str, tuple[str, ...]]:
    """To each net what names it whatever the parts around are called: valve and transformer pins, rails, the ends."""
    found: dict[str, list[str]] = {net: [] for each in wired.elements for _, net in each.pins}
    for each in _solid(wired):
        for pin, net in each.pins:
            found[net].append(f"{each.designator}.{pin}")
    for name, net in (("ground", GROUND), ("speaker", wired.speaker)):
        found.setdefault(net, []).append(name)
    for rail in wired.amp.rails:
        found.setdefault(rail_net(rail.name), []).append(rail.name)
    return {net: tuple(sorted(names)) for net, names in found.items()}


def _solid(wired: Circuit) -> Iterator[Element]:
    return (each for each in wired.elements if each.kind in ("valve", "transformer"))
