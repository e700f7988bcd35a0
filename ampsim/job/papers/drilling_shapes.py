"""The shapes of a drilling sheet: holes with their crosses and bodies, distances, the row, and rulers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from ...work.holes.bodies import KEY, SCREW, Body
from ...work.holes.row import Placed
from .sheets import Box, Circle, Line, Shape, Text

_ARM = 6.0  # mm of a cross beyond its hole
_INCH = 25.4


def hole_shapes(placed: Placed, x: float, y: float, inches: bool = False) -> Iterator[Shape]:
    """One hole: to be drilled in full lines, one that is there dotted.

    Parameters
    ----------
    placed : Placed
    x, y : float
        Its centre on the sheet [mm].
    inches : bool
        Say its diameter in inches too.
    """
    part, body = placed.part, placed.part.body
    colour, dash = ("ink", "solid") if part.drilled else ("quiet", "dotted")
    yield from cross(x, y, body.hole / 2 + _ARM, colour)
    if body.hole:
        yield Circle(x, y, body.hole, colour, 0.25, dash)
    if part.drilled:
        yield from _rest_of_hole(body, x, y)
    high = 0.0
    if body.deep:
        yield Box(x - body.wide / 2, y - body.high / 2, body.wide, body.high, "pale", 0.15, "dashed")
        high = body.high / 2
    size = f"{body.hole:g} mm" if body.hole else "slot" if body.slot else "as its drawing says"
    below, wide = y + max(high, body.hole / 2 + _ARM) + 0.5, max(body.pitch, 24.0)
    words = f"{part.name}: {size if part.drilled else 'there already'}"
    yield Text(x - wide / 2, below, wide, 3.6, words, 8.0, 5.5, "centre", "bold")
    inch = f"{body.hole / _INCH:.3f} in" if inches and part.drilled and body.hole else ""
    for number, line in enumerate(filter(None, [inch, part.control])):
        yield Text(x - wide / 2, below + 3.6 + 3.2 * number, wide, 3.2, line, 7.0, 5.0, "centre")


def cross(x: float, y: float, arm: float, colour: str = "ink") -> tuple[Shape, Shape]:
    """Two lines that meet at a place.

    Parameters
    ----------
    x, y : float
        The place on the sheet [mm].
    arm : float
        How far they reach to either side [mm].
    colour : str
    """
    return Line(x - arm, y, x + arm, y, colour, 0.12), Line(x, y - arm, x, y + arm, colour, 0.12)


def _rest_of_hole(body: Body, x: float, y: float) -> Iterator[Shape]:
    if body.slot:
        wide, high = body.slot
        yield Box(x - wide / 2, y - high / 2, wide, high, "ink", 0.25)
    for side in (-1, 1) if body.screws else ():
        yield from cross(x + side * body.screws / 2, y, 3.0)
        yield Circle(x + side * body.screws / 2, y, SCREW, "ink", 0.25)
    if body.key:
        yield Circle(x - body.key, y, KEY, "quiet", 0.15, "dotted")


def row_shapes(first: float, last: float, begin: float, y: float) -> Iterator[Shape]:
    """The row, a mark every 10 mm.

    Parameters
    ----------
    first, last : float
        Where it begins and ends, along [mm].
    begin, y : float
        Where its 0 is on the sheet [mm].
    """
    yield Line(begin + first, y, begin + last, y, "pale", 0.1)
    for mark in range(round(first // 10) * 10, round(last) + 1, 10):
        if first <= mark <= last:
            tall = 1.6 if mark % 50 else 2.6
            yield Line(begin + mark, y - tall / 2, begin + mark, y + tall / 2, "pale", 0.1)


def distance_shapes(row: Sequence[Placed], begin: float, y: float, top: float) -> Iterator[Shape]:
    """Above the row where each centre is from 0, and the distances of neighbours; lines down to the holes.

    Parameters
    ----------
    row : sequence of Placed
    begin, y : float
        Where the 0 of the row is on the sheet [mm].
    top : float
        Where the numbers stand on the sheet [mm].
    """
    alongs = list(dict.fromkeys(each.along for each in row))
    for along in alongs:
        x = begin + along
        far = min(y - each.up - each.part.body.hole / 2 - _ARM for each in row if each.along == along)
        yield Line(x, top + 4.0, x, far, "pale", 0.1, "dashed")
        yield Text(x - 9.0, top, 18.0, 3.6, f"{along:g}", 7.5, 5.0, "centre", "bold")
    for one, other in pairwise(alongs):
        yield Line(begin + one, top + 6.0, begin + other, top + 6.0, "quiet", 0.12)
        middle, wide = begin + (one + other) / 2, min(other - one - 0.5, 20.0)
        yield Text(middle - wide / 2, top + 6.3, wide, 3.4, f"{other - one:g}", 6.5, 4.0, "centre", colour="quiet")
    for each in row:
        if each.up:
            x = begin + each.along + each.part.body.hole / 2 + _ARM + 0.5
            yield Text(x, y - each.up - 1.6, 14.0, 3.2, f"{each.up:+g} up", 6.5, 5.0, colour="quiet")


def ruler_shapes(x: float, y: float) -> Iterator[Shape]:
    """Rulers of 100 mm and of 4 inches, one above the other, from a place of the sheet [mm]."""
    yield Line(x, y, x + 100.0, y, "ink", 0.2)
    for mark in range(101):
        tall = 5.0 if mark % 10 == 0 else 3.5 if mark % 5 == 0 else 2.2
        yield Line(x + mark, y, x + mark, y - tall, "ink", 0.2 if mark in (0, 100) else 0.1)
    for mark in range(0, 101, 10):
        yield Text(x + mark - 5.0, y - 8.6, 10.0, 3.2, f"{mark}", 6.5, 5.0, "centre")
    yield Text(x + 104.0, y - 5.0, 30.0, 4.0, "100 mm", 8.0, weight="bold")
    low = y + 2.5
    yield Line(x, low, x + 4 * _INCH, low, "ink", 0.2)
    for mark in range(4 * 16 + 1):
        tall = next(high for step, high in ((16, 5.0), (8, 3.8), (4, 2.8), (2, 2.0), (1, 1.3)) if mark % step == 0)
        yield Line(
            x + mark * _INCH / 16, low, x + mark * _INCH / 16, low + tall, "ink", 0.2 if mark in (0, 64) else 0.1
        )
    for mark in range(5):
        yield Text(x + mark * _INCH - 5.0, low + 5.2, 10.0, 3.2, f"{mark}", 6.5, 5.0, "centre")
    yield Text(x + 104.0, low + 0.5, 30.0, 4.0, "4 inches", 8.0, weight="bold")
