"""What goes up or down from a net, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from .fragment import Item

Room = tuple[float, float]
"""What something takes left and right of its wire, in units."""
AIR = 0.35
"""Units between what stands side by side."""


@dataclass(frozen=True)
class Slot:
    """Something that goes up or down from a net, with the room it takes left and right of its wire.

    `low` is the net under a part from which more hangs, in `under`.
    """

    kind: str
    room: Room
    item: Item | None = None
    low: str = ""
    under: tuple[Slot, ...] = ()


def slot_places(slots: Sequence[Slot]) -> list[float]:
    """Where slots stand side by side [units], the first at 0."""
    places = [0.0] if slots else []
    for before, after in pairwise(slots):
        places.append(places[-1] + before.room[1] + after.room[0] + AIR)
    return places
