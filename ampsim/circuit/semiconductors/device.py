"""A semiconductor in its place."""

from __future__ import annotations

from dataclasses import dataclass

from .description import Semiconductor


@dataclass(frozen=True)
class Device:
    """A semiconductor in its place: `type` names its file, `kind` is what its letters say, such as "diode".

    `own` is the data of a part that no file describes; `lit_by` the lamp that lights it.
    """

    designator: str
    type: str
    kind: str
    own: Semiconductor | None = None
    lit_by: str = ""

    @property
    def words(self) -> str:
        """Its type, or what its entry says, for people."""
        if self.own is None:
            return self.type
        lit = f", lit by {self.lit_by}" if self.lit_by else ""
        return self.type.partition("_")[2].replace("_", " ") + lit
