"""A grid on which symbols stand and wires find their way: short, few corners and crossings, never through anything."""

from __future__ import annotations

import heapq
import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise

from .geometry import Box, Point, Sign, Symbol, Wire, around, grown

WAYS: tuple[Point, ...] = ((1, 0), (0, 1), (-1, 0), (0, -1))
TURNS = tuple(tuple(turn for turn in range(4) if (turn + 2) % 4 != way) for way in range(4))
_PATIENCE = 9000  # steps looked at before a way is given up
_HASTE = 1.15  # over 1: quicker, and a way may cost a little more than the best
BEND, _CROSS, _ALONG = 2.0, 4.0, 0.7
_MARGIN = 6  # units round all that stands where wires may go
_AIR = 0.25  # of a wire from a body or a text


@dataclass
class Board:
    """Symbols and signs in their places, wires along unit edges; every net is a tree of points."""

    symbols: list[Symbol] = field(default_factory=list)
    signs: list[Sign] = field(default_factory=list)
    boxes: list[Box] = field(default_factory=list)
    blocked: Counter[Point] = field(default_factory=Counter)
    pins: dict[Point, str] = field(default_factory=dict)
    edges: dict[tuple[Point, int], str] = field(default_factory=dict)
    trees: dict[str, set[Point]] = field(default_factory=dict)
    paths: list[list[Point]] = field(default_factory=list)
    used: set[Point] = field(default_factory=set)

    def free(self, boxes: Iterable[Box], pins: Iterable[tuple[Point, str]], air: float) -> bool:
        """Whether boxes and terminals have room, with air [units] round the boxes; a terminal may touch its own net."""
        for box in boxes:
            left, low, right, high = box[0] - air, box[1] - 0.2, box[2] + air, box[3] + 0.2
            # As `meet`, which asked of every box would be most of what placing costs.
            if any(left < b[2] and b[0] < right and low < b[3] and b[1] < high for b in self.boxes):
                return False
            if any(point in self.pins or point in self.used for point in _points(grown(box, _AIR))):
                return False
        return all(self._takes(point, net) for point, net in pins)

    def _takes(self, point: Point, net: str) -> bool:
        if point in self.blocked or self.pins.get(point, net) != net:
            return False
        return all(self.edges.get((point, way), net) == net for way in range(4))

    def put(self, symbol: Symbol) -> None:
        """Stand a symbol on the board."""
        self.symbols.append(symbol)
        for box in symbol.boxes:
            self._block(box)
        for pin, point in symbol.ends.items():
            self.pins[point] = symbol.item.net(pin)

    def put_sign(self, sign: Sign, net: str) -> None:
        """Stand a sign at a wire's end."""
        self.signs.append(sign)
        self._block(sign.box)
        self.pins.setdefault(sign.at, net)

    def take_sign(self, sign: Sign) -> None:
        """Take a sign off again to which no wire leads."""
        self.signs.remove(sign)
        self.boxes.remove(sign.box)
        for point in _points(grown(sign.box, _AIR)):
            self.blocked[point] -= 1
            if not self.blocked[point]:
                del self.blocked[point]
        del self.pins[sign.at]

    def _block(self, box: Box) -> None:
        self.boxes.append(box)
        self.blocked.update(_points(grown(box, _AIR)))

    def connect(self, net: str, point: Point, to: set[Point] | None = None, most: float = math.inf) -> bool:
        """Join a terminal to its net by a wire; whether a way was found.

        Parameters
        ----------
        net : str
        point : Point
            The terminal.
        to : set of Point
            Where the wire may end; default: anywhere on the net.
        most : float
            What the way may cost [units of length]; corners and crossings count as some.
        """
        tree = self.trees.setdefault(net, set()) if to is None else to
        if not tree or point in tree:
            tree.add(point)
            return True
        path = self._way(net, point, tree, most)
        if not path:
            return False
        self.lay(net, path)
        tree.update(path)
        return True

    def lay(self, net: str, path: list[Point]) -> None:
        """Lay a wire along neighbouring points."""
        self.paths.append(path)
        self.used.update(path)
        for first, second in pairwise(path):
            way = WAYS.index((second[0] - first[0], second[1] - first[1]))
            self.edges[first, way] = self.edges[second, (way + 2) % 4] = net

    def foreign(self, point: Point, net: str) -> list[int]:
        """The ways in which wires of other nets leave a point."""
        if point not in self.used:
            return []
        return [way for way in range(4) if self.edges.get((point, way), net) != net]

    def _way(self, net: str, start: Point, tree: set[Point], most: float) -> list[Point]:
        """The best way from a point to a tree; nothing when there is none."""
        goals = {point for point in tree if not self.foreign(point, net)}
        if not goals:
            return []
        left, low, right, high = around((x, y, x, y) for x, y in goals)
        room = self._room(start)
        best: dict[tuple[Point, int], float] = {(start, way): 0.0 for way in range(4)}
        came: dict[tuple[Point, int], tuple[Point, int]] = {}
        heap = [(0.0, 0.0, start, way) for way in range(4)]
        prices: dict[tuple[Point, int], float] = {}  # a step is looked at from up to three sides
        blocked, edges, used = self.blocked, self.edges, self.used
        while heap:
            guess, cost, point, way = heapq.heappop(heap)
            if guess > most or len(came) > _PATIENCE:
                return []
            if cost > best[point, way]:
                continue
            if point in goals and point != start:
                return _traced(came, (point, way), start)
            crossing = point in used and bool(self.foreign(point, net))
            for turn in (way,) if crossing else TURNS[way]:
                x, y = step = (point[0] + WAYS[turn][0], point[1] + WAYS[turn][1])
                if step in blocked or (point, turn) in edges:
                    continue
                state = (step, turn)
                price = prices.get(state)
                if price is None:
                    price = prices[state] = self.price(net, step, turn, room)
                new = cost + price + (BEND if turn != way else 0.0)
                if new < best.get(state, math.inf):
                    best[state] = new
                    came[state] = (point, way)
                    aside = left - x if x < left else x - right if x > right else 0.0
                    apart = low - y if y < low else y - high if y > high else 0.0
                    heapq.heappush(heap, (new + _HASTE * (aside + apart), new, step, turn))
        return []

    def _room(self, start: Point) -> Box:
        x, y = start
        return grown(around([*self.boxes, (x, y, x, y)]), _MARGIN)

    def price(self, net: str, step: Point, turn: int, room: Box) -> float:
        """What a step costs; infinite where none can be taken.

        Parameters
        ----------
        net : str
            Whose wire it is.
        step : (float, float)
            Where it leads [grid steps].
        turn : int
            Its way, an index of `WAYS`.
        room : Box
            Within which wires stay [grid steps].
        """
        x, y = step
        if self.pins.get(step, net) != net or not (room[0] <= x <= room[2] and room[1] <= y <= room[3]):
            return math.inf
        sides = ((turn + 1) % 4, (turn + 3) % 4)
        if step in self.used and (foreign := self.foreign(step, net)):
            # Only straight across a straight wire.
            straight = sorted(foreign) == sorted(sides)
            return 1.0 + _CROSS if straight and len({self.edges[step, way] for way in foreign}) == 1 else math.inf
        price = 1.0
        for side in sides:
            near = (x + WAYS[side][0], y + WAYS[side][1])
            if near in self.blocked or (near in self.used and self.edges.get((near, turn), net) != net):
                price += _ALONG
        return price

    def wires(self) -> list[Wire]:
        """Straight wires, each as long as it goes without a corner."""
        found: list[Wire] = []
        for path in self.paths:
            first = path[0]
            for before, point, after in zip(path, path[1:], path[2:], strict=False):
                if (point[0] - before[0], point[1] - before[1]) != (after[0] - point[0], after[1] - point[1]):
                    found.append((first, point))
                    first = point
            found.append((first, path[-1]))
        return found


def _points(box: Box) -> list[Point]:
    """The grid points in a box."""
    xs = range(math.ceil(box[0]), math.floor(box[2]) + 1)
    return [(x, y) for x in xs for y in range(math.ceil(box[1]), math.floor(box[3]) + 1)]


def _traced(came: dict[tuple[Point, int], tuple[Point, int]], end: tuple[Point, int], start: Point) -> list[Point]:
    path = [end[0]]
    while path[-1] != start:
        end = came[end]
        path.append(end[0])
    return path
