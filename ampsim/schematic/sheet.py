"""A drawing as geometry: symbols with their terminals, wires, and the words that join what no wire joins."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from ..nets import Nets
from .fragment import Item

Point = tuple[float, float]


@dataclass(frozen=True)
class Symbol:
    """A part in its place: `look` is how it is drawn, `ends` the point of each of its pins."""

    item: Item
    look: str
    ends: dict[str, Point]


@dataclass(frozen=True)
class Word:
    """A word at a point that stands for a net: "ground" (its symbol), a rail, or a flag; `side` is where it points."""

    at: Point
    text: str
    kind: str
    side: str


@dataclass
class Sheet:
    """Everything drawn, in units of about 7 mm; y grows upwards."""

    symbols: list[Symbol] = field(default_factory=list)
    wires: list[tuple[Point, Point]] = field(default_factory=list)
    words: list[Word] = field(default_factory=list)

    def wire(self, *points: Point) -> None:
        """Draw a wire along points."""
        for first, second in pairwise(points):
            if first != second:
                self.wires.append((first, second))

    def dots(self) -> list[Point]:
        """Where more than two ways meet."""
        ends = [point for wire in self.wires for point in wire]
        ends += [point for symbol in self.symbols for point in set(symbol.ends.values())]
        ends += [word.at for word in self.words]
        found = []
        for point in dict.fromkeys(ends):
            ways = ends.count(point) + 2 * sum(_inside(point, *wire) for wire in self.wires)
            if ways > 2:
                found.append(point)
        return found

    def bounds(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of everything that has a point."""
        points = [point for wire in self.wires for point in wire]
        points += [point for symbol in self.symbols for point in symbol.ends.values()]
        points += [word.at for word in self.words]
        xs, ys = [x for x, _ in points], [y for _, y in points]
        return min(xs), min(ys), max(xs), max(ys)

    def netlist(self) -> dict[str, dict[str, str]]:
        """Read the drawing: which pins are joined by wires and words; the net of every pin of every symbol.

        Wires join at their ends, and where an end touches another wire; crossing wires do not join.
        """
        nets = Nets()
        points = {point for wire in self.wires for point in wire} | {word.at for word in self.words}
        points |= {point for symbol in self.symbols for point in symbol.ends.values()}
        for first, second in self.wires:
            nets.join(str(first), str(second))
            for point in points:
                if _inside(point, first, second):
                    nets.join(str(first), str(point))
        for word in self.words:
            nets.join(str(word.at), f"{word.kind} {word.text}")
        return {
            symbol.item.name: {pin: nets.find(str(point)) for pin, point in symbol.ends.items()}
            for symbol in self.symbols
        }


def _inside(point: Point, first: Point, second: Point) -> bool:
    """Whether a point lies on a wire (level or upright) between its ends."""
    (x, y), (x1, y1), (x2, y2) = point, first, second
    if x1 == x2:
        return x == x1 and min(y1, y2) < y < max(y1, y2)
    return y == y1 and min(x1, x2) < x < max(x1, x2)
