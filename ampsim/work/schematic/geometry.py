"""A drawing as geometry: symbols with terminals, wires, signs at wires' ends, and texts with the room they take."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache

from ...circuit.nets import Nets
from ...pictures.text_widths import text_width
from .items import Item

Point = tuple[int, int]
Box = tuple[float, float, float, float]
"""Left, bottom, right, top."""

UNIT = 0.1  # inches at which texts are measured
SIZE = 6.4  # points of a text at that unit
LINE = 1.06  # units from line to line


@lru_cache(maxsize=4096)
def words_width(words: str, bold: bool = False) -> float:
    """Width of a line [units]."""
    return text_width(words, SIZE, bold) / UNIT if words else 0.0


@dataclass(frozen=True)
class Text:
    """Lines in a box; `align` says to which side they stand: "left", "right" or "center"."""

    lines: tuple[str, ...]
    box: Box
    align: str = "left"
    struck: tuple[int, ...] = ()


@dataclass(frozen=True)
class Sign:
    """What stands for a net at the end of a wire: "ground", "rail", "flag" (goes on outside) or "input".

    `side` is where it points from `at`.
    """

    kind: str
    text: str
    at: Point
    side: str
    box: Box


@dataclass(frozen=True)
class Symbol:
    """A part in its place: `look` is how it is drawn, `ends` the point of each pin, `body` the room without leads.

    `across` says that it lies level, `turned` that it is mirrored.
    """

    item: Item
    look: str
    at: Point
    ends: dict[str, Point]
    body: Box
    text: Text
    across: bool = False
    turned: bool = False
    marks: tuple[Text, ...] = ()

    @property
    def boxes(self) -> list[Box]:
        """The room of body and texts."""
        return [self.body, *(each.box for each in (self.text, *self.marks) if each.lines)]


Wire = tuple[Point, Point]


@dataclass
class Sheet:
    """Everything drawn, in units; y grows upwards."""

    symbols: list[Symbol] = field(default_factory=list)
    signs: list[Sign] = field(default_factory=list)
    wires: list[Wire] = field(default_factory=list)

    def dots(self) -> list[Point]:
        """Where more than two ways meet."""
        ends = [point for wire in self.wires for point in wire]
        ends += [point for symbol in self.symbols for point in set(symbol.ends.values())]
        ends += [sign.at for sign in self.signs]
        return [
            point
            for point in dict.fromkeys(ends)
            if ends.count(point) + 2 * sum(inside(point, *wire) for wire in self.wires) > 2
        ]

    def crossings(self) -> list[Point]:
        """Where two wires cross without joining."""
        level = [wire for wire in self.wires if wire[0][1] == wire[1][1]]
        upright = [wire for wire in self.wires if wire[0][0] == wire[1][0]]
        points = (((u[0][0], w[0][1]), w, u) for w in level for u in upright)
        return [point for point, w, u in points if inside(point, *w) and inside(point, *u)]

    def bounds(self) -> Box:
        """Left, bottom, right, top of everything drawn."""
        boxes: list[Box] = [(x, y, x, y) for wire in self.wires for x, y in wire]
        boxes += [box for symbol in self.symbols for box in symbol.boxes] + [sign.box for sign in self.signs]
        return grown(around(boxes), 0.4)

    def netlist(self) -> dict[str, dict[str, str]]:
        """Read the drawing: the net of every pin of every symbol, from wires, touching ends and signs alone.

        Wires join at their ends, and where an end touches another wire; crossing wires do not join.
        """
        nets = Nets()
        points = {point for wire in self.wires for point in wire} | {sign.at for sign in self.signs}
        points |= {point for symbol in self.symbols for point in symbol.ends.values()}
        for first, second in self.wires:
            nets.join(str(first), str(second))
            for point in points:
                if inside(point, first, second):
                    nets.join(str(first), str(point))
        for sign in self.signs:
            nets.join(str(sign.at), f"{sign.kind} {sign.text}")
        return {
            symbol.item.name: {pin: nets.find(str(point)) for pin, point in symbol.ends.items()}
            for symbol in self.symbols
        }

    def moved(self, dx: int, dy: int) -> Sheet:
        """The same at another place."""
        return Sheet(
            [_moved_symbol(each, dx, dy) for each in self.symbols],
            [Sign(s.kind, s.text, (s.at[0] + dx, s.at[1] + dy), s.side, shift(s.box, dx, dy)) for s in self.signs],
            [((a + dx, b + dy), (c + dx, d + dy)) for (a, b), (c, d) in self.wires],
        )

    def joined(self, other: Sheet) -> Sheet:
        """Both on one sheet."""
        return Sheet(self.symbols + other.symbols, self.signs + other.signs, self.wires + other.wires)


def _moved_symbol(each: Symbol, dx: int, dy: int) -> Symbol:
    texts = [Text(t.lines, shift(t.box, dx, dy), t.align, t.struck) for t in (each.text, *each.marks)]
    ends = {pin: (x + dx, y + dy) for pin, (x, y) in each.ends.items()}
    at = (each.at[0] + dx, each.at[1] + dy)
    return Symbol(
        each.item, each.look, at, ends, shift(each.body, dx, dy), texts[0], each.across, each.turned, tuple(texts[1:])
    )


def shift(box: Box, dx: float, dy: float) -> Box:
    """A box at another place [units]."""
    return box[0] + dx, box[1] + dy, box[2] + dx, box[3] + dy


def grown(box: Box, by: float) -> Box:
    """A box with more room on every side [units]."""
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def meet(one: Box, other: Box) -> bool:
    """Whether two boxes overlap."""
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def around(boxes: Iterable[Box]) -> Box:
    """The box round boxes."""
    lefts, bottoms, rights, tops = zip(*(list(boxes) or [(0.0, 0.0, 0.0, 0.0)]), strict=True)
    return min(lefts), min(bottoms), max(rights), max(tops)


def inside(point: Point, first: Point, second: Point) -> bool:
    """Whether a point lies on a wire (level or upright) between its ends."""
    (x, y), (x1, y1), (x2, y2) = point, first, second
    if x1 == x2:
        return x == x1 and min(y1, y2) < y < max(y1, y2)
    return y == y1 and min(x1, x2) < x < max(x1, x2)
