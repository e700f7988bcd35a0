"""A spring reverb tank: two coils as impedances, and springs between them as a line that delays, disperses and decays.

Current in the input coil drives the springs; what arrives at their far end induces a voltage in the output coil. Each
spring is a line with a pass there and a pass back, after J. S. Abel, D. P. Berners, S. Costello, J. O. Smith, Spring
reverb emulation using dispersive allpass filters in a waveguide structure, AES 121st Convention, 2006 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# A coil's losses count as a resistor across its inductance of so many times its impedance at 1 kHz; own choice.
_LOSS = 10.0
# All-pass sections to a pass, and how sharp they are; own choice: 0.15 ms late at low frequencies, 2.7 ms at the
# highest that a spring passes.
SECTIONS = 6
SHARPNESS = 3.0


@dataclass(frozen=True)
class ReverbTank:
    """A reverb tank.

    `input_impedance` and `output_impedance` are those of its coils at 1 kHz [ohm], `input_resistance` and
    `output_resistance` theirs at direct current [ohm]. `springs` are the delays of one pass [s] of low frequencies;
    what was put in is 60 dB down after `decay` [s]. `coupling` is the voltage of the output coil to the current in the
    input coil that the first pass of all springs together brings [ohm]; frequencies from `low` to `high` [Hz] pass.
    """

    designator: str
    input_impedance: float
    input_resistance: float
    output_impedance: float
    output_resistance: float
    springs: tuple[float, ...]
    decay: float
    coupling: float
    low: float
    high: float
    kind: str = "reverb tank"

    @property
    def kept(self) -> tuple[float, ...]:
        """What is left of a wave after its way there and back, to each spring [ratio]; its sign changes each time."""
        return tuple(10.0 ** (-3.0 * 2.0 * delay / self.decay) for delay in self.springs)

    @property
    def share(self) -> float:
        """How much of the coupling each spring has [ratio]: together they are as strong as one."""
        return 1.0 / math.sqrt(len(self.springs))

    @property
    def line_seconds(self) -> tuple[float, ...]:
        """The delay of each pass [s] besides that of the all-pass sections."""
        sections = SECTIONS * 2.0 / (SHARPNESS * 2.0 * math.pi * self.high)
        return tuple(delay - sections for delay in self.springs)

    @property
    def steady(self) -> float:
        """The coupling [ohm] of all passes together: as strong as the echoes of a long tone whose phases are any."""
        return self.coupling * self.share * math.sqrt(sum(1.0 / (1.0 - kept**2) for kept in self.kept))


def coil(impedance: float, resistance: float) -> tuple[float, float]:
    """The inductance [H] of a coil, and the resistance [ohm] across it that stands for its losses.

    Parameters
    ----------
    impedance : float
        Magnitude of the whole coil at 1 kHz [ohm].
    resistance : float
        At direct current [ohm], less than the impedance.
    """
    from scipy.optimize import brentq

    loss = _LOSS * impedance

    def reach(reactance: float) -> float:
        return abs(resistance + 1j * reactance * loss / (loss + 1j * reactance)) - impedance

    return float(brentq(reach, 0.0, 10.0 * impedance)) / (2.0 * math.pi * 1000.0), loss
