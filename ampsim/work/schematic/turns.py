"""In which order parts are placed, and whether a two-ended part stands upright."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from .flow import Flow
from .items import Item
from .levels import STEP, Levels


@dataclass(eq=False)
class Turns:
    """When the turn of each part of a row is: with what it hangs under, follows or belongs to, else with its signal."""

    flow: Flow
    levels: Levels
    items: Sequence[Item]
    by_name: dict[str, Item] = field(default_factory=dict)
    poles: dict[str, list[Item]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.by_name = {item.name: item for item in self.items}
        for item in self.items:
            for pin, net in item.pins if item.kind == "pole" else ():
                if not pin.endswith("common") and not self.flow.given.common(net):
                    self.poles.setdefault(net, []).append(item)

    def turn(self, item: Item) -> tuple[float, int, int]:
        """Its turn: entry [count of parts before], rank among those of one entry, place in the circuit."""
        return (self.entry(item), self._rank(item), self.flow.given.items.index(item))

    def entry(self, item: Item) -> float:
        """When it comes in [count of parts before]: with what it hangs under or follows, else with its signal."""
        if item.name in self.flow.back:
            return 1e5 + min(map(self.flow.far, item.nets))
        over = self.by_name.get(self.levels.over.get(item.name, ""))
        if over is not None:
            return self.entry(over) + 0.05
        if item.name in self.levels.spine:
            pins = [end for net in self.flow.signal(item) for end in self.flow.on[net]]
            valves = [each for each, _ in pins if each.kind == "valve"]
            low = any(pin == "cathode" for _, pin in pins)
            own = [self.own_entry(each) + (0.03 if low else 0.01) for each in valves if each in self.items]
            return min(own) if own else self.levels.spine[item.name] - 0.75
        pole = next((pole for net in item.nets for pole in self.poles.get(net, ()) if pole is not item), None)
        if pole is not None and item.kind != "pole":
            return self.own_entry(pole) + 0.0005
        tail = self._tail(item)
        return self.entry(tail) + 0.0001 if tail is not None else self.own_entry(item)

    def _tail(self, item: Item) -> Item | None:
        """The part before one that ends a chain to ground or a rail."""
        nets = self.flow.signal(item)
        if len(nets) != 1 or len(item.nets) != 2:
            return None
        others = [each for each, _ in self.flow.on[nets[0]] if each is not item and each in self.items]
        alone = len({each.name for each in others}) == 1 and len(others[0].nets) == 2
        return others[0] if alone and len(self.flow.signal(others[0])) == 2 else None

    def own_entry(self, item: Item) -> float:
        """When its signal comes in [count of parts before]."""
        far, pins = self.flow.far, dict(item.pins)
        if item.name in self.levels.lanes:
            return max(far(dict(each.pins)["grid"]) for each in self.items if each.name in self.levels.lanes)
        if item.kind == "valve":
            return min(far(pins.get("grid", "")), far(pins.get("cathode", "")) - 0.5)
        if item.kind == "transformer":
            ends = [far(net) for pin, net in item.pins if pin.startswith("primary")]
            return min(ends, default=0.0) + 0.5
        nearest = min(map(far, item.nets))
        if item.kind == "pole":
            return nearest + 0.001 * self.items.index(item)
        if len(item.nets) == 2:
            nearest = self._beside_valve(item, nearest)
        return nearest if nearest < math.inf else 1e4

    def _beside_valve(self, item: Item, nearest: float) -> float:
        """What hangs at a grid comes before its valve, what is at a screen right after it."""
        ends = [(each, pin) for net in item.nets for each, pin in self.flow.on[net] if each.kind == "valve"]
        ends = [(each, pin) for each, pin in ends if each in self.items and not self.flow.given.common(each.net(pin))]
        after = [each for each, pin in ends if pin not in ("plate", "grid")]
        sides = [each for each, pin in ends if pin == "plate" and each.name in self.levels.lanes]
        if len(sides) == 1 and set(item.nets) & self.levels.hung:
            return self.own_entry(sides[0]) + 0.05
        if after and any(map(self.flow.given.common, item.nets)):
            return self.own_entry(after[0]) + (0.04 if after[0].net("cathode") in item.nets else 0.01)
        return min([nearest, *(self.own_entry(each) - 0.2 for each, pin in ends if pin == "grid")])

    def _rank(self, item: Item) -> int:
        if item.kind in ("valve", "rail"):
            return 0
        if len(item.nets) == 3 and item.kind == "pot":
            return 4
        if any(map(self.flow.given.common, item.nets)):
            return 1
        if item.kind == "pole":
            return 6
        if not self.upright(item):
            return 3
        return 5 if any(set(item.nets) <= set(pot.nets) for net in item.nets for pot in self.pots(net)) else 2

    def pots(self, net: str) -> list[Item]:
        """Pots with three nets on a net."""
        return [item for item, _ in self.flow.on[net] if item.kind == "pot" and len(item.nets) == 3]

    def upright(self, item: Item) -> bool:
        """Whether a two-ended part stands upright."""
        if any(map(self.flow.given.common, item.nets)):
            return len(item.nets) > 1
        if len(item.nets) != 2:
            return False
        first, second = sorted(item.nets, key=self.flow.far)
        drop = self.levels.at(first) - self.levels.at(second)
        if drop == 0:
            return False
        if any(second in each.nets for each in self.pots(first)):
            return abs(drop) >= 2
        if item.kind == "capacitor" and first in self.levels.low - self.levels.hung:
            return False
        if first in self.levels.hung or second in self.levels.hung:
            return True
        if {first, second} <= self.flow.at_pins["plate"] and abs(drop) >= 2 * STEP:
            return True
        return item.kind != "capacitor" and second in self.levels.low and drop >= STEP
