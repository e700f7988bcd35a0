"""The pieces that a semiconductor is made of, between its pins and nodes of its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from .port_laws import Nodes


@dataclass(frozen=True)
class Passive:
    """A resistor ("r", [ohm]) or capacitor ("c", [F]) between two nodes."""

    kind: str
    name: str
    nodes: Nodes
    value: float


@dataclass(frozen=True)
class Piece:
    """Where current follows a law of `port_laws.PORT_LAWS` with its numbers, between pairs of nodes."""

    law: str
    name: str
    numbers: Mapping[str, float]
    ports: tuple[Nodes, ...]


@dataclass(frozen=True)
class Pieces:
    """All pieces of one part. A node is a pin, a name of the part's own, or "0" for ground."""

    laws: tuple[Piece, ...]
    passives: tuple[Passive, ...] = ()
