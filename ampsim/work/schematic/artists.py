"""Symbols, wires and signs as lines on matplotlib axes, after IEC 60617 and common practice."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes

from ...circuit.transformer import winding_of
from ...pictures import style
from .contents import GONE
from .geometry import LINE, Box, Point, Sheet, Sign, Symbol, Text, grown
from .pen import HEAVY, THIN, Pen, Place
from .symbols import merged, throw_height
from .valve_artists import draw_valve


def draw_sheet(sheet: Sheet, axes: Axes, unit: float) -> None:
    """Draw everything of a sheet on axes whose limits are its units, `unit` [inches] each."""
    pen = Pen(axes, unit)
    for first, second in sheet.wires:
        pen.line(first, second)
    for point in sheet.dots():
        pen.circle(point, 0.19, filled=True)
    for sign in sheet.signs:
        _draw_sign(pen, sign)
    for symbol in sheet.symbols:
        _draw_symbol(pen, symbol)


def _draw_symbol(pen: Pen, symbol: Symbol) -> None:
    gone = symbol.item.change == GONE
    pen.colour = style.QUIET if gone else style.INK
    pen.width = HEAVY if symbol.item.change and not gone else THIN
    if symbol.item.change and not gone:
        _shade(pen.axes, symbol.body, symbol.text.box)
    _DRAWN.get(symbol.look, _two_ends)(pen, symbol)
    pen.write(symbol.text)
    for text in symbol.marks:
        pen.write(text, bold=False)
    if gone:
        left, low, right, top = symbol.body
        pen.width = HEAVY
        for ends in (((left, low), (right, top)), ((left, top), (right, low))):
            pen.line(*ends, color=style.CHANGE, zorder=4)
        for n in range(len(symbol.text.lines)):
            y = symbol.text.box[3] - LINE * (n + 0.5)
            pen.line((symbol.text.box[0], y), (symbol.text.box[2], y), linewidth=0.8 * pen.scale)
    pen.colour, pen.width = style.INK, THIN


def _shade(axes: Axes, *boxes: Box) -> None:
    for box in boxes:
        left, low, right, top = grown(box, 0.15)
        axes.fill([left, right, right, left], [low, low, top, top], color="#f6e4d9", linewidth=0, zorder=0.5)


class _Frame:
    """Places along and across a part, whichever way it lies: along from its first end."""

    def __init__(self, symbol: Symbol) -> None:
        self.at, self.across = symbol.at, symbol.across

    def __call__(self, along: float, aside: float) -> Place:
        x, y = self.at
        return (x + along, y + aside) if self.across else (x + aside, y - along)


def _two_ends(pen: Pen, symbol: Symbol) -> None:
    put, kind = _Frame(symbol), symbol.item.kind
    if symbol.item.look == "lamp":
        _lamp(pen, symbol, put)
        return
    if kind == "capacitor":
        for side in (-1, 1):
            pen.line(_end(symbol, side), put(side * 0.28, 0.0))
            pen.line(put(side * 0.28, -0.95), put(side * 0.28, 0.95), linewidth=(pen.width + 0.35) * pen.scale)
        return
    for side in (-1, 1):
        pen.line(_end(symbol, side), put(side * 1.2, 0.0))
    if kind == "inductor":
        turns = np.linspace(0.0, 4.0 * np.pi, 80)
        pen.line(*(put(-1.2 + 2.4 * t / (4.0 * np.pi), 0.5 * abs(np.sin(t))) for t in turns))
    else:
        corners = ((-1.2, -0.45), (1.2, -0.45), (1.2, 0.45), (-1.2, 0.45), (-1.2, -0.45))
        pen.line(*(put(*corner) for corner in corners))
    if symbol.item.look == "thermistor":
        pen.line(put(-1.3, 0.95), put(-0.95, 0.95), put(1.1, -0.95))
    elif symbol.item.look:
        for along in (-0.9, -0.1):
            pen.arrow(put(along, -1.45 if symbol.across else -1.35), put(along + 0.45, -0.6))


def _lamp(pen: Pen, symbol: Symbol, put: _Frame) -> None:
    for side in (-1, 1):
        pen.line(_end(symbol, side), put(side * 1.0, 0.0))
    pen.circle(symbol.at, 1.0)
    for aside in (-0.7, 0.7):
        pen.line(put(-0.7, -aside), put(0.7, aside), zorder=4)


def _vacuum_diode(pen: Pen, put: _Frame, way: int) -> None:
    pen.circle(put(0.0, 0.0), 1.0)
    bow = ((2.0, 0.0), (0.4, 0.0), (0.4, -0.4), (0.65, -0.5), (0.4, -0.4), (0.4, 0.4), (0.65, 0.5))
    pen.line(*(put(-way * along, 0.0) for along in (2.0, 0.4)), put(-way * 0.4, -0.6), put(-way * 0.4, 0.6), zorder=4)
    pen.line(*(put(way * along, aside) for along, aside in bow), zorder=4)


def _diode(pen: Pen, symbol: Symbol) -> None:
    put, way = _Frame(symbol), 1 if symbol.ends["anode"] == _end(symbol, -1) else -1
    if symbol.item.look:
        _vacuum_diode(pen, put, way)
        return
    for side in (-1, 1):
        pen.line(_end(symbol, side), put(side * 0.75, 0.0))
    pen.line(put(-way * 0.75, -0.75), put(-way * 0.75, 0.75), put(way * 0.75, 0.0), put(-way * 0.75, -0.75))
    pen.line(put(way * 0.75, -0.75), put(way * 0.75, 0.75), linewidth=(pen.width + 0.35) * pen.scale)


def _circle(pen: Pen, symbol: Symbol) -> None:
    """A current source, an arrow in its circle where the current goes; a meter, a mark at its plus."""
    put = _Frame(symbol)
    for side in (-1, 1):
        pen.line(_end(symbol, side), put(side * 1.1, 0.0))
    pen.circle(symbol.at, 1.1)
    (x, y), source = symbol.at, symbol.item.kind == "current source"
    u, v = symbol.ends["to" if source else "plus"]
    dx, dy = np.sign(u - x), np.sign(v - y)
    if source:
        pen.arrow((x - 0.7 * dx, y - 0.7 * dy), (x + 0.7 * dx, y + 0.7 * dy))
    else:
        for ends in (((-0.3, 0.0), (0.3, 0.0)), ((0.0, -0.3), (0.0, 0.3))):
            pen.line(*((x + 0.55 * dx + a, y + 0.55 * dy + b) for a, b in ends), zorder=4)


def _end(symbol: Symbol, side: int) -> Place:
    """The terminal at one end: left or upper, right or lower."""
    ends = [point for pin, point in symbol.ends.items() if pin != "wiper"]
    ends.sort(key=lambda p: (p[0], -p[1]))
    return ends[0] if side < 0 else ends[-1]


def _pot(pen: Pen, symbol: Symbol) -> None:
    _two_ends(pen, symbol)
    (x, y), (u, v) = symbol.at, symbol.ends["wiper"]
    pen.arrow((u, v), (x + 0.45 * np.sign(u - x), y + 0.45 * np.sign(v - y)))


def _transformer(pen: Pen, symbol: Symbol) -> None:
    tank = symbol.item.look == "tank"
    x, edge = symbol.at[0], 1.5 if tank else 0.9
    windings: dict[tuple[str, int], list[Point]] = {}
    for pin, (u, v) in symbol.ends.items():
        windings.setdefault(("" if tank else winding_of(pin), -1 if u < x else 1), []).append((u, v))
    for (_, side), points in windings.items():
        for u, v in points:
            pen.line((u, v), (x + side * edge, v))
        for (_, upper), (_, lower) in pairwise(sorted(points, key=lambda point: -point[1])):
            turns = max(2, round((upper - lower) / 1.25))
            ys = np.linspace(upper, lower, 24 * turns)
            bulge = 0.6 * np.abs(np.sin(np.pi * turns * (upper - ys) / (upper - lower)))
            pen.line(*((x + side * (edge - b), v) for v, b in zip(ys, bulge, strict=True)))
    ends = [v for _, v in symbol.ends.values()]
    if tank:
        right = [v for u, v in symbol.ends.values() if u > x]
        along, middle = np.linspace(-0.8, 0.8, 97), sum(right) / len(right)
        pen.line(*((x + dx, middle + 0.5 * np.sin(7.5 * np.pi * (dx + 0.8))) for dx in along))
        return
    for dx in (-0.13, 0.13):
        pen.line((x + dx, min(ends)), (x + dx, max(ends)))


def _loudspeaker(pen: Pen, symbol: Symbol) -> None:
    x, y = symbol.at
    pen.line((x, y + 2), (x, y + 1.0))
    pen.line((x, y - 2), (x, y - 1.0))
    pen.box(x - 0.4, y - 1.0, x + 0.4, y + 1.0)
    pen.line((x + 0.4, y + 0.55), (x + 1.7, y + 1.3), (x + 1.7, y - 1.3), (x + 0.4, y - 0.55))


def _pole(pen: Pen, symbol: Symbol) -> None:
    x, y = symbol.at
    side = -1 if symbol.turned else 1
    throws = merged(symbol.item.throws)
    pitch = _pitch(symbol, throws)
    drawn = next((throw.label for throw in symbol.item.throws if throw.drawn), "")
    pen.line((x, y), (x + side * 1.0, y))
    for n, (labels, terminal) in enumerate(throws):
        height = throw_height(y, n, len(throws), pitch)
        contact = (x + side * 3.6, height)
        if terminal:
            pen.line(contact, symbol.ends[terminal])
        if drawn in labels:
            pen.line((x + side * 1.0, y), contact)
        pen.circle(contact, 0.24)
    pen.circle((x + side * 1.0, y), 0.24)


def _pitch(symbol: Symbol, throws: Sequence[object]) -> int:
    """Read from the names at the throws, which stand as far apart."""
    lows = [text.box[1] for text in symbol.marks]
    return round(lows[0] - lows[1]) if len(throws) > 1 else 3


def _rail(pen: Pen, symbol: Symbol) -> None:
    x, y = symbol.at
    pen.line((x, y), (x - 0.7, y))
    pen.circle((x - 1.0, y), 0.3)


_DRAWN = {"pot": _pot, "valve": draw_valve, "transformer": _transformer, "loudspeaker": _loudspeaker, "pole": _pole,
          "rail": _rail, "diode": _diode, "current source": _circle, "meter": _circle}  # fmt: skip


def _draw_sign(pen: Pen, sign: Sign) -> None:
    x, y = sign.at
    if sign.kind == "ground":
        pen.line((x, y), (x, y - 0.35))
        for n, half in enumerate((0.65, 0.4, 0.15)):
            pen.line((x - half, y - 0.35 - 0.3 * n), (x + half, y - 0.35 - 0.3 * n))
    elif sign.kind == "rail":
        up = 1 if sign.side == "up" else -1
        pen.line((x, y), (x, y + up * 0.6))
        pen.line((x - 0.5, y + up * 0.6), (x + 0.5, y + up * 0.6), linewidth=1.5 * pen.scale)
        low = y + 0.8 if up > 0 else y - 0.8 - LINE
        pen.write(Text((sign.text,), (sign.box[0], low, sign.box[2], low + LINE), "center"))
    else:
        _draw_flag(pen, sign)


def _draw_flag(pen: Pen, sign: Sign) -> None:
    x, y = sign.at
    if sign.side in ("up", "down"):
        up = 1 if sign.side == "up" else -1
        pen.line((x - 0.35, y + up * 0.5), (x, y), (x + 0.35, y + up * 0.5), (x - 0.35, y + up * 0.5))
        low = y + 0.75 if up > 0 else y - 0.75 - LINE
        pen.write(Text((sign.text,), (sign.box[0], low, sign.box[2], low + LINE), "center"))
        return
    side = -1 if sign.side == "left" else 1
    left, _, right, _ = sign.box
    if sign.kind == "input":
        pen.circle((x + side * 0.4, y), 0.3)
        lines = (left, right - 0.9) if side < 0 else (left + 0.9, right)
    else:
        tip = x + side * 0.75
        pen.line((x, y), (tip, y))
        ends = ((tip, y + 0.35), (tip + side * 0.3, y), (tip, y - 0.35)) if side > 0 else (
            (tip - 0.3, y + 0.35), (tip, y), (tip - 0.3, y - 0.35))  # fmt: skip
        pen.line(*ends, (ends[0][0], ends[0][1]))
        lines = (left, right - 1.15) if side < 0 else (left + 1.15, right)
    pen.write(Text((sign.text,), (lines[0], y - LINE / 2, lines[1], y + LINE / 2), "right" if side < 0 else "left"))
