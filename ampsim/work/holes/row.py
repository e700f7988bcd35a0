"""Holes in a row: where each is, as asked for or spaced by its body, and which stand too near one another."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from .panel_parts import PanelPart

GAP = 4.0
"""Room between bodies that ampsim places itself [mm]: common practice, no source."""


@dataclass(frozen=True)
class Placed:
    """A part in the row: `along` it to the right and `up` from it [mm]; `ours` where nobody said where."""

    part: PanelPart
    along: float
    up: float = 0.0
    ours: bool = False


def place_row(parts: Sequence[PanelPart], places: Mapping[str, tuple[float, float]]) -> tuple[Placed, ...]:
    """The parts from left to right: those with a place stand there, the new ones without follow to their right.

    Parameters
    ----------
    parts : sequence of PanelPart
        What has a hole already is in the row only where its place is known.
    places : mapping
        To a name the place of its centre, along and up [mm].
    """
    known = [Placed(each, *places[each.name]) for each in parts if each.name in places]
    end = max((each.along + each.part.body.pitch / 2 for each in known), default=None)
    found = list(known)
    for each in parts:
        if each.name not in places and each.drilled:
            half = each.body.pitch / 2
            along = 0.0 if end is None else math.ceil(end + GAP + half)
            found.append(Placed(each, along, 0.0, ours=True))
            end = along + half
    return tuple(sorted(found, key=lambda one: (one.along, one.up, one.part.name)))


def too_near(row: Sequence[Placed]) -> Iterator[str]:
    """Pairs of which the bodies need more room than there is, a sentence for each."""
    for number, one in enumerate(row):
        for other in row[number + 1 :]:
            wide = (one.part.body.pitch + other.part.body.pitch) / 2
            high = (one.part.body.high + other.part.body.high) / 2
            along, up = abs(other.along - one.along), abs(other.up - one.up)
            if along < wide and up < high and (one.part.drilled or other.part.drilled):
                yield (
                    f"{one.part.name} and {other.part.name} are {along:g} mm apart along the row, {wide:g} mm are "
                    f"asked for: look at their bodies"
                )
