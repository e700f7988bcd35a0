"""The valve stages of a circuit in signal order, each with the places its own signal goes in at and comes out at."""

from __future__ import annotations

from collections.abc import Container, Iterator
from dataclasses import dataclass
from functools import lru_cache

from .active_parts import ACTIVE
from .amp import Amp
from .build import SPEAKER, Circuit, build_circuit
from .nets import INPUT, PASSIVE, reachable_nets
from .source import SourceKind
from .stages import TEMPLATES, Kind, stages_of
from .stages.template import GROUND, rail_net


@dataclass(frozen=True)
class ValveStage:
    """A stage with valves, or with other parts that amplify.

    `driven` are the grids that the stage before drives, `grids` those its own gain counts from, `outputs` where it
    hands on: one place, or two for the voltage between them. A long-tailed pair is driven at one grid and counts from
    both, so that what a feedback line brings to its tail is part of what goes in. `before` names the stage that drives
    it, "" where none does.
    """

    name: str
    valves: tuple[str, ...]
    driven: tuple[str, ...]
    grids: tuple[str, ...]
    outputs: tuple[str, ...]
    before: str = ""


@lru_cache(maxsize=64)
def valve_stages(wired: Circuit) -> tuple[ValveStage, ...]:
    """Every stage with valves that the source's signal comes to, in signal order; all of them without a source.

    Valves that a mod fitted stand last, under the mod's name. Other channels, into which nothing is plugged, are none.
    Oscillators that the amp is meant to have stand beside the signal.
    """
    return tuple(_stages(wired, ("valve",)))


@lru_cache(maxsize=64)
def active_stages(wired: Circuit) -> tuple[ValveStage, ...]:
    """As `valve_stages`, of everything that amplifies: transistors and operational amplifiers too."""
    return tuple(_stages(wired, tuple(ACTIVE)))


def _stages(wired: Circuit, kinds: tuple[str, ...]) -> Iterator[ValveStage]:
    valves: dict[str, list[str]] = {stage.name: [] for stage in wired.amp.stages}
    aside = stages_of(wired.amp, Kind.OSCILLATOR)
    for element in wired.elements:
        if element.kind in kinds and element.stage not in aside:
            valves.setdefault(element.stage, []).append(element.designator)
    reached = parts_reached(wired)
    kept = {
        name: tuple(found) for name, found in valves.items() if reached.intersection(found) or (found and not reached)
    }
    yield from (_stage(wired, name, found, kept) for name, found in kept.items())


def parts_reached(wired: Circuit) -> frozenset[str]:
    """What amplifies the signal, which goes through these from control to output, through other parts either way."""
    active = {each: ACTIVE[each.kind] for each in wired.elements if each.kind in ACTIVE}
    ways = [each for each in wired.elements if each not in active and each.kind != "rail"]
    dead = {GROUND, *(rail_net(rail.name) for rail in wired.amp.rails)}
    reached: set[str] = set()
    starts = {INPUT}
    while starts:
        nets = set(reachable_nets(ways, starts, dead))
        driven = {
            each: pins
            for each, pins in active.items()
            if each.designator not in reached and {each.net(pins.control), each.net(pins.foot)} & nets
        }
        reached |= {each.designator for each in driven}
        starts = {each.net(pin) for each, pins in driven.items() for pin in (pins.output, pins.foot)} - dead
    return frozenset(reached)


def _stage(wired: Circuit, name: str, valves: tuple[str, ...], kept: Container[str]) -> ValveStage:
    pins = {each.designator: ACTIVE[each.kind] for each in wired.elements if each.designator in valves}
    lines, controls = wired.lines_of(name), tuple(each.control for each in ACTIVE.values())
    entries = _lines_into(wired, name)
    driven = tuple(_nearest(wired, valves, controls, entries)) or valves[:1]
    # Of two lines the voltage between them counts, so what goes in is between the grids of the valves that make them.
    outputs = tuple(pin for each in ACTIVE.values() for pin in (each.output, each.foot))
    makers = tuple(_nearest(wired, valves, outputs, lines)) if len(lines) > 1 else driven
    starts = [tuple(f"{valve}.{pins[valve].control}" for valve in some) for some in (driven, makers or driven)]
    if ACTIVE["operational amplifier"] in pins.values() and entries:
        # What comes back over its own feedback is no input: the stage counts from where its line comes in.
        starts = [(_place(wired, entries[0]),)] * 2
    handed = tuple(_place(wired, net) for net in lines) or (f"{valves[0]}.{pins[valves[0]].output}",)
    return ValveStage(name, valves, starts[0], starts[1], handed, _before(wired, name, kept))


def _lines_into(wired: Circuit, name: str) -> tuple[str, ...]:
    """The nets of the signal lines that reach a stage; none for what is no stage."""
    inputs = next((TEMPLATES[each.template].inputs for each in wired.amp.stages if each.name == name), 0)
    first = (wired.entry,) if wired.amp.stages and name == wired.amp.stages[0].name else ()
    lines = wired.inputs.get(name, ()) or first
    return lines[:inputs] if inputs else lines


def _before(wired: Circuit, name: str, kept: Container[str]) -> str:
    """The stage with valves that drives a stage: the last one on the first of its lines that leads to one."""
    for net in wired.inputs.get(name, ()):
        source = _source_of(wired, name, net)
        found = source if not source or source in kept else _before(wired, source, kept)
        if found:
            return found
    return ""


def _source_of(wired: Circuit, name: str, net: str) -> str:
    """The last stage before another that hands on a line; "" where none does."""
    order = [stage.name for stage in wired.amp.stages]
    earlier = reversed(order[: order.index(name)])
    return next((each for each in earlier if net in wired.lines_of(each)), "")


def _nearest(wired: Circuit, valves: tuple[str, ...], pins: tuple[str, ...], lines: tuple[str, ...]) -> Iterator[str]:
    """The valve that each line leads to first through passive parts, other lines left out; each valve once."""
    parts = [each for each in wired.elements if each.kind in PASSIVE]
    dead = {GROUND, *(rail_net(rail.name) for rail in wired.amp.rails)}
    valve_at = {
        net: each.designator
        for each in reversed(wired.elements)
        if each.designator in valves
        for pin, net in each.pins
        if pin in pins
    }
    reached = (reachable_nets(parts, {line}, dead | set(lines) - {line}) for line in lines)
    found = (next((valve_at[net] for net in nets if net in valve_at), "") for nets in reached)
    return (valve for valve in dict.fromkeys(found) if valve)


def _place(wired: Circuit, net: str) -> str:
    return SPEAKER if net == wired.speaker else wired.places_by_net[net][0]


def listening_points(amp: Amp) -> dict[str, str]:
    """Stage name to the place its output is on, in signal order; the load's place is "speaker".

    A channel that the signal does not come to is left out, the networks behind its valves with it.
    """
    wired = build_circuit(amp)
    silent = _silent_stages(wired)
    found: dict[str, str] = {}
    for stage, net in wired.outputs.items():
        place = _place(wired, net)
        if place not in found.values() and silent.isdisjoint((stage, stage.rpartition(" (")[0])):
            found[stage] = place
    return found


def _silent_stages(wired: Circuit) -> set[str]:
    reached, silent = parts_reached(wired), set[str]()
    active = {each.designator: each.stage for each in wired.elements if each.kind in ACTIVE}
    for stage in wired.amp.stages if reached else ():
        own = {part for part, name in active.items() if name == stage.name}
        before = [_source_of(wired, stage.name, net) for net in wired.inputs.get(stage.name, ())]
        if own.isdisjoint(reached) if own else (before and silent.issuperset(before)):
            silent.add(stage.name)
    return silent


def begins_at_guitar(amp: Amp) -> bool:
    """Whether a guitar is plugged in, rather than a generator or nothing."""
    drawn = amp.source.kind is SourceKind.DRAWN and bool(stages_of(amp, Kind.INSTRUMENT))
    return drawn or amp.source.kind is SourceKind.GUITAR
