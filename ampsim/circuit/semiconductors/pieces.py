"""The pieces that a semiconductor is made of, between its pins and nodes of its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from .port_law import Nodes


@dataclass(frozen=True)
class Passive:
    """A resistor ("r", [ohm]), capacitor ("c", [F]) or current of noise ("n", [A/sqrt(Hz)]) between two nodes."""

    kind: str
    name: str
    nodes: Nodes
    value: float
    noisy: bool = True


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
