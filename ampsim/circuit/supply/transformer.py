"""The mains transformer as a part."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..semiconductors.description import Semiconductor
from ..semiconductors.thermistors import ohms_at


@dataclass(frozen=True)
class Winding:
    """A secondary winding.

    `volts` [V rms] from end to end without load, `resistance` [ohm] from end to end, `centre`: whether it has a tap in
    its middle, `tap` [V rms] of another tap (0: none), counted from the middle, or without one from end b, to end a.
    `rated_amps` [A rms] is what it is made for (0: not known), `load_amps` [A rms] what heaters draw from it.
    """

    name: str
    volts: float
    resistance: float
    centre: bool = False
    tap: float = 0.0
    rated_amps: float = 0.0
    load_amps: float = 0.0

    @property
    def words(self) -> str:
        """Its volts as a drawing has them: "300-0-300 V", or "50 V"."""
        return f"{self.volts / 2:g}-0-{self.volts / 2:g} V" if self.centre else f"{self.volts:g} V"

    @property
    def potentials(self) -> dict[str, float]:
        """To each of its pins the volts [V rms] there: against the middle, or without one against end b."""
        low = -0.5 * self.volts if self.centre else 0.0
        found = {"a": self.volts + low} | ({"tap": self.tap} if self.tap else {})
        return {f"{self.name}_{pin}": volts for pin, volts in (found | ({"centre": 0.0} if self.centre else {})
                                                               | {"b": low}).items()}  # fmt: skip


@dataclass(frozen=True)
class MainsTransformer:
    """A mains transformer.

    `mains` [V rms] at its primary, of which the winding in use is for `primary` [V rms], at `frequency` [Hz];
    `primary_resistance` [ohm]; `inrush` is a thermistor before the primary, as warm as `draws` [A rms] makes it.
    """

    designator: str
    mains: float
    primary: float
    frequency: float
    primary_resistance: float
    windings: tuple[Winding, ...]
    inrush: Semiconductor | None = None
    draws: float = 0.0
    kind: str = "mains transformer"

    @property
    def scale(self) -> float:
        """By how much its secondaries give more than they are made for [ratio]; heaters lower all of them."""
        amps = sum(each.load_amps * each.volts for each in self.windings) / self.primary
        return (self.mains - self.line_ohms * amps) / self.primary

    @property
    def pins(self) -> tuple[str, ...]:
        """All pins of its secondaries."""
        return tuple(pin for each in self.windings for pin in each.potentials)

    def winding_of(self, pin: str) -> Winding:
        """The winding that a pin belongs to."""
        return next(each for each in self.windings if pin in each.potentials)

    @property
    def line_ohms(self) -> float:
        """The resistance of the primary and of a warm thermistor before it [ohm]."""
        return self.primary_resistance + (ohms_at(self.inrush, self.draws) if self.inrush else 0.0)

    @property
    def colder_ohms(self) -> float:
        """How much more a thermistor before the primary has when cold [ohm]."""
        return ohms_at(self.inrush, 0.0) - ohms_at(self.inrush, self.draws) if self.inrush else 0.0

    def reflected_ohms(self, peak: float, ohms: float | None = None) -> float:
        """What a resistance in the primary is [ohm], seen from a way with an electromotive force of `peak` [V]."""
        return (self.line_ohms if ohms is None else ohms) * (peak / (math.sqrt(2.0) * self.mains)) ** 2
