"""Parts in a row or side by side that act as one: looked at as one, for a circuit is the same either way."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Set

from ..stages.template import Element

_AND = " and "
_MERGED = ("resistor", "capacitor")


def merged(parts: Iterable[Element], all_parts: Iterable[Element], held: Set[str]) -> tuple[Element, ...]:
    """Parts with those that act as one made one: its pins are places, its designator names all of them.

    Parameters
    ----------
    parts : iterable of Element
        What may be merged.
    all_parts : iterable of Element
        Everything in the circuit; a net that anything else is on stays.
    held : set of str
        Nets that stay.
    """
    found = list(parts)
    count = Counter(net for each in all_parts for _, net in each.pins)
    while pair := _side_by_side(found) or _in_a_row(found, count, held):
        first, second, one = pair
        count.update(net for _, net in one.pins)
        count.subtract(net for each in (first, second) for _, net in each.pins)
        found = [one if each is first else each for each in found if each is not second]
    return tuple(found)


def members(designator: str) -> tuple[str, ...]:
    """The parts that one stands for."""
    return tuple(designator.split(_AND))


def _places(part: Element) -> tuple[tuple[str, str], ...]:
    return tuple((pin if "." in pin else f"{part.designator}.{pin}", net) for pin, net in part.pins)


def _named(first: Element, second: Element, pins: tuple[tuple[str, str], ...]) -> Element:
    names = sorted({*members(first.designator), *members(second.designator)})
    return Element(_AND.join(names), first.kind, pins, first.stage)


def _side_by_side(parts: list[Element]) -> tuple[Element, Element, Element] | None:
    seen: dict[tuple[str, frozenset[str]], Element] = {}
    for each in parts:
        nets = frozenset(net for _, net in each.pins)
        if each.kind in _MERGED and len(nets) == 2:
            other = seen.setdefault((each.kind, nets), each)
            if other is not each:
                return other, each, _named(other, each, _places(other))
    return None


def _in_a_row(parts: list[Element], count: Counter[str], held: Set[str]) -> tuple[Element, Element, Element] | None:
    ends: dict[str, list[Element]] = {}
    for each in (each for each in parts if each.kind in _MERGED):
        for _, net in each.pins:
            ends.setdefault(net, []).append(each)
    for net, on in ends.items():
        if len(on) == count[net] == 2 and net not in held and on[0] is not on[1] and on[0].kind == on[1].kind:
            first, second = on
            pins = tuple(each for part in on for each in _places(part) if each[1] != net)
            if len(pins) == 2 and pins[0][1] != pins[1][1]:
                return first, second, _named(first, second, pins)
    return None
