"""Closed forms that a technician can check by hand, to stand beside what ngspice computes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class BypassedStage:
    """A common-cathode stage as the textbook has it: a valve's slopes and four parts.

    `mu` without unit, `rp` [ohm]; `plate_load` [ohm] (in parallel with the next grid leak), `cathode_resistor` [ohm],
    `bypass` [F], 0 for none; `bypass_resistor` [ohm] in series with it.

    References
    ----------
    Gain mu RL / (rp + RL + (mu + 1) Zk), Zk the cathode network: any textbook on valves, for instance
    F. Langford-Smith, Radiotron Designer's Handbook, 4th ed. 1953, ch. 12 (from memory).
    """

    mu: float
    rp: float
    plate_load: float
    cathode_resistor: float
    bypass: float = 0.0
    bypass_resistor: float = 0.0

    def gain(self, frequency: NDArray[Any] | float) -> NDArray[np.complex128]:
        """Voltage gain, complex (negative: the stage inverts), at frequencies [Hz]."""
        jw = 2j * math.pi * np.asarray(frequency, dtype=float)
        branch = jw * self.bypass / (1.0 + jw * self.bypass * self.bypass_resistor)
        cathode = self.cathode_resistor / (1.0 + branch * self.cathode_resistor)
        return np.asarray(-self.mu * self.plate_load / (self.rp + self.plate_load + (self.mu + 1.0) * cathode))

    @property
    def cathode_output(self) -> float:
        """Resistance [ohm] that the bypass capacitor sees at the cathode: Rk in parallel with (RL + rp) / (mu + 1)."""
        inner = (self.plate_load + self.rp) / (self.mu + 1.0)
        return self.cathode_resistor * inner / (self.cathode_resistor + inner)

    @property
    def lower_corner(self) -> float:
        """Frequency [Hz] where the shelf begins to rise: 1 / (2 pi (Rk + R) C)."""
        return 1.0 / (2.0 * math.pi * (self.cathode_resistor + self.bypass_resistor) * self.bypass)

    @property
    def upper_corner(self) -> float:
        """Frequency [Hz] where the shelf is nearly up: 1 / (2 pi (Rk' + R) C), Rk' the resistance at the cathode."""
        return 1.0 / (2.0 * math.pi * (self.cathode_output + self.bypass_resistor) * self.bypass)

    @property
    def shelf_db(self) -> float:
        """Height of the shelf [dB]: fully bypassed gain over unbypassed gain."""
        return 20.0 * math.log10(self.upper_corner / self.lower_corner)
