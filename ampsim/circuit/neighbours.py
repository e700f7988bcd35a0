"""What a part stands beside, as the wires show it: the first valves, the supply."""

from __future__ import annotations

from collections.abc import Iterable, Set

from .amp import Amp
from .build import Circuit, build_circuit
from .mods import touched_designators
from .nets import INPUT, PASSIVE, reachable_nets
from .stages.template import GROUND, Element, rail_net

_RESISTIVE = ("resistor", "inductor", "pot")


def input_valves(wired: Circuit) -> tuple[str, ...]:
    """The valves that have no valve before them: the input reaches their grid without passing what a valve drives."""
    in_line = {jack.name for jack in wired.amp.jacks if jack.before}
    entries = {INPUT, wired.entry, *(jack.tip for jack in wired.jacks if jack.name not in in_line)}
    driven = {each.net(pin) for each in _valves(wired) for pin in ("plate", "cathode")} - entries
    reached = _reached(wired, entries, PASSIVE, driven)
    return tuple(each.designator for each in _valves(wired) if each.net("grid") in reached)


def feeds_from_supply(wired: Circuit, designator: str) -> bool:
    """Whether a pot sets supply volts: its track hangs on a rail by resistances, and no valve's current goes through.

    So does a bias pot, whose direct volts are what it is for; a volume pot behind a leaking capacitor does not.
    """
    element = next(each for each in wired.elements if each.designator == designator)
    own = {net for pin, net in element.pins if pin != "wiper"}
    reached = _reached(wired, own - _dead(wired), _RESISTIVE) | own
    through = {each.net(pin) for each in _valves(wired) for pin, _ in each.pins if pin in ("plate", "cathode")}
    ends = {net for each in wired.elements if each.kind in _RESISTIVE for _, net in each.pins
            if {other for _, other in each.pins} & reached}  # fmt: skip
    rails = {rail_net(rail.name) for rail in wired.amp.rails}
    return bool((ends | own) & rails) and not through & (reached - _dead(wired))


def knobs_beside(modded: Amp) -> list[str]:
    """The knobs whose pots are tied by passive parts alone to what its mods change, in the order of the drawing."""
    stand = [((switch.control, label),) for mod in modded.mods for switch in mod.switches for label in switch.labels]
    changed = {name.partition(".")[0] for mod in modded.mods for name in touched_designators(mod)}
    changed |= {part.designator for mod in modded.mods for part in mod.parts}
    found: set[str] = set()
    for switches in ((), *stand):
        wired = build_circuit(modded, switches)
        ends = {net for each in wired.elements if each.designator in changed for _, net in each.pins} - _dead(wired)
        grids = {each.net("grid") for each in _valves(wired)}  # what lies before one is beside it, not behind it
        reached = _reached(wired, ends, PASSIVE, grids - ends)
        found |= {each.designator for each in wired.elements if {net for _, net in each.pins} & reached}
    return [
        control.name
        for control in modded.controls.values()
        if control.kind == "knob" and found & {*control.designators}
    ]


def _reached(wired: Circuit, starts: Set[str], kinds: Iterable[str], ends: Set[str] = frozenset()) -> set[str]:
    ways = [each for each in wired.elements if each.kind in kinds]
    return set(reachable_nets(ways, starts, _dead(wired) | ends))


def _dead(wired: Circuit) -> set[str]:
    return {GROUND, *(rail_net(rail.name) for rail in wired.amp.rails)}


def _valves(wired: Circuit) -> list[Element]:
    return [each for each in wired.elements if each.kind == "valve"]
