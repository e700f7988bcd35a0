"""A part found at its job, and which of its lugs the names of its ends mean."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..stages.template import Element
from .merged import members
from .signal import Signal
from .ways import pin_at


@dataclass(frozen=True)
class Spot:
    """A part found at its job: its designator, and the lug that each name of an end means."""

    designator: str
    ends: tuple[tuple[str, str], ...] = ()

    def place(self, end: str) -> str:
        """The place that an end means; the part itself without one."""
        lug = dict(self.ends)[end] if end else ""
        return lug if "." in lug else f"{self.designator}.{lug}" if lug else self.designator

    @property
    def parts(self) -> tuple[str, ...]:
        """Designators: more than one where several parts act as one."""
        return members(self.designator)

    @property
    def in_a_row(self) -> bool:
        """Whether several parts in a row act as one."""
        return len({lug.partition(".")[0] for _, lug in self.ends if "." in lug}) > 1


def spot(signal: Signal, part: Element, near: str, names: tuple[str, ...]) -> Spot:
    """A part at its job for a stage, with the lugs that the names of its ends mean.

    Parameters
    ----------
    signal : Signal
    part : Element
    near : str
        The net of the stage that the first name means the end at.
    names : tuple of str
        Of its two ends, the one nearer to the stage first.
    """
    if len(names) != 2 or part.kind == "valve":
        return Spot(part.designator, tuple((pin, pin) for pin, _ in part.pins))
    # The end on the net, or the one that fewer parts lie between: a coupling may stand behind a level pot.
    hops = signal.ways.hops([near], without={part.designator})
    first = pin_at(part, min((net for _, net in part.pins), key=lambda net: (net != near, hops.get(net, math.inf))))
    second = next(pin for pin in part.end_pins if pin != first)
    return Spot(part.designator, ((names[0], first), (names[1], second)))
