"""What amplifies, by its kind: the pin it is driven at, the pin that counts against, and the pin its signal leaves."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple


class ActivePins(NamedTuple):
    """`control`, what it counts against (`foot`), and `output`."""

    control: str
    foot: str
    output: str


ACTIVE: Mapping[str, ActivePins] = {
    "valve": ActivePins("grid", "cathode", "plate"),
    "transistor": ActivePins("gate", "source", "drain"),
    "operational amplifier": ActivePins("plus", "minus", "out"),
}
"""By kind of part."""
