"""Which nets are one net, and which nets parts lead to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Set
from typing import Any, Generic, TypeVar

from .stages.template import GROUND, Element
from .transformer import windings_of

INPUT = "input"
T = TypeVar("T")
PASSIVE = ("resistor", "capacitor", "inductor", "pot", "diode", "lamp", "light-dependent resistor", "thermistor")
"""Kinds that a signal passes either way, of a diode as much as it lets pass."""


class Groups(Generic[T]):
    """Things joined to one another (union-find); a group goes by the name of the one of lowest rank."""

    def __init__(self, rank: Callable[[T], Any]) -> None:
        self.parent: dict[T, T] = {}
        self.rank = rank

    def find(self, one: T) -> T:
        """The name under which the group of a thing goes."""
        while one in self.parent:
            one = self.parent[one]
        return one

    def join(self, first: T, second: T) -> bool:
        """Make two groups one; whether they were two."""
        first, second = self.find(first), self.find(second)
        if first == second:
            return False
        keep, drop = sorted((first, second), key=self.rank)
        self.parent[drop] = keep
        return True


class Nets(Groups[str]):
    """Nets joined to one another; ground, the input, rails and short names keep their name, "@" and a place never."""

    def __init__(self) -> None:
        super().__init__(
            lambda net: (net != GROUND, net != INPUT, not net.startswith("rail_"), net[0] == "@", len(net), net)
        )


def tied_together(nets_of: Mapping[str, Iterable[str]]) -> list[list[str]]:
    """Parts in groups, those together that share a net or are tied by nets of parts between them."""
    ties: Groups[tuple[str, str]] = Groups(lambda one: one)
    for part, nets in nets_of.items():
        for net in nets:
            ties.join(("part", part), ("net", net))
    groups: dict[tuple[str, str], list[str]] = {}
    for part in nets_of:
        groups.setdefault(ties.find(("part", part)), []).append(part)
    return list(groups.values())


def steps_to(starts: Iterable[T], onward: Callable[[T], Iterable[T]], stop: Set[T] = frozenset()) -> dict[T, int]:
    """How many steps lie between some places and each that is reached from them, the nearest first.

    Parameters
    ----------
    starts : iterable
        They are 0 steps away.
    onward : callable
        Where one step leads from a place.
    stop : set
        Places that the way does not go on from; they are among those found.
    """
    found = dict.fromkeys(starts, 0)
    for here in (queue := list(found)):
        for there in onward(here) if not found[here] or here not in stop else ():
            if there not in found:
                found[there] = found[here] + 1
                queue.append(there)
    return found


def reachable_nets(parts: Iterable[Element], starts: Set[str], dead: Set[str]) -> dict[str, str]:
    """Nets that parts lead to, the nearest first, each with the place it was reached from.

    Parameters
    ----------
    parts : iterable of Element
        What the way may go through.
    starts : set of str
        Nets where it begins; they come first, reached from "".
    dead : set of str
        Nets where it ends, such as ground and the rails; they are not among those found.
    """
    given = list(parts)
    found = dict.fromkeys(sorted(starts - dead), "")
    for net in (nets := list(found)):
        for part in given:
            pins = [name for name, other in part.pins if other == net]
            for _, other in part.pins if pins else ():
                if other not in found and other not in dead:
                    found[other] = f"{part.designator}.{pins[0]}"
                    nets.append(other)
    return found


_CONDUCTS = {
    **dict.fromkeys(("resistor", "lamp", "light-dependent resistor", "thermistor"), (("1", "2"),)),
    "inductor": (("1", "2"),),
    "loudspeaker": (("1", "2"),),
    "opto-coupler": (("anode", "cathode"), ("cell1", "cell2")),
    "reverb tank": (("in", "in_ground"), ("out", "out_ground")),
    "pot": (("top", "wiper"), ("wiper", "bottom")),
    "valve": (("plate", "cathode"),),
    "diode": (("anode", "cathode"),),
    "transistor": (("drain", "source"),),
    "rectifier valve": (("plate_a", "cathode"), ("plate_b", "cathode")),
    "bridge rectifier": (("ac1", "plus"), ("ac2", "plus"), ("ac1", "minus"), ("ac2", "minus")),
    "effect": (("in", "ground"), ("out", "ground")),
    "meter": (("plus", "minus"),),
    "operational amplifier": (("out", "vplus"), ("out", "vminus")),
}


def conducting(elements: Iterable[Element]) -> Nets:
    """Join all nets that direct current gets between; rails and the input count as ground, valves, diodes conduct."""
    nets = Nets()
    for element in elements:
        pins = dict(element.pins)
        if element.kind == "rail":
            nets.join(pins["1"], GROUND)
        for first, second in _CONDUCTS.get(element.kind, ()):
            nets.join(pins[first], pins[second])
        if element.kind == "mains transformer":
            for winding in {pin.rpartition("_")[0] for pin in pins}:
                ends = [net for pin, net in pins.items() if pin.rpartition("_")[0] == winding]
                for net in ends[1:]:
                    nets.join(ends[0], net)
        if "tap" in pins and element.kind == "pot":
            nets.join(pins["tap"], pins["wiper"])
        if element.kind == "transformer":
            for first, *others in windings_of(pins):
                for pin in others:
                    nets.join(pins[first], pins[pin])
    nets.join(INPUT, GROUND)
    return nets


_RECTIFIERS = ("rectifier valve", "bridge rectifier")
_IN_MAINS = {*_RECTIFIERS, "mains transformer", "diode", "resistor", "thermistor", "contact"}


def idle_windings(elements: Iterable[Element]) -> frozenset[str]:
    """Nets of the mains side alone that float, as windings and plates behind a standby switch that is open."""
    given = tuple(elements)
    nets = conducting(each for each in given if each.kind not in _RECTIFIERS)
    kinds: dict[str, set[str]] = {}
    for each in given:
        for _, net in each.pins:
            kinds.setdefault(nets.find(net), set()).add(each.kind)
    idle = {group for group, own in kinds.items() if own & {*_RECTIFIERS, "mains transformer"} and own <= _IN_MAINS}
    return frozenset(net for each in given for _, net in each.pins if nets.find(net) in idle - {GROUND})
