"""What a drawing is made of: one part or pole of a switch, with its pins on nets and the words beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

_SUPPLIES = {"vplus": "vplus", "vminus": "vminus"}
LOOKS: Mapping[str, Mapping[str, str]] = {
    "transistor": {"drain": "plate", "gate": "grid", "source": "cathode"},
    "amplifier": {"plus": "grid", "minus": "cathode", "out": "plate", **_SUPPLIES},
    "inverting amplifier": {"minus": "grid", "plus": "cathode", "out": "plate", **_SUPPLIES},
    "effect": {"in": "grid", "out": "plate", "ground": "cathode"},
    "tank": {"in": "primary_a", "in_ground": "primary_b", "out": "tap", "out_ground": "common"},
}
"""What stands where a valve, or of a reverb tank a transformer, would, with the places of its pins there; of an
amplifier the input that the signal reaches stands for the grid."""


@dataclass(frozen=True)
class Throw:
    """One position of a pole: its name, the terminal it closes to the common one ("" when it closes nothing)."""

    label: str
    terminal: str
    drawn: bool = False


@dataclass(frozen=True)
class Item:
    """One part, or one pole of a switch: its pins on nets, what is written beside it, and what happens to it.

    `change` is one of "", `NEW`, `CHANGED`, `MOVED`, `GONE`; `was` what stood there before. A pole has its `throws`.
    `look` is another symbol than that of its kind.
    """

    name: str
    kind: str
    pins: tuple[tuple[str, str], ...]
    words: tuple[str, ...] = ()
    change: str = ""
    was: str = ""
    throws: tuple[Throw, ...] = ()
    look: str = ""

    @cached_property
    def nets(self) -> tuple[str, ...]:
        """The nets it is on, each once."""
        return tuple(dict.fromkeys(net for _, net in self.pins))

    def own_pin(self, pin: str) -> str:
        """What the part itself calls a pin."""
        return next((own for own, other in LOOKS.get(self.look, {}).items() if other == pin), pin)

    def net(self, pin: str) -> str:
        """The net of a pin."""
        return dict(self.pins)[pin]
