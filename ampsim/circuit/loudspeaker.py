"""A loudspeaker as an impedance, and the ladder of coils that imitates its voice coil."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Loudspeaker:
    """A loudspeaker as an impedance.

    `resistance` of the coil [ohm]; mechanical resonance at `resonance` [Hz] rising by `peak` [ohm] above the coil
    with quality factor `q`; coil reactance `reactance` [ohm] at 1 kHz rising as frequency to the power `exponent`.
    `more_peaks` has further resonances, such as that of a vented box: frequency [Hz], peak [ohm] and quality factor.
    """

    designator: str
    resistance: float
    resonance: float
    peak: float
    q: float
    reactance: float
    exponent: float
    more_peaks: tuple[tuple[float, float, float], ...] = ()
    kind: str = "loudspeaker"

    @property
    def peaks(self) -> tuple[tuple[float, float, float], ...]:
        """Every resonance: frequency [Hz], peak [ohm] and quality factor [ratio]."""
        return ((self.resonance, self.peak, self.q), *self.more_peaks)

    def times(self, factor: float) -> Loudspeaker:
        """One whose impedance is `factor` [ratio] times this one's at every frequency."""
        scaled = {name: getattr(self, name) * factor for name in ("resistance", "peak", "reactance")}
        more = tuple((hertz, peak * factor, q) for hertz, peak, q in self.more_peaks)
        return dataclasses.replace(self, more_peaks=more, **scaled)


def loudspeaker_ohms(part: Loudspeaker, hertz: float) -> complex:
    """Impedance [ohm] of a loudspeaker as it is written for ngspice: coil, cone, and the coil's reactance."""
    omega = 2.0 * math.pi * hertz
    cone = sum(peak / (1.0 + 1j * q * (hertz / middle - middle / hertz)) for middle, peak, q in part.peaks)
    coil = sum(
        1j * omega * henries * (ohms / (ohms + 1j * omega * henries) if math.isfinite(ohms) else 1.0)
        for ohms, henries in coil_sections(part.reactance, part.exponent)
    )
    return complex(part.resistance + cone + coil)


def coil_sections(reactance: float, exponent: float) -> list[tuple[float, float]]:
    """Resistors beside inductors in series that imitate a coil whose impedance rises as frequency**exponent.

    Parameters
    ----------
    reactance : float
        Magnitude at 1 kHz [ohm].
    exponent : float
        0.3 to 1; 1 is a plain inductor.

    Returns
    -------
    list of (ohm, henry)
        Five pairs with corners spread from 16 Hz to 10 kHz and one inductor (infinite ohms) for all above; for a
        plain inductor that one alone. Magnitude is within 3 % of the power law from 100 Hz to 20 kHz for exponents
        from 0.65 up, within 8 % for 0.5.
    """
    if exponent == 1.0:
        return [(math.inf, reactance / (2.0 * math.pi * 1000.0))]
    ratio = 5.0
    corners = [16.0 * ratio**n for n in range(5)]
    ohms = [(corner / 1000.0) ** exponent for corner in corners]
    # The sections above the last one would add up to a geometric series of inductances.
    share = ratio ** (exponent - 1.0)
    henries = [r / corner for r, corner in zip(ohms, corners, strict=True)]
    tail = henries[-1] * share / (1.0 - share)
    at_1k = sum(r * 1j * 1000.0 / (corner + 1j * 1000.0) for r, corner in zip(ohms, corners, strict=True))
    scale = reactance / abs(at_1k + 1j * 1000.0 * tail)
    pairs = [(scale * r, scale * h / (2.0 * math.pi)) for r, h in zip(ohms, henries, strict=True)]
    return [*pairs, (math.inf, scale * tail / (2.0 * math.pi))]
