"""A semiconductor in its place."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Device:
    """A semiconductor in its place: `type` names its file, `kind` is what its letters say, such as "diode"."""

    designator: str
    type: str
    kind: str
