"""Which nets are one net."""

from __future__ import annotations

from .stages.template import GROUND

INPUT = "input"


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
