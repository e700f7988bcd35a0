"""The shapes of a strip for the panel: the scale of a knob, the positions of a switch where its lever points."""

from __future__ import annotations

import math
from collections.abc import Iterator

from ...work.holes.face import DOWN, LISTED, ROUND, UP, Face, Way
from .drilling_shapes import cross
from .sheets import Circle, Line, Shape, Text

TURN = 300.0
"""What a knob turns from 0 to 10 [degree]: common practice, no source."""
_RING = 13.0  # mm from the middle of a knob to its scale
_LINE = 3.2


def face_shapes(face: Face, x: float, y: float, wide: float) -> Iterator[Shape]:
    """The face of a part.

    Parameters
    ----------
    face : Face
    x, y : float
        The middle of its hole on the sheet [mm].
    wide : float
        The width that its names have [mm].
    """
    body = face.part.body
    yield from cross(x, y, 2.0, "pale")
    if body.hole:
        yield Circle(x, y, body.hole, "pale", 0.15, "dashed")
    reach = max(body.hole / 2, 3.0)
    below = y + reach + 5.0
    if face.scale:
        yield from _scale(x, y)
        below = y + _RING + 3.4
    for way in face.ways:
        if way.where == UP:
            yield Text(x - wide / 2, y - reach - 7.6, wide, 3.6, way.label, 7.5, 4.5, "centre", "bold")
        elif way.where == DOWN:
            yield Text(x - wide / 2, y + reach + 4.0, wide, 3.6, way.label, 7.5, 4.5, "centre", "bold")
            below = y + reach + 8.4
        elif way.where == ROUND:
            yield from _round(way, x, y, wide)
            below = y + (reach if abs(way.angle) < 100.0 else _RING) + 5.0
    yield Text(x - wide / 2, below, wide, 3.8, face.control, 8.0, 4.5, "centre")
    for number, way in enumerate(each for each in face.ways if each.where == LISTED):
        words = f"{way.stands}: {way.label}" if way.stands else way.label
        yield Text(x - wide / 2, below + 4.0 + _LINE * number, wide, _LINE, words, 6.5, 4.5, "centre", "bold")


def face_room(face: Face) -> tuple[float, float]:
    """What a face takes above and below its hole [mm]."""
    reach = max(face.part.body.hole / 2, 3.0)
    where = {way.where for way in face.ways}
    large = face.scale or ROUND in where
    round_about = face.scale or any(abs(way.angle) >= 100.0 for way in face.ways)
    below = _RING + 5.0 if round_about else reach + 8.4 if DOWN in where else reach + 5.0
    listed = sum(way.where == LISTED for way in face.ways)
    return (_RING + 9.0 if large else reach + 10.0), below + 6.0 + _LINE * listed


def _scale(x: float, y: float) -> Iterator[Shape]:
    for mark in range(21):
        angle = math.radians((mark / 20 - 0.5) * TURN)
        across, up = math.sin(angle), math.cos(angle)
        far = _RING + (1.8 if mark % 2 == 0 else 1.0)
        yield Line(x + _RING * across, y - _RING * up, x + far * across, y - far * up, "ink", 0.25)
        if mark % 2 == 0:
            middle = _RING + 4.0
            yield Text(x + middle * across - 3.0, y - middle * up - 1.6, 6.0, 3.2, f"{mark // 2}", 7.0, 5.0, "centre")


def _round(way: Way, x: float, y: float, wide: float) -> Iterator[Shape]:
    angle = math.radians(way.angle)
    across, up = math.sin(angle), math.cos(angle)
    yield Line(x + _RING * across, y - _RING * up, x + (_RING + 1.8) * across, y - (_RING + 1.8) * up, "ink", 0.25)
    at, high = x + (_RING + 2.6) * across, y - (_RING + 3.4) * up - 1.8
    if abs(across) < 0.2:  # over its neighbours
        yield Text(x - 12.0, high - 2.4 if up > 0.0 else high, 24.0, 3.6, way.label, 7.5, 4.5, "centre", "bold")
        return
    room = max(wide / 2 - abs(at - x), 6.0)
    left = at if across > 0.0 else at - room
    yield Text(left, high, room, 3.6, way.label, 7.5, 4.5, "left" if across > 0.0 else "right", "bold")
