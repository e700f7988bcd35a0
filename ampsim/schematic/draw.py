"""Drawing the geometry with schemdraw on a picture; every mark is a colour, a heavier line and a word."""

from __future__ import annotations

from typing import Any

import schemdraw
from matplotlib.axes import Axes
from schemdraw import elements

from .. import style
from ..amp import Amp
from ..pictures.canvas import Picture
from .fragment import Fragment, Item, fragments
from .layout import lay_out
from .sheet import Point, Sheet, Symbol, Word

_UNIT = 0.36  # inches, at most
_PAD = (2.6, 1.3, 3.9, 1.5)  # units left, below, right, above for words
_BOX: Any = elements.RBox
_TWO: dict[str, Any] = {
    "resistor": elements.Resistor,
    "capacitor": elements.Capacitor,
    "inductor": elements.Inductor,
    "pot": elements.ResistorVar,
    "loudspeaker": _BOX,
}
_ALIGN: dict[str, tuple[str, str, float, float]] = {
    "up": ("center", "bottom", 0.0, 0.12),
    "down": ("center", "top", 0.0, -0.12),
    "left": ("right", "center", -0.12, 0.0),
    "right": ("left", "center", 0.12, 0.0),
}


def schematic(amp: Amp) -> Picture:
    """Draw the touched stages before and after the mods of an amp, or round its own switches when it has no mods.

    Everything comes from the description: the parts, the pieces of wire and the contacts of `wiring`. A switch is
    drawn contact by contact, standing as drawn.

    Raises
    ------
    DescriptionError
        As `wiring.wiring`.
    """
    pair = fragments(amp)
    sheets = [lay_out(each) for each in pair]
    sizes = [_size(sheet) for sheet in sheets]
    unit = min(_UNIT, (style.PAGE_WIDTH - 0.2) / max(width for width, _ in sizes))
    heights = [0.35 + tall * unit for _, tall in sizes]
    heading = f"Schematic fragment: {amp.variant}" if amp.mods else f"Schematic fragment: switches of {amp.name}"
    with style.applied():
        picture = Picture(style.PAGE_WIDTH, sum(heights) + 0.75, heading, describe_schematic(pair))
        picture.write(0.1, picture.height - 0.1, heading, style.TITLE_SIZE, weight="bold")
        key = "Marked in colour with heavier lines, and in words beside the part: what changes. Crossing wires join "
        picture.write(0.1, picture.height - 0.36, key + "only at a dot.", style.SMALL_SIZE, color=style.QUIET)
        top = picture.height - 0.62
        for fragment, sheet, (wide, tall), height in zip(pair, sheets, sizes, heights, strict=True):
            picture.write(0.1, top, fragment.title, style.TEXT_SIZE, weight="bold")
            bottom = top - height
            axes = picture.box(0.1, bottom, 0.1 + wide * unit, bottom + tall * unit)
            _draw(sheet, axes)
            top = bottom
    return picture


def describe_schematic(pair: tuple[Fragment, Fragment]) -> str:
    """The drawing in words: every part, what it lies between, and its mark."""
    return " ".join(f"{each.title}: " + "; ".join(_said(item, each) for item in each.items) + "." for each in pair)


def _said(item: Item, fragment: Fragment) -> str:
    between = " and ".join(_net_words(net, item, fragment) for net in item.nets)
    mark = f" ({item.mark})" if item.mark else ""
    return f"{item.name} {item.text}{mark} between {between}"


def _net_words(net: str, item: Item, fragment: Fragment) -> str:
    if net == fragment.ground:
        return "ground"
    if net in fragment.rails:
        return fragment.rails[net]
    others = [f"{other.name}" for other in fragment.items if other is not item and net in other.nets]
    outside = [fragment.flags[net]] if net in fragment.flags else []
    return "/".join([*others, *outside][:4]) or "an open end"


def _size(sheet: Sheet) -> tuple[float, float]:
    left, bottom, right, top = sheet.bounds()
    return right - left + _PAD[0] + _PAD[2], top - bottom + _PAD[1] + _PAD[3]


def _draw(sheet: Sheet, axes: Axes) -> None:
    left, bottom, right, top = sheet.bounds()
    drawing = schemdraw.Drawing(canvas=axes, show=False)
    drawing.config(unit=2.0, lw=1.1, color=style.INK, fontsize=style.SMALL_SIZE)
    for first, second in sheet.wires:
        drawing += elements.Line().endpoints(first, second)
    for point in sheet.dots():
        drawing += elements.Dot(radius=0.07).at(point)
    for symbol in sheet.symbols:
        _symbol(drawing, symbol)
    for word in sheet.words:
        if word.kind == "ground":
            drawing += (
                elements.Ground(scale=0.7).at(word.at).theta({"up": 180, "left": -90, "right": 90}.get(word.side, 0))
            )
    drawing.draw(show=False)
    axes.set_xlim(left - _PAD[0], right + _PAD[2])
    axes.set_ylim(bottom - _PAD[1], top + _PAD[3])
    axes.set_aspect("equal")
    axes.axis("off")
    for symbol in sheet.symbols:
        _text(axes, symbol)
    for word in sheet.words:
        _word(axes, word)


def _symbol(drawing: Any, symbol: Symbol) -> None:
    colour, width = (style.CHANGE, 2.0) if symbol.item.mark else (style.INK, 1.2)
    points = list(dict.fromkeys(symbol.ends.values()))
    if symbol.look == "two ends":
        for element in _two_ends(symbol.item, points[0], points[-1]):
            drawing += element.color(colour).linewidth(width)
    elif symbol.look == "box":
        (x1, y1), (x2, y2) = points[0], (points[-1][0], min(y for _, y in points))
        drawing += elements.Rect(corner1=(x1, y1 + 0.5), corner2=(x2, y2 - 0.5)).at((0, 0)).color(colour)
    else:
        _block(drawing, symbol, colour, width)


def _two_ends(item: Item, first: Point, second: Point) -> list[Any]:
    if item.kind != "contact":
        return [_TWO.get(item.kind, _BOX)().endpoints(first, second)]
    # Two terminals and a blade, level or upright; open it stands off.
    (x1, y1), (x2, y2) = first, second
    dx, dy = (x2 - x1) / 2.4, (y2 - y1) / 2.4
    a, b = (x1 + 0.8 * dx, y1 + 0.8 * dy), (x2 - 0.8 * dx, y2 - 0.8 * dy)
    tip = b if item.closed else (b[0] - 0.1 * dx - 0.45 * dy, b[1] - 0.1 * dy + 0.45 * dx)
    lines: list[Any] = [elements.Line().endpoints(first, a), elements.Line().endpoints(b, second)]
    lines += [elements.Line().endpoints(a, tip)]
    return [*lines, elements.Dot(radius=0.1, open=True).at(a), elements.Dot(radius=0.1, open=True).at(b)]


def _block(drawing: Any, symbol: Symbol, colour: str, width: float) -> None:
    ends = symbol.ends
    if symbol.look == "pot":
        (x, top), (_, bottom), tap = ends["top"], ends["bottom"], ends["wiper"]
        parts: list[Any] = [
            _TWO["resistor"]().endpoints((x, top), (x, bottom)),
            elements.Line(arrow="->").endpoints(tap, (x + 0.22, tap[1])),
        ]
    else:
        (x, top), (_, bottom), grid = ends["plate"], ends["cathode"], ends["grid"]
        middle = (top + bottom) / 2
        lines = [((x, top), (x, middle + 0.45)), ((x - 0.45, middle + 0.45), (x + 0.45, middle + 0.45))]
        lines += [((x - 0.4, middle - 0.45), (x + 0.4, middle - 0.45)), ((x, middle - 0.45), (x, bottom))]
        lines += [(grid, (x - 0.55, grid[1]))]
        parts = [elements.Line().endpoints(*line) for line in lines]
        parts += [elements.Line(ls="--").endpoints((x - 0.55, middle), (x + 0.55, middle))]
        parts += [elements.Dot(radius=0.85, open=True, fill=None).at((x, middle))]
        if "screen" in ends:
            parts += [elements.Line().endpoints(ends["screen"], (x + 0.5, middle))]
    for part in parts:
        drawing += part.color(colour).linewidth(width)


def _text(axes: Axes, symbol: Symbol) -> None:
    item, points = symbol.item, list(dict.fromkeys(symbol.ends.values()))
    value = item.text.replace(" ", "\n", 1) if item.kind == "pot" else item.text
    lines = [item.name, value, *(item.mark.split(", ") if item.mark else [])]
    colour = style.CHANGE if item.mark else style.INK
    settings: dict[str, Any] = {"color": colour, "fontsize": style.SMALL_SIZE - 0.5, "linespacing": 1.05}
    (x1, y1), (x2, y2) = points[0], points[-1]
    if symbol.look == "valve":
        (x, y), _ = symbol.ends["plate"], 0
        axes.text(x - 0.7, y - 0.8, "\n".join(lines), ha="right", va="bottom", **settings)
    elif symbol.look == "pot":
        (x, y) = symbol.ends["top"]
        axes.text(x - 0.4, y - 0.5, "\n".join(lines), ha="right", va="top", **settings)
    elif symbol.look == "box":
        axes.text((x1 + x2) / 2, y1 - 0.5, "\n".join(lines), ha="center", va="center", **settings)
    elif x1 == x2:
        axes.text(
            x1 + (0.75 if item.kind == "pot" else 0.42),
            (y1 + y2) / 2,
            "\n".join(lines),
            ha="left",
            va="center",
            **settings,
        )
    else:
        first = [" ".join(lines[:2])] if len(value) < 8 or item.kind == "contact" else lines[:2]
        axes.text(
            (x1 + x2) / 2,
            y1 + (0.75 if item.kind == "pot" else 0.4),
            "\n".join([*first, *lines[2:]]),
            ha="center",
            va="bottom",
            **settings,
        )


def _word(axes: Axes, word: Word) -> None:
    if word.kind == "ground":
        return
    ha, va, dx, dy = _ALIGN[word.side]
    weight = "bold" if word.kind == "rail" else "normal"
    text = word.text if word.kind == "rail" or word.text.startswith("wire ") else f"to {word.text}"
    colour = style.INK if word.kind == "rail" else style.QUIET
    size = style.SMALL_SIZE - 0.5
    axes.text(word.at[0] + dx, word.at[1] + dy, text, ha=ha, va=va, color=colour, fontsize=size, weight=weight)
