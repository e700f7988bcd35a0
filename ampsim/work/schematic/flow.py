"""How the signal runs through a circuit: how far each net is from the input, which parts lead back, what has valves."""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from ...circuit.transformer import winding_of
from .contents import Contents
from .items import Item

_PASSIVE = ("resistor", "capacitor", "inductor", "pot", "diode", "bridge rectifier", "pole", "loudspeaker", "meter")
DIRECT = ("resistor", "inductor", "pot")


@dataclass(frozen=True, eq=False)
class Flow:
    """A whole circuit, with what its nets are to the signal; `ends` where a drawing of a part of it goes on."""

    given: Contents
    ends: Mapping[str, str] | None = None

    @property
    def flags(self) -> Mapping[str, str]:
        """Nets that go on outside the drawing, and where to."""
        return self.given.flags if self.ends is None else self.ends

    @cached_property
    def on(self) -> Mapping[str, list[tuple[Item, str]]]:
        """Every net to the pins that are on it."""
        found: dict[str, list[tuple[Item, str]]] = {}
        for item in self.given.items:
            for pin, net in item.pins:
                found.setdefault(net, []).append((item, pin))
        return found

    def signal(self, item: Item) -> tuple[str, ...]:
        """The nets of an item that are neither ground nor a rail."""
        return tuple(net for net in item.nets if not self.given.common(net))

    @cached_property
    def at_pins(self) -> Mapping[str, set[str]]:
        """Names of pins of valves ("plate", "grid", "cathode", ...) to the nets they are on."""
        found: dict[str, set[str]] = {"plate": set(), "grid": set(), "cathode": set()}
        for item in self.given.items:
            for pin, net in item.pins if item.kind == "valve" else ():
                if not self.given.common(net):
                    found.setdefault(pin, set()).add(net)
        return found

    @cached_property
    def secondary(self) -> set[str]:
        """Nets of transformers' secondary windings."""
        pins = ((pin, net) for item in self.given.items if item.kind == "transformer" for pin, net in item.pins)
        return {net for pin, net in pins if _is_secondary(pin) and not self.given.common(net)}

    @cached_property
    def depth(self) -> Mapping[str, float]:
        """How many parts the signal goes through to each net [count]; those it does not reach come last."""
        found: dict[str, float] = {}
        if self.given.start:
            self._spread(found, self.given.start, 0.0)
        for nets in self.given.windings:
            far = max(found.values(), default=-1.0) + 1.0
            for net in nets:
                self._spread(found, net, far)
        grids = [net for net in self.on if net in self.at_pins["grid"]]
        for free in (False, True):
            for net in [*grids, *self.on]:
                if net not in found and not self.given.common(net) and (free or net in grids):
                    self._spread(found, net, max(found.values(), default=0.0) + 1.0, free)
        return found

    def _spread(self, found: dict[str, float], start: str, far: float, free: bool = False) -> None:
        """Go on from a net, as far as no nearer way was found."""
        before = set(found) if free else set()
        found[start] = far
        heap = [(far, start)]
        while heap:
            far, net = heapq.heappop(heap)
            if far > found[net]:
                continue
            for other, step in self._steps(net, free):
                if far + step < found.get(other, math.inf) and other not in before:
                    found[other] = far + step
                    heapq.heappush(heap, (far + step, other))

    def _steps(self, net: str, free: bool) -> Iterator[tuple[str, float]]:
        """Nets that the signal gets to from a net, with what each step counts."""
        closed = set() if free else self.at_pins["plate"] | self.secondary
        for item, pin in self.on[net]:
            for end, other in item.pins:
                if other == net or self.given.common(other):
                    continue
                if item.kind == "valve":
                    if pin in ("grid", "cathode") and end == "plate":
                        yield other, 1.0
                    elif pin == "grid":
                        # What an amplifier's other input is on lies before its output, which leads back there.
                        yield other, 0.5 if item.look.endswith("amplifier") else 1.0
                elif item.kind == "transformer":
                    if free or not _is_secondary(pin):
                        yield other, 1.0
                elif item.kind in _PASSIVE and (
                    other not in closed or (net in self.secondary and other in self.secondary)
                ):
                    yield other, 1.0

    def far(self, net: str) -> float:
        """The depth of a net [count]; infinite for ground and rails."""
        return self.depth.get(net, math.inf)

    @cached_property
    def back(self) -> set[str]:
        """Names of two-ended parts through which signal is led back, from far along to near the input."""
        found = set()
        for group, ends in self._bridges():
            plates = self.at_pins["plate"]
            early = [net for net in ends if net not in self.secondary | plates]
            late = [net for net in ends if net in self.secondary | plates]
            if any(self.far(one) > self.far(two) for one in late for two in early):
                found |= group
        return found

    def _bridges(self) -> Iterator[tuple[set[str], set[str]]]:
        """Parts tied together by nets that nothing else is on, with the nets at their ends."""
        two = [item for item in self.given.items if item.kind in (*DIRECT, "capacitor") and len(self.signal(item)) == 2]
        two = [item for item in two if len(item.nets) == 2]
        names = {item.name for item in two}
        left = list(two)
        while left:
            group, ends, nets = {left[0].name}, set[str](), list(left[0].nets)
            for net in nets:
                others = {item.name for item, _ in self.on[net]}
                if others <= names and net not in self.given.flags:
                    for item, _ in self.on[net]:
                        if item.name not in group:
                            group.add(item.name)
                            nets += [each for each in item.nets if each not in nets]
                else:
                    ends.add(net)
            yield group, ends
            left = [item for item in left if item.name not in group]


def _is_secondary(pin: str) -> bool:
    return winding_of(pin) != "primary"
