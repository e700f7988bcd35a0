"""A semiconductor in its place."""

from __future__ import annotations

from dataclasses import dataclass

from .description import Semiconductor


@dataclass(frozen=True)
class Device:
    """A semiconductor in its place: `type` names its file, `kind` is what its letters say, such as "diode".

    `own` is the data of a part that no file describes.
    """

    designator: str
    type: str
    kind: str
    own: Semiconductor | None = None

    @property
    def words(self) -> str:
        """Its type, or what its entry says, for people."""
        return self.type if self.own is None else self.type.partition("_")[2].replace("_", " ")
