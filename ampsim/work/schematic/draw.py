"""Drawing the geometry with schemdraw on a picture; what changes is shaded, drawn heavier and said in a word."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import schemdraw
from matplotlib.axes import Axes
from schemdraw import elements

from ...circuit.amp import Amp
from ...pictures import style
from ...pictures.canvas import Keys, Picture, header, header_height, wrap_text
from .fragment import Fragment, Item, fragments
from .geometry import LINE, SIZE, UNIT, Box, Point, Sheet, Symbol, Text
from .layout import lay_out, lay_out_pages

_MARGIN, _BETWEEN, _TITLE, _FOOT = 0.12, 0.3, 0.17, 0.12  # inches; PAGE keeps to the margin
_TALLEST, _HEAD = 7.9, 1.2  # inches of a page, and of them for header and title
_THIN, _HEAVY = 1.1, 2.2  # points
_SHADE = 0.12  # units round a part
_KEYS: Keys = (
    ("changed: shaded, drawn heavier, with a word beside it", style.Bar("#f6e4d9", style.CHANGE)),
    ("as it was", style.Look(style.INK, _THIN)),
)
_RULE = "Wires join at a dot; where they cross without one they do not. Switches stand as drawn."
_BOX: Any = elements.RBox
_TWO: dict[str, Any] = {
    "resistor": elements.Resistor,
    "capacitor": elements.Capacitor,
    "inductor": elements.Inductor,
    "pot": elements.ResistorVar,
}
_COLOURS = {"plain": style.INK, "strong": style.INK, "quiet": style.QUIET}
_TURN = {"up": 180, "left": -90, "right": 90}


def schematic(amp: Amp) -> Picture:
    """Draw the touched stages before and after the mods of an amp, or round its own switches when it has no mods.

    Everything comes from the description: the parts, the pieces of wire and the contacts of `wiring`. A switch is
    drawn contact by contact, standing as drawn. The two stand side by side where they fit, else one above the other;
    what is wider than the page is drawn in pieces, with a number on each wire that goes on elsewhere.

    Raises
    ------
    DescriptionError
        As `wiring.readback.wiring`.
    """
    shown = _fragments_shown(amp)
    return _picture(amp, shown, [(each.title, lay_out(each)) for each in shown])


def schematics(amp: Amp) -> dict[str, Picture]:
    """As `schematic`, for paper, with titles: where one picture is taller than a page, on sheets of their own.

    What cannot be wired is refused as `wiring.readback.wiring` does.
    """
    whole = schematic(amp)
    if whole.height <= _TALLEST:
        return {"The touched stages": whole}
    found = {}
    for fragment in _fragments_shown(amp):
        pages = lay_out_pages(fragment, (_TALLEST - _HEAD) / UNIT)
        for number, sheet in enumerate(pages, 1):
            part = f", sheet {number} of {len(pages)}" if len(pages) > 1 else ""
            drawn = [(fragment.title + part, sheet)]
            found[f"The touched stages: {fragment.name.lower()}{part}"] = _picture(amp, [fragment], drawn)
    return found


def _fragments_shown(amp: Amp) -> Sequence[Fragment]:
    return fragments(amp) if amp.mods else fragments(amp)[1:]


def _picture(amp: Amp, shown: Sequence[Fragment], drawn: Sequence[tuple[str, Sheet]]) -> Picture:
    placed = _placements(drawn)
    heading = f"Schematic fragment: {amp.variant}" if amp.mods else f"Schematic fragment: switches of {amp.name}"
    keys = _KEYS if any(item.mark for each in shown for item in each.items) else ()
    top = header_height(heading, _RULE, style.PAGE_WIDTH, keys, _MARGIN)
    depth = max(down + each.height for each, _, down in placed)
    with style.picture_settings():
        picture = Picture(style.PAGE_WIDTH, top + depth + _FOOT, heading, describe_schematic(shown))
        header(picture, _RULE, keys, _MARGIN)
        for each, across, down in placed:
            each.put(picture, across, picture.height - top - down)
    return picture


@dataclass(frozen=True, eq=False)
class _Drawing:
    """One drawing with its title in lines."""

    title: tuple[str, ...]
    sheet: Sheet

    @property
    def size(self) -> Point:
        """Width and height of the drawing [inches]."""
        left, bottom, right, top = self.sheet.bounds()
        return (right - left) * UNIT, (top - bottom) * UNIT

    @property
    def height(self) -> float:
        """Inches with the title."""
        return self.size[1] + _TITLE * len(self.title) + 0.1

    def put(self, picture: Picture, x: float, y: float) -> None:
        """Draw it with its top left corner at a place [inches]."""
        for number, line in enumerate(self.title):
            picture.write(x, y - _TITLE * number, line, style.TEXT_SIZE, weight="bold")
        foot = y - self.height
        _draw(self.sheet, picture.box(x, foot, x + self.size[0], foot + self.size[1]))


def _placements(drawn: Sequence[tuple[str, Sheet]]) -> list[tuple[_Drawing, float, float]]:
    """Every drawing with its left and top [inches] under the header: side by side, or below one another."""
    page, boxes = style.PAGE_WIDTH - 2 * _MARGIN, [sheet.bounds() for _, sheet in drawn]
    wide = [(right - left) * UNIT for left, _, right, _ in boxes]
    if len(drawn) == 2 and sum(wide) + _BETWEEN <= page:
        second = max(wide[0] + _BETWEEN, min(page / 2, page - wide[1]))
        rooms = (second - _BETWEEN, page - second)
        both = [_Drawing(_lines(title, room), sheet) for (title, sheet), room in zip(drawn, rooms, strict=True)]
        return [(both[0], _MARGIN, 0.0), (both[1], _MARGIN + second, 0.0)]
    found, down = [], 0.0
    for title, sheet in drawn:
        each = _Drawing(_lines(title, page), sheet)
        found.append((each, _MARGIN, down))
        down += each.height + _BETWEEN
    return found


def _lines(title: str, room: float) -> tuple[str, ...]:
    return tuple(wrap_text(title, room, style.TEXT_SIZE, True))


def describe_schematic(shown: Sequence[Fragment]) -> str:
    """The drawing in words: every part, what it lies between, and its mark."""
    return " ".join(
        f"{each.title}: " + "; ".join(_item_words(item, each) for item in each.items) + "." for each in shown
    )


def _item_words(item: Item, fragment: Fragment) -> str:
    if len(item.pins) > 2:
        return f"{item.name} {item.text}{_mark(item)}, " + ", ".join(
            f"{pin} to {_net_words(net, item, fragment)}" for pin, net in item.pins
        )
    between = " and ".join(_net_words(net, item, fragment) for net in item.nets)
    stands = (", closed as drawn," if item.closed else ", open as drawn,") if item.kind == "contact" else ""
    return f"{item.name} {item.text}{_mark(item)}{stands} between {between}"


def _mark(item: Item) -> str:
    return f" ({item.mark})" if item.mark else ""


def _net_words(net: str, item: Item, fragment: Fragment) -> str:
    if net == fragment.ground:
        return "ground"
    if net in fragment.rails:
        return fragment.rails[net]
    others = [f"{other.name}" for other in fragment.items if other is not item and net in other.nets]
    outside = [fragment.flags[net]] if net in fragment.flags else []
    return "/".join([*others, *outside][:4]) or "an open end"


def _draw(sheet: Sheet, axes: Axes) -> None:
    left, bottom, right, top = sheet.bounds()
    drawing = schemdraw.Drawing(canvas=axes, show=False)
    drawing.config(unit=2.0, lw=_THIN, color=style.INK, fontsize=SIZE)
    for first, second in sheet.wires:
        drawing += elements.Line().endpoints(first, second)
    for point in sheet.dots():
        drawing += elements.Dot(radius=0.09).at(point)
    for symbol in sheet.symbols:
        for element in _symbol(symbol):
            drawing += element.color(style.INK).linewidth(_HEAVY if symbol.item.mark else _THIN)
    for word in sheet.words:
        if word.kind == "ground":
            drawing += elements.Ground(scale=0.7).at(word.at).theta(_TURN.get(word.side, 0))
    drawing.draw(show=False)
    axes.set(xlim=(left, right), ylim=(bottom, top))
    axes.axis("off")
    for symbol in sheet.symbols:
        if symbol.item.mark:
            _shade(axes, symbol.box)
    for text in sheet.texts:
        _write(axes, text)


def _shade(axes: Axes, box: Box) -> None:
    left, bottom, right, top = box[0] - _SHADE, box[1] - _SHADE, box[2] + _SHADE, box[3] + _SHADE
    axes.fill([left, right, right, left], [bottom, bottom, top, top], color=style.CHANGE, alpha=style.CHANGE_ALPHA,
              linewidth=0, zorder=0.5)  # fmt: skip


def _symbol(symbol: Symbol) -> list[Any]:
    if symbol.look == "valve":
        return _valve(symbol)
    if symbol.look == "pot":
        (x, top), (_, bottom), tap = (symbol.ends[pin] for pin in ("top", "bottom", "wiper"))
        arrow = elements.Line(arrow="->").endpoints(tap, (x + 0.22, tap[1]))
        return [_TWO["resistor"]().endpoints((x, top), (x, bottom)), arrow]
    if symbol.look == "box":
        left, bottom, right, top = symbol.box
        corners = ((left, bottom), (right, bottom), (right, top), (left, top), (left, bottom))
        return [elements.Line().endpoints(*side) for side in pairwise(corners)]
    points = list(dict.fromkeys(symbol.ends.values()))
    if symbol.item.kind == "contact":
        return _contact(points[0], points[-1], symbol.item.closed)
    return [_TWO.get(symbol.item.kind, _BOX)().endpoints(points[0], points[-1])]


def _contact(first: Point, second: Point, closed: bool) -> list[Any]:
    """Two terminals and a blade, level or upright; open it stands off, away from the label."""
    (x1, y1), (x2, y2) = first, second
    dx, dy = (x2 - x1) / 2.4, (y2 - y1) / 2.4
    a, b = (x1 + 0.8 * dx, y1 + 0.8 * dy), (x2 - 0.8 * dx, y2 - 0.8 * dy)
    tip = b if closed else (b[0] - 0.1 * dx - 0.45 * abs(dy), b[1] - 0.1 * dy - 0.45 * abs(dx))
    lines: list[Any] = [elements.Line().endpoints(*each) for each in ((first, a), (b, second), (a, tip))]
    return [*lines, elements.Dot(radius=0.1, open=True).at(a), elements.Dot(radius=0.1, open=True).at(b)]


def _valve(symbol: Symbol) -> list[Any]:
    """Envelope, plate, dashed grid and cathode; further terminals on the right."""
    ends = symbol.ends
    (x, top), (_, bottom), grid = (ends[pin] for pin in ("plate", "cathode", "grid"))
    middle = (top + bottom) / 2
    lines = [((x, top), (x, middle + 0.45)), ((x - 0.45, middle + 0.45), (x + 0.45, middle + 0.45))]
    lines += [((x - 0.4, middle - 0.45), (x + 0.4, middle - 0.45)), ((x, middle - 0.45), (x, bottom))]
    lines += [(grid, (x - 0.55, grid[1]))]
    lines += [(at, (x + 0.5, middle)) for pin, at in ends.items() if pin not in ("plate", "grid", "cathode")]
    parts: list[Any] = [elements.Line().endpoints(*line) for line in lines]
    parts.append(elements.Line(ls="--").endpoints((x - 0.55, middle), (x + 0.55, middle)))
    return [*parts, elements.Dot(radius=0.85, open=True, fill=None).at((x, middle))]


def _write(axes: Axes, text: Text) -> None:
    """Write lines on baselines of their own, so that they stand where the room for them is."""
    left, _, right, top = text.box
    across = {"left": right, "right": left}.get(text.side, (left + right) / 2)
    align = {"left": "right", "right": "left"}.get(text.side, "center")
    for number, line in enumerate(text.lines):
        axes.text(across, top - LINE * (number + 0.75), line, ha=align, va="baseline", fontsize=SIZE,
                  color=_COLOURS[text.look], weight="bold" if text.look == "strong" else "normal")  # fmt: skip
