"""The texts of a drawing, broken into lines so that they fit where they stand."""

from __future__ import annotations

from functools import lru_cache

from ...pictures.canvas import wrap_text
from .fragment import Item
from .geometry import LINE, SIZE, UNIT, Symbol, Text, lines_width

WIDTHS = (3.2, 4.5, 6.5, 10.0, 16.0, 22.0)  # units; the narrowest that keeps to the lines allowed
UPRIGHT_LINES, LEVEL_LINES = 4, 3  # as many as stand beside and over a part


@lru_cache(maxsize=512)
def label(item: Item, level: bool = False) -> tuple[str, ...]:
    """Designator, value and mark of a part: below one another, or flat for a part that lies level.

    What is too long for its place ends in dots; the drawing's words have it whole.
    """
    most = LEVEL_LINES if level else UPRIGHT_LINES
    tries = (_lines(item, level, width) for width in WIDTHS)
    found = next((lines for lines in tries if len(lines) <= most), _lines(item, level, WIDTHS[-1]))
    return found if len(found) <= most else (*found[: most - 1], "...")


def _lines(item: Item, level: bool, width: float) -> tuple[str, ...]:
    value, _, rest = item.text.partition(" ") if item.kind == "pot" else (item.text, "", "")
    flat = f"{item.name} {value}"
    first = [flat] if level and lines_width((flat,), "strong") <= width else [item.name, value]
    parts = [*first, rest, *item.mark.split(", ")]
    return tuple(line for part in parts if part for line in break_label(part, width))


@lru_cache(maxsize=1024)
def break_label(text: str, width: float) -> tuple[str, ...]:
    """A text in lines of a width [units]."""
    return tuple(wrap_text(text, width * UNIT, SIZE, True))


def label_look(item: Item) -> str:
    """How its text is set: what changes stands out."""
    return "strong" if item.mark else "plain"


def label_width(item: Item, level: bool = False) -> float:
    """Width of its label [units]."""
    return lines_width(label(item, level), label_look(item))


def label_height(item: Item) -> float:
    """Height of its label above a part that lies level, with the room under it [units]."""
    return label_lift(item) + LINE * len(label(item, True)) + 0.3


def label_lift(item: Item) -> float:
    """Height of the foot of the label over a part that lies level [units]."""
    return 0.6 if item.kind == "pot" else 0.3


def label_distance(item: Item) -> float:
    """Distance of the label from an upright part [units]."""
    return 0.65 if item.kind == "pot" else 0.3


def upright_room(item: Item) -> tuple[float, float]:
    """What an upright part takes left and right of its wire [units]."""
    return 0.65, label_distance(item) + 0.3 + label_width(item)


def symbol_texts(symbol: Symbol) -> list[Text]:
    """The texts of a part in its place."""
    item, points = symbol.item, list(symbol.ends.values())
    xs, ys = [x for x, _ in points], [y for _, y in points]
    x, y = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
    if symbol.look == "valve":
        return [Text((symbol.ends["plate"][0] + 0.75, max(ys) - 0.75), label(item, True), "right", label_look(item))]
    if symbol.look == "pot":
        return [Text((symbol.ends["top"][0] - 0.3, y), label(item), "left", label_look(item))]
    if symbol.look == "box":
        inside = [Text(at, (pin,), "right" if at[0] < x else "left") for pin, at in symbol.ends.items()]
        return [Text((x, max(ys) + 0.5), label(item, True), "up", label_look(item)), *inside]
    if min(xs) == max(xs):
        return [Text((x + label_distance(item), y), label(item), "right", label_look(item))]
    return [Text((x, y + label_lift(item)), label(item, True), "up", label_look(item))]
