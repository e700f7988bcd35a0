"""Symbols of what amplifies: valves, transistors, operational amplifiers."""

from __future__ import annotations

from .geometry import Symbol
from .pen import Pen


def _transistor(pen: Pen, symbol: Symbol) -> None:
    x, y = symbol.at
    pen.circle((x, y), 2.0)
    for side in (1, -1):
        pen.line((x, y + 3 * side), (x, y + 0.85 * side), (x - 0.5, y + 0.85 * side), zorder=4)
    pen.line((x - 0.5, y - 1.25), (x - 0.5, y + 1.25), zorder=4, linewidth=(pen.width + 0.5) * pen.scale)
    pen.line((x - 3, y), (x - 0.85, y), zorder=4)
    pen.line((x - 0.85, y - 0.9), (x - 0.85, y + 0.9), zorder=4)


def _amplifier(pen: Pen, symbol: Symbol) -> None:
    (x, y), ends = symbol.at, symbol.ends
    pen.line((x - 1.8, y + 1.2), (x - 1.8, y - 3.2), (x + 2.2, y - 1), (x - 1.8, y + 1.2), zorder=4)
    for pin in ("grid", "cathode"):
        height = ends[pin][1]
        pen.line(ends[pin], (x - 1.8, height), zorder=4)
        pen.line((x - 1.5, height), (x - 0.9, height), zorder=4)
        if symbol.item.own_pin(pin) == "plus":
            pen.line((x - 1.2, height + 0.3), (x - 1.2, height - 0.3), zorder=4)
    pen.line((x + 2.2, y - 1), ends["plate"], zorder=4)
    for pin, side in (("vplus", 1), ("vminus", -1)):
        if pin in ends:
            pen.line(ends[pin], (x, y - 1 + side * 1.2), zorder=4)


def draw_valve(pen: Pen, symbol: Symbol) -> None:
    """Draw what stands in the place of a valve, by its look."""
    if symbol.item.look == "transistor":
        _transistor(pen, symbol)
        return
    if symbol.item.look.endswith("amplifier"):
        _amplifier(pen, symbol)
        return
    x, y = symbol.at
    if symbol.item.look == "effect":
        pen.box(x - 2.2, y - 1.4, x + 2.2, y + 1.4)
        for start, end in (((x - 3, y), (x - 2.2, y)), ((x + 2.2, y), (x + 3, y)), ((x, y - 3), (x, y - 1.4))):
            pen.line(start, end)
        pen.arrow((x - 1.2, y), (x + 1.2, y))
        return
    pen.circle((x, y), 2.0)
    more = [point for pin, point in symbol.ends.items() if pin not in ("plate", "grid", "cathode")]
    grids = 2 if more else 1
    pen.line((x, y + 3), (x, y + 1.15), zorder=4)
    pen.line((x - 0.95, y + 1.15), (x + 0.95, y + 1.15), zorder=4, linewidth=(pen.width + 0.5) * pen.scale)
    pen.line((x - 3, y), (x - 1.25, y), zorder=4)
    low = -0.1 if grids == 1 else -0.35
    pen.line((x - 1.25, y), (x - 1.25, y + low), (x - 1.25, y + low), zorder=4)
    pen.line((x - 1.25, y + low), (x + 1.25, y + low), dashed=True, zorder=4)
    for u, v in more:
        pen.line((u, v), (x + 1.25, v), (x + 1.25, y + 0.4), zorder=4)
        pen.line((x - 1.25, y + 0.4), (x + 1.25, y + 0.4), dashed=True, zorder=4)
    pen.line((x - 0.85, y - 1.35), (x - 0.85, y - 1.1), (x + 0.85, y - 1.1), (x + 0.85, y - 1.35), zorder=4)
    pen.line((x, y - 3), (x, y - 1.1), zorder=4)
