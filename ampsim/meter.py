"""What a meter reads on an amp that is unplugged: resistances between places, with valves cold and supplies open."""

from __future__ import annotations

from dataclasses import dataclass

from .amp import Amp
from .analyses import OperatingPoint
from .circuit import SPEAKER, Circuit
from .dc_paths import Branch, ohms_between, unpowered
from .netlist import write
from .ports import circuit_at
from .positions import Position


@dataclass(frozen=True, eq=False)
class DeadAmp:
    """An amp at one position, unplugged: its circuit, and its DC paths with the part of each."""

    wired: Circuit
    paths: tuple[tuple[str, Branch], ...]

    @property
    def branches(self) -> list[Branch]:
        """The DC paths alone."""
        return [branch for _, branch in self.paths]

    def ohms(self, place: str, against: str = "ground") -> float:
        """Resistance [ohm] between two places once the capacitors are full; infinite without a way.

        Raises
        ------
        DescriptionError
            For a place that is not there.
        """
        return ohms_between(self.branches, self.wired.net(place), self.wired.net(against))


def dead_amp(amp: Amp, position: Position = {}) -> DeadAmp:  # noqa: B006
    """An amp at a position with the plug pulled, the valves cold and nothing in the input.

    Raises
    ------
    DescriptionError
        For unknown controls or positions.
    """
    wired = circuit_at(amp, position)
    netlist = write(wired, amp.setting(position), OperatingPoint(), (SPEAKER,))
    values = dict(zip(netlist.parts, netlist.values, strict=True))
    return DeadAmp(wired, tuple(unpowered(wired, values)))
