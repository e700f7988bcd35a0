"""Placing the parts of one row, each as soon as what leads to it stands, and wiring it at once."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from . import symbols
from .geometry import Box, Sheet, Symbol, around, words_width
from .items import Item
from .levels import STEP, below
from .standing import Standing


@dataclass(eq=False)
class Row(Standing):
    """Parts in one row, from left to right in the order of the signal."""

    lane_start: list[int] = field(default_factory=list)
    thrown: set[str] = field(default_factory=set)

    def sheet(self) -> Sheet:
        """Place and wire everything."""
        self.bias = {rail: below(self.levels, rail) for rail in self.flow.given.rails}
        left = [(self.turns.turn(item), item) for item in self.items]
        while left:
            turn = min(left, key=lambda each: (*each[0][:2], self._throw_level(each[1]), each[0][2]))
            left.remove(turn)
            if self.waiting and turn[0][0] > self.waiting[0][0] + 0.02:
                self.connect_waiting()
            self._place(turn[1])
        self.connect_waiting()
        for net, (word, side) in self.ends.items():
            if net in self.reach and not any(sign.text == word for sign in self.board.signs):
                self.end(net, word, side)
        return Sheet(self.board.symbols, self.board.signs, self.board.wires())

    def _throw_level(self, item: Item) -> int:
        """Parts at a low throw of a switch come before those at a higher one, whose wires pass over them."""
        return min((self.levels.at(net) for net in item.nets if net in self.thrown), default=0)

    def _place(self, item: Item) -> None:
        if item.kind == "valve":
            self._place_valve(item)
        elif item.kind == "transformer":
            self._place_transformer(item)
        elif item.kind == "pole":
            self._place_pole(item)
        elif item.kind == "rail":
            self.settle(lambda x: symbols.rail_symbol(item, x, self.levels.at(item.nets[0])), self._start(item))
        elif item.kind == "pot" and len(item.nets) == 3:
            self._place_pot(item)
        elif len(item.nets) == 1 or item.name in self.flow.back:
            self._place_level(item)
        elif self.turns.upright(item):
            self._place_upright(item)
        else:
            self._place_level(item)

    def _start(self, item: Item) -> int:
        """The first place for something that follows its nets."""
        found = [self.reach[net] for net in item.nets if net in self.reach]
        return max(found) if found else self._right() + 1

    def _right(self) -> int:
        return math.ceil(around(self.board.boxes)[2]) if self.board.boxes else 0

    def _place_valve(self, item: Item) -> None:
        y, pins = self.levels.middle[item.name], dict(item.pins)
        grid = pins.get("grid", "")
        known = [self.reach[net] for net in (grid, pins.get("cathode", "")) if net in self.reach]
        start = self.reach.get(grid, max(known, default=self._right())) + symbols.VALVE + 1
        if item.name in self.levels.lanes:
            grids = [dict(each.pins)["grid"] for each in self.items if each.name in self.levels.lanes]
            ends = [self.reach[net] + symbols.VALVE + 1 for net in grids if net in self.reach]
            start = max([start, *(self.lane_start or ends)])
            self.lane_start = [start]
        self.settle(lambda x: symbols.valve(item, x, y), start, self._kept_free(item, y))

    def _kept_free(self, item: Item, y: int) -> list[Box]:
        """Room over the plate and under the cathode of a valve at x = 0 for what will stand there."""
        pins = dict(item.pins)
        kept: list[Box] = []
        for pin, low, top in (("plate", 4.0, 8.0), ("cathode", -8.0, -4.0)):
            net = pins.get(pin, self.flow.given.ground)
            if not self.flow.given.common(net) and net not in self.reach and item.name not in self.levels.lanes:
                kept.append((-0.6, y + low, 3.0, y + top))
        return kept

    def _place_transformer(self, item: Item) -> None:
        primary = [net for pin, net in item.pins if pin.startswith("primary") and not self.flow.given.common(net)]
        heights = [self.levels.at(net) for net in primary] or [STEP]
        middle = (max(heights) + min(heights)) // 2 if len(heights) > 1 else heights[0] + STEP
        upside = self.flow.given.common(dict(item.pins).get("primary_b", ""))
        start = max([self.reach.get(net, 0) for net in primary], default=0) + 4
        lanes = [s.boxes for s in self.board.symbols if s.item.name in self.levels.lanes]
        start = max([start, *(int(box[2]) + 4 for boxes in lanes for box in boxes)])
        reach = (max(heights) - min(heights)) // 2 if len(heights) > 1 else STEP
        self.settle(lambda x: symbols.transformer(item, x, middle, max(reach, STEP), upside), start)
        for pin, net in item.pins:
            if pin.startswith("tap"):
                self.levels.net[net] = self.board.symbols[-1].ends[pin][1]

    def _place_pot(self, item: Item) -> None:
        upper, lower = self.levels.track.get(item.name) or self.levels.ends(item)
        pins, far = dict(item.pins), self.flow.far
        left = far(pins["wiper"]) < far(pins[upper])
        y = self.levels.middle[item.name]

        def make(x: int, beside: bool = False) -> Symbol:
            return symbols.pot_upright(item, x, y, (upper, lower), left, beside)

        for x in self._anchors(pins[upper], y + symbols.HALF, down=True):
            if self.attempt(make(x)) or (
                pins["wiper"] in (pins[upper], pins[lower]) and self.attempt(make(x, beside=True))
            ):
                return
        self.settle(make, self._start(item) + (3 if left else 1))

    def _place_pole(self, item: Item) -> None:
        common = next(net for pin, net in item.pins if pin.endswith("common"))
        throws = [net for pin, net in item.pins if not pin.endswith("common") and not self.flow.given.common(net)]
        level = (
            sum(any(len(self.flow.signal(e)) > 1 for e, _ in self.flow.on[net] if e is not item) for net in throws) > 1
        )
        mirrored = bool(throws) and min(map(self.flow.far, throws)) < self.flow.far(common)
        y = self.levels.at(common) if not self.flow.given.common(common) else self.levels.at(throws[0]) if throws else 0
        pitch, ways = STEP if level else 3, len(symbols.merged(item.throws))
        y += STEP if y > 0 else -pitch * max(ways // 2 - 1, 0)
        wide = 6 + max(int(words_width(", ".join(labels))) for labels, _ in symbols.merged(item.throws))
        start = self._start(item) + (wide if mirrored else 1)
        self.settle(lambda x: symbols.pole(item, x, y, mirrored, pitch), start)
        for pin, (_, height) in self.board.symbols[-1].ends.items():
            if not pin.endswith("common") and not self.flow.given.common(item.net(pin)):
                self._throw(item.net(pin), height, item)

    def _throw(self, net: str, height: int, pole: Item) -> None:
        """A throw stands at a height, and with it what only follows it."""
        self.thrown.add(net)
        self.levels.net[net] = height
        for item, _ in self.flow.on[net]:
            if item is pole or item.kind not in ("resistor", "capacitor", "inductor") or len(item.nets) != 2:
                continue
            other = next(each for each in item.nets if each != net)
            near = [each for each, _ in self.flow.on.get(other, ()) if each is not item]
            fresh = not self.flow.given.common(other) and other not in self.reach and other not in self.thrown
            if fresh and all(each.kind in ("resistor", "capacitor", "inductor") for each in near):
                self._throw(other, height, pole)

    def _two_ends(self, item: Item, first: str) -> tuple[str, str]:
        """The pins of a two-ended part, that on a net first."""
        pins = [pin for pin, _ in item.pins if pin != "wiper"]
        return (pins[0], pins[1]) if item.net(pins[0]) == first else (pins[1], pins[0])

    def _place_upright(self, item: Item) -> None:
        upper, lower, top = self._hanging(item)
        ends = self._two_ends(item, upper)
        if self._beside_screen(item):
            return

        def make(x: int, beside: bool = True) -> Symbol:
            if item.kind == "pot":
                return symbols.pot_upright(item, x, top - symbols.HALF, ends, False, beside)
            return symbols.upright(item, x, top, *ends)

        hangs = not self.flow.given.common(upper)
        for x in self._anchors(upper if hangs else lower, top if hangs else top - STEP, down=hangs):
            if self.attempt(make(x)) or (item.kind == "pot" and self.attempt(make(x, beside=False))):
                return
        known = [self.reach[net] for net in (upper, lower) if net in self.reach]
        start = min(known) if known else self._right() + 2
        self.settle(make, start)

    def _hanging(self, item: Item) -> tuple[str, str, int]:
        """Upper net, lower net and the height of the upper end of a part that stands upright."""
        first, second = item.nets
        common, at = self.flow.given.common, self.levels.at
        for one, other in ((first, second), (second, first)):
            if one == self.flow.given.ground or (one in self.flow.given.rails and self.bias[one]):
                return other, one, (STEP if common(other) else at(other))
            if one in self.flow.given.rails and other != self.flow.given.ground:
                return one, other, (STEP if common(other) else at(other) + STEP)
        upper, lower = sorted((first, second), key=at, reverse=True)
        over = upper in self.levels.hung and upper not in self.levels.low
        return upper, lower, (at(lower) + STEP if over else at(upper))

    def _anchors(self, net: str, y: int, down: bool) -> Iterator[int]:
        """Where on a net a part may stand straight under, or over, a terminal."""
        for symbol in self.board.symbols:
            for pin, (x, height) in symbol.ends.items():
                if symbol.item.net(pin) != net or symbol.across or pin == "wiper":
                    continue
                if (
                    (height in (y, y + 1) and height <= symbol.at[1] - 2)
                    if down
                    else (height in (y, y - 1) and height >= symbol.at[1] + 2)
                ):
                    yield x

    def _beside_screen(self, item: Item) -> bool:
        """A part from a screen to a rail lies beside the valve."""
        for symbol in self.board.symbols:
            for pin, (x, y) in symbol.ends.items() if symbol.item.kind == "valve" else ():
                net = symbol.item.net(pin)
                if pin not in ("plate", "grid", "cathode") and net in item.nets and item.kind != "pot":
                    return any(
                        self.attempt(symbols.level(item, x + more, y, *self._two_ends(item, net))) for more in (0, 1, 2)
                    )
        return False

    def _place_level(self, item: Item) -> None:
        nets = sorted(item.nets, key=lambda net: (net not in self.thrown, self.flow.far(net)))
        first, second = nets[0], nets[-1]
        ends = self._two_ends(item, first)
        if self._beside_equal(item, ends):
            return
        if item.name in self.flow.back:
            y, start = self._back_lane(item), min((self.reach[net] for net in nets if net in self.reach), default=0)
        else:
            y = self._height(first, second)
            if self._between(item, first, second, y, ends):
                return
            start = self._level_start(item, first, second)
        self.settle(lambda x: self._lying(item, x, y, ends), start + 1)

    def _height(self, first: str, second: str) -> int:
        """Of a part that lies between two nets: that of the first, but of the foot of a pot or a push-pull half."""
        high, foot = self.levels.at(first), self.levels.at(second)
        if first in self.thrown:
            return high
        return high if 0 <= high - foot <= STEP and second not in self.levels.hung else foot

    def _level_start(self, item: Item, first: str, second: str) -> int:
        start = self.reach[first] if first in self.reach else self._start(item) - 8
        return max([start, *(each.at[0] + 3 for each in self._inverters(second))])

    def _beside_equal(self, item: Item, ends: tuple[str, str]) -> bool:
        """A part stands over or under one between the same nets, in line with it."""
        for other in self.board.symbols:
            if other.across and set(other.item.nets) == set(item.nets):
                left, y = other.at[0] - symbols.HALF, other.at[1]
                turned = other.item.net(min(other.ends, key=lambda pin: other.ends[pin])) != item.net(ends[0])
                ways = ends[::-1] if turned else ends
                if any(self.attempt(self._lying(item, left, y + dy, ways)) for dy in (4, 5, -4, -5, 6, -6, 7, 8)):
                    return True
        return False

    def _inverters(self, net: str) -> list[Symbol]:
        """Valves that stand before a push-pull stage, when a net leads to it."""
        if self.levels.at(net) not in self.levels.lanes.values():
            return []
        return [each for each in self.board.symbols if each.look == "valve" and each.item.name not in self.levels.lanes]

    def _back_lane(self, item: Item) -> int:
        """Under everything; parts of one line back in one lane."""
        lanes = [
            s.at[1] for s in self.board.symbols if s.item.name in self.flow.back and set(s.item.nets) & set(item.nets)
        ]
        below = math.floor(around(self.board.boxes)[1]) - 3 if self.board.boxes else 0
        return lanes[0] if lanes else below

    def _lying(self, item: Item, x: int, y: int, ends: tuple[str, str]) -> Symbol:
        return symbols.pot_level(item, x, y, ends) if item.kind == "pot" else symbols.level(item, x, y, *ends)

    def _between(self, item: Item, first: str, second: str, y: int, ends: tuple[str, str]) -> bool:
        """A part between nets that stand apart: over or under what is there already."""
        far = self.reach.get(second, -(10**6)) - self.reach.get(first, 10**6)
        if far < STEP or first in self.thrown:
            return False
        middle = (self.reach[first] + self.reach[second]) // 2 - symbols.HALF
        options = sorted(
            ((dx, dy) for dx in range(-8, 9) for dy in range(-12, 13)), key=lambda o: 2.0 * abs(o[0]) + abs(o[1] - 0.4)
        )
        return any(self.attempt(self._lying(item, middle + dx, y + dy, ends)) for dx, dy in options)
