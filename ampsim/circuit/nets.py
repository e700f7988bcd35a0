"""Which nets are one net, and which nets parts lead to."""

from __future__ import annotations

from collections.abc import Iterable, Set

from .stages.template import GROUND, Element

INPUT = "input"
PASSIVE = ("resistor", "capacitor", "inductor", "pot")


class Nets:
    """Nets joined to one another (union-find); ground, the input, rails and short names keep their name."""

    def __init__(self) -> None:
        self.parent: dict[str, str] = {}

    def find(self, net: str) -> str:
        """The name under which a net goes."""
        while net in self.parent:
            net = self.parent[net]
        return net

    def join(self, first: str, second: str) -> None:
        """Make two nets one."""
        first, second = self.find(first), self.find(second)
        if first != second:
            keep, drop = sorted((first, second), key=self._rank)
            self.parent[drop] = keep

    @staticmethod
    def _rank(net: str) -> tuple[bool, bool, bool, int, str]:
        return (net != GROUND, net != INPUT, not net.startswith("rail_"), len(net), net)


def nets_reached(parts: Iterable[Element], starts: Set[str], dead: Set[str]) -> dict[str, str]:
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
