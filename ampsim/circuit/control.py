"""What the owner turns and moves: a knob or a switch, and where it can stand."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..base.errors import DescriptionError, nearest, shown


@dataclass(frozen=True)
class Control:
    """A knob or a switch as the owner meets it: "knob" with rotation 0 to 1, or "switch" with named positions."""

    name: str
    kind: str
    designators: tuple[str, ...]
    positions: tuple[str, ...]
    drawn: float | str

    def check(self, given: object, amp: str) -> float | str:
        """Where it stands when it is set so: a rotation [ratio] or the name of a position.

        Raises
        ------
        DescriptionError
            For a rotation outside 0 to 1, or a switch position that does not exist; names the amp.
        """
        if self.kind == "switch":
            if not isinstance(given, str) or given not in self.positions:
                raise DescriptionError(
                    f"{amp}: switch '{self.name}' has no position {shown(given)}{nearest(given, self.positions)}"
                )
            return given
        rotation = float(given) if isinstance(given, (int, float)) and not isinstance(given, bool) else math.nan
        if not 0.0 <= rotation <= 1.0:
            where = f"{amp}: control '{self.name}'"
            face = f"; {rotation:g} of 10 on its face is {rotation / 10.0:g}" if 1.0 < rotation <= 10.0 else ""
            raise DescriptionError(f"{where}: {shown(given)} is not a rotation; 0 is fully down, 1 fully up{face}")
        return rotation
