"""Parts in equal places: what hangs alike on output valves of one type, what is fitted where a part came out."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from typing import cast

from .amp import Part, Pot, Socket
from .build import Circuit
from .nets import Groups
from .output_stage import output_valves
from .stages.template import GROUND, Element, rail_net

_KINDS = ("resistor", "capacitor", "inductor", "pot")
_Kind = tuple[str, float, str]


def equal_places(wired: Circuit) -> list[list[str]]:
    """Resistors, capacitors, coils and pots of one value that stand alike at output valves, as groups of two or more.

    Two valves of one type are laid over one another pin by pin, then what hangs on those pins, as far as both sides
    are alike: screen resistors, grid stoppers and leaks, coupling capacitors, a bias pot for each.
    """
    names = [each.designator for each in wired.elements if each.kind in _KINDS]
    groups = Groups[str](names.index)
    valves = {each.designator: each for each in wired.elements if each.kind == "valve"}
    for one, other in itertools.combinations(output_valves(wired), 2):
        if _type(wired, one) == _type(wired, other):
            for pair in _Overlay(wired).pairs(valves[one], valves[other]):
                groups.join(*pair)
    found: dict[str, list[str]] = {}
    for name in names:
        found.setdefault(groups.find(name), []).append(name)
    return [group for group in found.values() if len(group) > 1]


def took_the_place(wired: Circuit) -> dict[str, str]:
    """To each part that a mod fits the part of its kind that came out from between the same nets."""
    came_out = {_stand(element): element.designator for element in wired.removed}
    drawn = {part.designator for part in wired.amp.parts}
    return {
        element.designator: came_out[_stand(element)]
        for element in wired.elements
        if element.designator not in drawn and _stand(element) in came_out
    }


def _stand(element: Element) -> tuple[str, tuple[str, ...]]:
    return element.kind, tuple(sorted(net for _, net in element.pins))


def _type(wired: Circuit, valve: str) -> str:
    return cast("Socket", wired.parts[valve]).type


class _Overlay:
    """One side of a circuit laid over the other: the net under each net."""

    def __init__(self, wired: Circuit) -> None:
        self._wired = wired
        self._dead = {GROUND, *(rail_net(rail.name) for rail in wired.amp.rails)}
        self._under: dict[str, str] = {}

    def pairs(self, one: Element, other: Element) -> Iterator[tuple[str, str]]:
        """The parts that come to lie over one another when two valves do."""
        if not self._lay([(net, other.net(pin)) for pin, net in one.pins if pin in dict(other.pins)]):
            return
        for net in (nets := [net for net, under in self._under.items() if net != under]):
            above, below = (self._at(each) for each in (net, self._under[net]))
            for kind, parts in above.items():
                for first, second in _matched(parts, below.get(kind, [])):
                    known = set(self._under)
                    if self._lay(self._further(first, second, kind)):
                        nets += [each for each in self._under if each not in known and self._under[each] != each]
                        yield first.designator, second.designator

    def _at(self, net: str) -> dict[_Kind, list[Element]]:
        """Parts on a net, by what they are; of a pot by the pin too."""
        found: dict[_Kind, list[Element]] = {}
        for each in self._wired.elements:
            part = self._wired.parts.get(each.designator)
            if each.kind in _KINDS and isinstance(part, (Part, Pot)):
                for pin in (pin for pin, own in each.pins if own == net):
                    found.setdefault((each.kind, part.value, pin if each.kind == "pot" else ""), []).append(each)
        return found

    def _further(self, first: Element, second: Element, kind: _Kind) -> list[tuple[str, str]]:
        """The nets at the pins of two parts, over one another."""
        ways = [list(zip(dict(first.pins).values(), nets, strict=True)) for nets in _ends(second, kind)]
        return max(ways, key=lambda way: sum(self._under.get(net) == under for net, under in way))

    def _lay(self, nets: Iterable[tuple[str, str]]) -> bool:
        """Lay nets over one another; whether they may: each over one, and ground and a rail over themselves alone."""
        given = list(nets)
        trial = dict(self._under)
        for net, under in given:
            if net != under and {net, under} & self._dead:
                return False
            if trial.setdefault(net, under) != under or trial.setdefault(under, net) != net:
                return False
        self._under |= trial
        return True


def _ends(part: Element, kind: _Kind) -> Iterator[list[str]]:
    nets = [net for _, net in part.pins]
    yield nets
    if kind[0] != "pot":  # two ends that are alike
        yield nets[::-1]


def _matched(above: list[Element], below: list[Element]) -> Iterator[tuple[Element, Element]]:
    """Parts that may lie over one another; of several alike on one net only those in the same number."""
    if len(above) == len(below):
        yield from ((one, other) for one, other in zip(above, below, strict=True) if one is not other)
