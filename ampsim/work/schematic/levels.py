"""How high each net and each block of a circuit stands: plates above grids, cathodes below, pots between."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property

from .flow import DIRECT, Flow
from .items import Item

STEP = 4
LANE = 8
"""How far the two halves of a push-pull stage stand above and below the middle."""


@dataclass(eq=False)
class Levels:
    """Heights: of nets [units over the line of the grids], of valves and of the middles of pots."""

    flow: Flow
    net: dict[str, int] = field(default_factory=dict)
    middle: dict[str, int] = field(default_factory=dict)
    hung: set[str] = field(default_factory=set)
    track: dict[str, tuple[str, str]] = field(default_factory=dict)
    low: set[str] = field(default_factory=set)
    over: dict[str, str] = field(default_factory=dict)
    spine: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._set_valves()
        self._set_pots()
        self._set_rest()

    def at(self, net: str) -> int:
        """The height of a net."""
        return self.net.get(net, 0)

    # Valves ---------------------------------------------------------------------------------------------------------

    @cached_property
    def lanes(self) -> dict[str, int]:
        """Valves of a push-pull stage to the height of their half."""
        found: dict[str, int] = {}
        for item in self.flow.given.items:
            if item.kind != "transformer":
                continue
            pins = dict(item.pins)
            sides = (pins.get("primary_a"), LANE), (pins.get("primary_b"), -LANE)
            driven = {side: self._valves_at(net) for net, side in sides if net}
            if all(driven.values()) and len(driven) == 2:
                found |= {name: side for side, names in driven.items() for name in names}
        return found

    def _valves_at(self, net: str) -> list[str]:
        """Valves with their plate on a net, straight or through a resistor."""
        if self.flow.given.common(net):
            return []
        near = {net} | {
            other for item, _ in self.flow.on[net] if item.kind in ("resistor", "inductor") for other in item.nets
        }
        return [item.name for each in near for item, pin in self.flow.on.get(each, ()) if pin == "plate"]

    def _set_valves(self) -> None:
        valves = sorted((item for item in self.flow.given.items if item.kind == "valve"), key=self._entry)
        for pin, step in (("plate", STEP), ("cathode", -STEP), ("grid", 0)):
            for item in valves:
                base = self.middle.setdefault(item.name, self.lanes.get(item.name, 0))
                net = dict(item.pins).get(pin, self.flow.given.ground)
                if not self.flow.given.common(net):
                    self.net.setdefault(net, base + step)
        for net in self.flow.at_pins["cathode"] & set(self.net):
            low = min(self.middle[item.name] - STEP for item, pin in self.flow.on[net]
                      if item.kind == "valve" and pin == "cathode")  # fmt: skip
            self.net[net] = min(self.net[net], low) if self.net[net] != self._plate_level(net) else self.net[net]
        for pins, step in (("cathode", -STEP), ("plate", STEP), ("screen", STEP)):
            for net in sorted(self.flow.at_pins.get(pins, ()), key=self.flow.far):
                self.net.setdefault(net, self._pin_level(net, pins))
                self._hang(net, step, self.flow.far(net))
        for item in valves:
            self._set_grid_side(dict(item.pins)["grid"])

    def _plate_level(self, net: str) -> int | None:
        found = [self.middle[item.name] + STEP for item, pin in self.flow.on[net] if pin == "plate"]
        return found[0] if found else None

    def _pin_level(self, net: str, pin: str) -> int:
        valves = ((item, name) for item, name in self.flow.on[net] if item.kind == "valve")
        return next(self.middle[item.name] for item, name in valves if name == pin) + 1

    def _entry(self, item: Item) -> float:
        return min(map(self.flow.far, item.nets))

    def _set_grid_side(self, grid: str) -> None:
        """Nets that lead to a grid through resistors stand as high as it."""
        if grid in self.flow.at_pins["plate"] | self.flow.at_pins["cathode"]:
            return
        for item, _ in self.flow.on.get(grid, ()):
            if item.kind == "resistor" and len(self.flow.signal(item)) == 2:
                other = next(net for net in item.nets if net != grid)
                if other not in self.net and self.flow.far(other) < self.flow.far(grid) and not self._at_pot(other):
                    self.net[other] = self.net[grid]

    def _at_pot(self, net: str) -> bool:
        return any(item.kind == "pot" and len(item.nets) == 3 for item, _ in self.flow.on[net])

    # What hangs under a cathode, stands over a plate ----------------------------------------------------------------

    def _hang(self, net: str, step: int, far: float) -> None:
        """Nets with a way for direct current from a net on to ground (down) or a rail (up) stand a step further."""
        end = {self.flow.given.ground} if step < 0 else set(self.flow.given.rails)
        ways = list(self._ways(net, {net}, step))
        for item, _ in self.flow.on.get(net, ()):
            if item.kind in DIRECT and len(item.nets) == 2 and end & set(item.nets):
                self.spine.setdefault(item.name, far)
        for item, other in ways:
            self.spine.setdefault(item.name, far)
            if other not in self.net:
                self.net[other] = self.net[net] + step
                self.hung.add(other)
                (self.low.add(other) if step < 0 else None)
                self._hang(other, step, far + 0.001)

    def _ways(self, net: str, seen: set[str], step: int) -> Iterator[tuple[Item, str]]:
        for item, _ in self.flow.on.get(net, ()):
            if item.kind in DIRECT and len(item.nets) == 2 and item.name not in self.flow.back:
                other = next(each for each in item.nets if each != net)
                free = other not in self.net and other not in seen and not self.flow.given.common(other)
                if free and not self._at_pot(other) and self._leads(other, {net}, step):
                    yield item, other

    def _leads(self, net: str, seen: set[str], step: int) -> bool:
        """Whether direct current gets on from a net: to ground when looking down, to a rail when looking up."""
        if net in self.flow.secondary or net in self.flow.at_pins["grid"]:
            return False
        seen.add(net)
        for item, _ in self.flow.on.get(net, ()):
            if item.kind not in DIRECT or len(item.nets) != 2 or item.name in self.flow.back:
                continue
            other = next(each for each in item.nets if each != net)
            if (other == self.flow.given.ground) if step < 0 else (other in self.flow.given.rails):
                return True
            free = not self.flow.given.common(other) and other not in seen and other not in self.net
            if free and self._leads(other, seen, step):
                return True
        return False

    # Pots and what hangs below their tracks -------------------------------------------------------------------------

    @cached_property
    def _to_ground(self) -> dict[str, int]:
        """Parts between each net and ground, for direct current."""
        found = {self.flow.given.ground: 0}
        nets = [self.flow.given.ground]
        for net in nets:
            for item, _ in self.flow.on.get(net, ()):
                for other in item.nets if item.kind in DIRECT else ():
                    if other not in found:
                        found[other] = found[net] + 1
                        nets.append(other)
        return found

    def ends(self, item: Item) -> tuple[str, str]:
        """The pins of a pot's track, the one nearer to ground last."""
        pins = dict(item.pins)
        far = 99
        near = sorted(
            ("top", "bottom"),
            key=lambda pin: (self._to_ground.get(pins[pin], far), -min(self.flow.far(pins[pin]), far)),
        )
        return near[1], near[0]

    def _set_pots(self) -> None:
        pots = [item for item in self.flow.given.items if item.kind == "pot" and len(item.nets) == 3]
        for item in sorted(
            pots, key=lambda item: (-self._to_ground.get(item.net(self.ends(item)[0]), 0), self._entry(item))
        ):
            if item.name not in self.middle:
                self._set_pot(item, hanging=False)

    def _set_pot(self, item: Item, hanging: bool) -> None:
        upper, lower = self.ends(item)
        self.track[item.name] = (upper, lower)
        pins, common = dict(item.pins), self.flow.given.common
        top = STEP if common(pins[upper]) else self.net.setdefault(pins[upper], STEP)
        self.middle[item.name] = top - 2 if hanging or top <= 0 else top - STEP
        if not common(pins["wiper"]):
            self.net.setdefault(pins["wiper"], self.middle[item.name])
        if not common(pins[lower]) and pins[lower] not in self.net:
            self.net[pins[lower]] = self.middle[item.name] - 2
            self._below(pins[lower], item)

    def _below(self, net: str, over: Item) -> None:
        """What hangs below the foot of a pot on its way to ground."""
        self.hung.add(net)
        self.low.add(net)
        for item, _ in self.flow.on[net]:
            if item is over or item.kind not in DIRECT:
                continue
            self.over.setdefault(item.name, over.name)
            if item.kind == "pot" and len(item.nets) == 3:
                if item.name not in self.middle and item.net(self.ends(item)[0]) == net:
                    self._set_pot(item, hanging=True)
            else:
                other = next((each for each in item.nets if each != net), net)
                down = self._to_ground.get(other, 99) < self._to_ground.get(net, 99)
                if down and not self.flow.given.common(other) and other not in self.net:
                    self.net[other] = self.net[net] - STEP
                    self._below(other, item)

    # The rest -------------------------------------------------------------------------------------------------------

    def _set_rest(self) -> None:
        for net in sorted(self.flow.depth, key=self.flow.far):
            if net not in self.net:
                self.net[net] = self._beside(net)
                self._end_of_chain(net)

    def _end_of_chain(self, net: str) -> None:
        """What leads to ground alone hangs below what it is on."""
        parts = {item.name: item for item, _ in self.flow.on.get(net, ())}
        on = [item for item in parts.values() if item.kind in (*DIRECT, "capacitor") and len(item.nets) == 2]
        leads = [item for item in on if not any(map(self.flow.given.common, item.nets))]
        last = self.flow.far(net) >= max(self.flow.depth.values())
        alone = len(on) == len(parts) > 1 and len(leads) == 1 and net not in self.flow.given.flags and not last
        if alone and self.net[net] >= 0 and all(self.flow.given.ground in i.nets for i in on if i is not leads[0]):
            self.net[net] -= STEP
            self.hung.add(net)
            self.low.add(net)

    def _beside(self, net: str) -> int:
        """As high as the foot of a pot that it leads to, else as what leads to it."""
        others = [
            other
            for item, _ in self.flow.on.get(net, ())
            if item.kind != "transformer" and item.name not in self.flow.back
            for other in self.flow.signal(item)
            if other != net and other in self.net
        ]
        halves = {self.net[other] for other in others if other in self.flow.at_pins["plate"]}
        if len(halves) == 2 and max(halves) - min(halves) == 2 * LANE:
            self.hung.add(net)
            return sum(halves) // 2
        feet = [self.net[other] for other in others if other in self.low and self._at_pot(other)]
        if feet:
            self.low.add(net)
            return max(feet)
        before = min(others, key=self.flow.far, default="")
        if before in self.flow.at_pins["cathode"] and self._after_lanes(net) is None:
            return STEP
        lane = self._after_lanes(net)
        return self.net.get(before, STEP) if lane is None else lane

    def _after_lanes(self, net: str) -> int | None:
        """The height of the half of a push-pull stage that a net leads to, if it does."""
        for item, _ in self.flow.on.get(net, ()):
            for other in self.flow.signal(item):
                for valve, pin in self.flow.on[other]:
                    if pin == "grid" and valve.name in self.lanes and self.flow.far(other) > self.flow.far(net):
                        return self.lanes[valve.name]
        return None


def nets_of(items: Iterable[Item]) -> set[str]:
    """All nets of items."""
    return {net for item in items for net in item.nets}


def below(levels: Levels, rail: str) -> bool:
    """Whether a rail stands below: it leads to grids alone, not to a plate, a screen or a transformer."""
    flow = levels.flow
    high = flow.at_pins["plate"] | flow.at_pins.get("screen", set())
    nets, grids = [rail], False
    for net in nets:
        for item, _ in flow.on.get(net, ()):
            if item.kind in ("transformer", "valve") and net == rail:
                return False
            grids = grids or net in flow.at_pins["grid"]
            for other in item.nets if item.kind in DIRECT and len(nets) < 12 else ():
                if other in high:
                    return False
                if other not in nets and not flow.given.common(other) and net not in flow.at_pins["grid"]:
                    nets.append(other)
    return grids
