"""A drawing as geometry: symbols with terminals, wires, words that stand for wires, and texts with their room."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise

from ...circuit.nets import Nets
from ...pictures import style
from ...pictures.canvas import text_width
from .fragment import Item

Point = tuple[float, float]
Box = tuple[float, float, float, float]
"""Left, bottom, right, top."""

UNIT = 0.24  # inches
SIZE = style.SMALL_SIZE - 0.5  # points, of every text
LINE = 1.25 * SIZE / 72.0 / UNIT
PAGE = (style.PAGE_WIDTH - 0.24) / UNIT - 0.01  # width of a page
_OFF = 0.14  # of a text from the point it belongs to


@dataclass(frozen=True)
class Text:
    """Lines of text: where they go from `at` is `side` (up, down, left, right, or inward to either side of a box)."""

    at: Point
    lines: tuple[str, ...]
    side: str
    look: str = "plain"

    @property
    def width(self) -> float:
        """Of the longest line [units]."""
        return lines_width(self.lines, self.look)

    @property
    def height(self) -> float:
        """Of all lines [units]."""
        return LINE * len(self.lines)

    @property
    def box(self) -> Box:
        """The room it takes."""
        (x, y), tall = self.at, self.height
        if self.side in ("up", "down"):
            bottom = y + _OFF if self.side == "up" else y - _OFF - tall
            return x - self.width / 2, bottom, x + self.width / 2, bottom + tall
        left = x + _OFF if self.side == "right" else x - _OFF - self.width
        return left, y - tall / 2, left + self.width, y + tall / 2


@lru_cache(maxsize=1024)
def lines_width(lines: tuple[str, ...], look: str = "plain") -> float:
    """Width of lines of text [units]."""
    return max((text_width(line, SIZE, look == "strong") for line in lines), default=0.0) / UNIT


@dataclass(frozen=True)
class Symbol:
    """A part in its place: `look` is how it is drawn, `ends` the point of each of its pins."""

    item: Item
    look: str
    ends: dict[str, Point]

    @property
    def box(self) -> Box:
        """The room its body takes, terminals aside."""
        xs, ys = [x for x, _ in self.ends.values()], [y for _, y in self.ends.values()]
        if self.look == "box":
            return min(xs), min(ys) - 0.5, max(xs), max(ys) + 0.5
        if self.look in ("valve", "pot"):
            reach = 0.85 if self.look == "valve" else 0.25
            x, middle = self.ends["plate" if self.look == "valve" else "top"][0], (min(ys) + max(ys)) / 2
            return x - reach, middle - 0.85, x + reach, middle + 0.85
        x, y = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
        along, near, far = (0.6, 0.5, 0.2) if self.item.kind == "contact" else (0.5, 0.25, 0.25)
        near, far = (0.65, 0.65) if self.item.kind == "pot" else (near, far)
        if min(xs) == max(xs):
            return x - near, y - along, x + far, y + along
        return x - along, y - near, x + along, y + far


@dataclass(frozen=True)
class Word:
    """A word at a point that stands for a net: "ground" (its symbol), a rail, or a flag; `side` is where it points."""

    at: Point
    text: str
    kind: str
    side: str


@dataclass
class Sheet:
    """Everything drawn, in units of `UNIT`; y grows upwards."""

    symbols: list[Symbol] = field(default_factory=list)
    wires: list[tuple[Point, Point]] = field(default_factory=list)
    words: list[Word] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)

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

    def bounds(self) -> Box:
        """Left, bottom, right, top of everything drawn, texts and signs included."""
        boxes = [(x, y, x, y) for wire in self.wires for x, y in wire]
        boxes += [(x, y, x, y) for symbol in self.symbols for x, y in symbol.ends.values()]
        boxes += [symbol.box for symbol in self.symbols] + [text.box for text in self.texts]
        boxes += [(x - 0.5, y - 0.5, x + 0.5, y + 0.5) for x, y in (word.at for word in self.words)]
        boxes = boxes or [(0.0, 0.0, 0.0, 0.0)]
        lefts, bottoms, rights, tops = zip(*boxes, strict=True)
        return min(lefts) - 0.1, min(bottoms) - 0.1, max(rights) + 0.1, max(tops) + 0.1

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
