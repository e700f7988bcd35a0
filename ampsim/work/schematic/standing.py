"""Symbols that stand on a board with their signs, wired as soon as they stand."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain, count
from string import ascii_uppercase

from . import symbols
from .board import Board
from .contents import is_entry
from .flow import Flow
from .geometry import Box, Point, Sign, Symbol, around, shift
from .items import Item
from .levels import Levels
from .turns import Turns
from .way_costs import WayCosts

_TRIES = 400
_DETOUR = 14.0  # units that a way to a sign may cost beyond what lies between
_PATIENCE = 3  # ways looked for in vain, after which it is quicker to ask first from where there are any
_SIDES: dict[str, Point] = {"left": (-1, 0), "right": (1, 0), "up": (0, 1), "down": (0, -1)}


def letters(first: str) -> Iterator[str]:
    """Letters of an alphabet, "A" or "a", without end."""
    for turn in count(1):
        for sign in ascii_uppercase:
            yield (sign if first == "A" else sign.lower()) * turn


@dataclass(eq=False)
class Standing:
    """A board with parts on it.

    `ends` names nets that go on elsewhere: where to, and "left" or "right" for the side they leave on, "up" for a
    rail. `reach` is how far to the right each net has come, `torn` the nets for which no way was found.
    """

    flow: Flow
    levels: Levels
    items: Sequence[Item]
    ends: dict[str, tuple[str, str]] = field(default_factory=dict)
    air: float = 0.9
    board: Board = field(default_factory=Board)
    reach: dict[str, int] = field(default_factory=dict)
    torn: list[str] = field(default_factory=list)
    letters: Iterator[str] = field(default_factory=lambda: letters("a"))
    bias: dict[str, bool] = field(default_factory=dict)
    waiting: list[tuple[float, str, Point]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.turns = Turns(self.flow, self.levels, self.items)

    def settle(self, make: Callable[[int], Symbol], start: int, kept: Sequence[Box] = ()) -> None:
        """Stand a symbol at the first place from `start` on where it has room, and what is kept free beside it."""
        for x in range(start, start + _TRIES):
            clear = self.board.free([shift(box, x, 0) for box in kept], [], self.air)
            if clear and self.attempt(make(x)):
                return
        # Right of everything there always is.
        symbol = make(math.ceil(around(self.board.boxes)[2]) + _TRIES)
        self._stand(symbol, list(self._signs(symbol)))

    def attempt(self, symbol: Symbol) -> bool:
        """Stand a symbol where it is, if it has room."""
        signs = [(sign, net) for sign, net in self._signs(symbol)]
        boxes = symbol.boxes + [sign.box for sign, _ in signs]
        pins = [(point, symbol.item.net(pin)) for pin, point in symbol.ends.items()]
        if not self.board.free(boxes, pins, self.air):
            return False
        self._stand(symbol, signs)
        return True

    def _signs(self, symbol: Symbol) -> Iterator[tuple[Sign, str]]:
        seen: set[tuple[str, str]] = set()
        for pin, point in symbol.ends.items():
            net = symbol.item.net(pin)
            doubled = symbol.item.kind == "pot" and pin == "wiper" and net in (
                symbol.item.net("top"), symbol.item.net("bottom")
            )  # fmt: skip
            if not self.flow.given.common(net) or doubled:
                continue
            if net == self.flow.given.ground:
                yield symbols.sign("ground", "", point, "down"), net
            else:
                side = "down" if self.bias[net] else "up"
                side = {"vplus": "up", "vminus": "down"}.get(pin, side)
                # Beside a part that lies level there is no room for a word but further out.
                far = (1 if point[0] > symbol.at[0] else -1) if symbol.across else 0
                yield symbols.sign("rail", self.flow.given.rails[net], (point[0] + far, point[1]), side), net
            seen.add((pin, net))

    def _stand(self, symbol: Symbol, signs: Iterable[tuple[Sign, str]]) -> None:
        self.board.put(symbol)
        own = symbol.item
        for sign, net in signs:
            self.board.put_sign(sign, net)
            if sign.at not in symbol.ends.values():
                self.board.lay(net, [next(p for p in symbol.ends.values() if abs(p[0] - sign.at[0]) == 1), sign.at])
        for pin, point in sorted(symbol.ends.items(), key=lambda end: end[0] == "wiper"):
            net = own.net(pin)
            if self.flow.given.common(net):
                if own.kind == "pot" and pin == "wiper" and not any(sign.at == point for sign, _ in signs):
                    self._strap(symbol, pin, net)
                continue
            if own.name in self.levels.lanes and pin == "cathode" and self.board.trees.get(net):
                # The parts at the screens come first, so that this wire goes round them.
                self.waiting.append((self.turns.own_entry(own), net, point))
                continue
            fresh = net not in self.board.trees
            if not self.board.connect(net, point):
                self._tear(net, point)
            # What follows a cathode stands beside its valve.
            right = point[0] + (symbols.VALVE if own.kind == "valve" and pin == "cathode" else 0)
            self.reach[net] = max(right, self.reach.get(net, right))
            if fresh and net in self.ends and self.ends[net][1] == "left":
                self.end(net, *self.ends[net])

    def connect_waiting(self) -> None:
        """Wire the cathodes that waited for what stands at the screens."""
        for _, net, point in self.waiting:
            if not self.board.connect(net, point):
                self._tear(net, point)
            self.reach[net] = max(point[0], self.reach.get(net, point[0]))
        self.waiting = []

    def _strap(self, symbol: Symbol, pin: str, net: str) -> None:
        """The wiper of a variable resistor whose other end is on a common net: strapped at the pot."""
        other = next(end for end in ("top", "bottom") if symbol.item.net(end) == net)
        key = f"{net} strap {symbol.item.name}"
        self.board.trees[key] = {symbol.ends[other]}
        self.board.pins[symbol.ends[other]] = self.board.pins[symbol.ends[pin]] = key
        if not self.board.connect(key, symbol.ends[pin]):
            self.torn.append(net)

    def _tear(self, net: str, point: Point) -> None:
        """No way for a wire: both of its ends get a letter."""
        self.torn.append(net)
        word = next(self.letters)
        for tree in (self.board.trees[net], {point}):
            if not any(self._flag(net, "flag", word, side, tree) for side in ("right", "left", "down", "up")):
                self.board.put_sign(symbols.sign("flag", word, max(tree), "right"), net)

    def end(self, net: str, word: str, side: str) -> None:
        """The sign of a net that goes on elsewhere, near one of its terminals."""
        kind = "rail" if side == "up" else "input" if is_entry(word) else "flag"
        sides = dict.fromkeys((side, *(() if kind == "rail" else ("right", "left", "down", "up"))))
        if not any(self._flag(net, kind, word, each, self.board.trees[net]) for each in sides):
            self.torn.append(net)
            self.board.put_sign(symbols.sign(kind, word, max(self.board.trees[net]), side), net)

    def _flag(self, net: str, kind: str, word: str, side: str, tree: set[Point]) -> bool:
        """Put a sign near a terminal on a tree, and join them."""
        points = sorted(tree, key=lambda p: -p[0] if side == "right" else p[0])
        pins = [p for p in points if p in self.board.pins]
        costs, vain = WayCosts(self.board, net, tree), 0
        for at, most in chain(self._flag_places(net, side, pins), self._flag_places(net, side, points)):
            sign = symbols.sign(kind, word, at, side)
            air = 0.3 if _SIDES[side][0] else 0.9
            if at in self.board.pins or not self.board.free([sign.box], [(at, net)], air):
                continue
            if vain >= _PATIENCE and not costs.within(at, most):
                continue
            self.board.put_sign(sign, net)
            if self.board.connect(net, at, tree, most):
                return True
            self.board.take_sign(sign)
            vain += 1
        return False

    def _flag_places(self, net: str, side: str, points: list[Point]) -> Iterator[tuple[Point, float]]:
        """Where a sign may stand for points of a net, the nearest first, and what the way there may cost."""
        level, (dx, dy) = self.levels.at(net), _SIDES[side]
        near = sorted(points, key=lambda p: abs(p[1] - level) if dx else 0)
        for far in range(1 if dx else 3, 24):
            for x, y in near:
                for lift in (0, 1, -1, 2, -2, 3, -3):
                    yield (x + dx * far, y + lift) if dx else (x + lift, y + dy * far), far + _DETOUR
