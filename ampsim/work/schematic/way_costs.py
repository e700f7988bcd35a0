"""What a wire to a tree of its net costs at least, asked of many points: most places for a sign have no way to it."""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass, field

from .board import BEND, TURNS, WAYS, Board
from .geometry import Box, Point

_ANYWHERE: Box = (-math.inf, -math.inf, math.inf, math.inf)


@dataclass(eq=False)
class WayCosts:
    """Costs of ways on a board that stays as it is, found from the tree outwards, as far as was asked."""

    board: Board
    net: str
    tree: set[Point]
    _least: dict[tuple[Point, int], float] = field(default_factory=dict)
    _heap: list[tuple[float, Point, int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        goals = [point for point in self.tree if not self.board.foreign(point, self.net)]
        self._least = {(point, way): 0.0 for point in goals for way in range(4)}
        self._heap = sorted((0.0, point, way) for point, way in self._least)

    def within(self, point: Point, most: float) -> bool:
        """Whether a way from a point could cost no more; what will stand at the point is not in its way.

        Parameters
        ----------
        point : Point
        most : float
            Cost [units of length], as of `Board.connect`.
        """
        while self._heap and self._heap[0][0] <= most:
            cost, there, way = heapq.heappop(self._heap)
            if cost <= self._least[there, way]:
                self._before(cost, there, way)
        return any(self._least.get((point, way), math.inf) <= most for way in range(4))

    def _before(self, cost: float, point: Point, way: int) -> None:
        """The steps by which a wire can have come to a point in a direction."""
        last = (point[0] - WAYS[way][0], point[1] - WAYS[way][1])
        if point in self.board.blocked or (last, way) in self.board.edges:
            return
        cost += self.board.price(self.net, point, way, _ANYWHERE)
        straight = bool(self.board.foreign(last, self.net))
        for turn in (way,) if straight else TURNS[way]:
            new = cost + (BEND if turn != way else 0.0)
            if new < self._least.get((last, turn), math.inf):
                self._least[last, turn] = new
                heapq.heappush(self._heap, (new, last, turn))
