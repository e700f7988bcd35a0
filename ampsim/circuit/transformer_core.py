"""The saturation of a transformer's core: the magnetising current beyond that of its inductance.

At a flux `flux` [V s] of the whole primary the core takes L^-1 (flux + flux (flux / saturation)^8): the first part is
the inductance, the second is what is here. An odd power of the flux on top of a straight line is the usual saturation
curve where the flux is what is known (R. C. D. Paiva, J. Pakarinen, V. Välimäki, M. Tikander, Real-time audio
transformer emulation for virtual tube amplifiers, EURASIP J. Advances in Signal Processing 2011, from memory; so do
studies of ferroresonance). The ninth power is our own choice: silicon steel with its knee at 1.5 T takes eleven times
the current of its straight line at 2.0 T. Hysteresis is left out; the losses are those of `core_loss`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from .inner_nets import inner_net
from .valves.spice_text import number

# One of the flux that counts as the knee, in the tolerance of a solution; and volts across a primary.
UNITS = (30.0, 0.01)


def magnetising(p: Any, volts: Any, flux: Any) -> tuple[Any]:
    """Current [A] beyond that of the inductance, at the flux as a share of that at the knee [ratio].

    Parameters
    ----------
    p : mapping
        `knee_amps`: what the inductance alone takes at the knee [A].
    volts : array
        Across the primary [V], which does not matter.
    flux : array
        [ratio]
    """
    square = flux * flux
    fourth = square * square
    return (p["knee_amps"] * (fourth * fourth * flux),)


def magnetising_lines(name: str, p: Mapping[str, float], ports: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    """Write `magnetising` for ngspice: a source across the first port, steered by the volts of the second [ratio]."""
    (first, second), (flux, _) = ports
    square = f"(V({flux})*V({flux}))"
    return (f"B{name} {first} {second} I={number(p['knee_amps'])}*{square}*{square}*{square}*{square}*V({flux})",)


def flux_at(volts: float, hertz: float) -> float:
    """Peak flux [V s] that a sine of so many volts r.m.s. [V] makes at a frequency [Hz]: Faraday's law."""
    return math.sqrt(2.0) * volts / (2.0 * math.pi * hertz)


def flux_density(volts: float, hertz: float, turns: float, square_metres: float) -> float:
    """Peak flux density [T] of a sine: V / (4.44 f N A).

    Parameters
    ----------
    volts : float
        Across the winding [V r.m.s.].
    hertz : float
        [Hz]
    turns : float
        Of that winding [count].
    square_metres : float
        Of the core's cross-section [m2].
    """
    return flux_at(volts, hertz) / (turns * square_metres)


@dataclass(frozen=True)
class Core:
    """A core that saturates, across a primary.

    `ends` are the nets of the primary; `coil` is the winding whose flux it follows, `scale` leads from that flux to
    the share of the flux at the knee [1 / V s], `shares` says what the current of each winding adds to it [1 / A].
    """

    name: str
    ends: tuple[str, str]
    coil: str
    scale: float
    shares: Mapping[str, float]
    knee_amps: float

    @property
    def flux_net(self) -> str:
        """The net that stands for the flux, as a share of that at the knee."""
        return inner_net(self.name, "flux")

    def lines(self) -> list[str]:
        """As ngspice lines; a winding's current is that of a source named after it."""
        whole = "+".join(f"{share!r}*i(v{each})" for each, share in self.shares.items())
        ports = (self.ends, (self.flux_net, "0"))
        source = magnetising_lines(f"{self.name}_core", {"knee_amps": self.knee_amps}, ports)
        return [f"b{self.name}_flux {self.flux_net} 0 v={whole}", *source]
