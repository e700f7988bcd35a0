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

# How closely all windings on one core are coupled [ratio]; leakage is in inductors of its own.
COUPLING = 0.99999
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

    `ends` are the nets of the primary; `coil` is the winding whose flux it follows, of `henries` [H], and `scale` leads
    from that flux to the share of the flux at the knee [1 / V s].
    """

    name: str
    ends: tuple[str, str]
    coil: str
    henries: float
    scale: float
    knee_amps: float

    @property
    def flux_net(self) -> str:
        """The net that stands for the flux, as a share of that at the knee."""
        return inner_net(self.name, "flux")

    def lines(self) -> list[str]:
        """As ngspice lines, behind those of the windings: what is common to them, the flux, and the core's current."""
        common, amps = inner_net(self.name, "common"), inner_net(self.name, "common_amps")
        shared = self.scale * COUPLING * math.sqrt(self.henries)
        own = self.scale * (1.0 - COUPLING) * self.henries
        flux = f"{shared!r}*i(v{self.name}_common)+{own!r}*i(v{self.coil})"
        ports = (self.ends, (self.flux_net, "0"))
        return [
            f"l{self.name}_common {common} {amps} {COUPLING!r}",
            f"v{self.name}_common {amps} 0 dc 0",
            f"b{self.name}_flux {self.flux_net} 0 v={flux}",
            *magnetising_lines(f"{self.name}_core", {"knee_amps": self.knee_amps}, ports),
        ]


def winding_lines(core: str, name: str, ends: tuple[str, str], henries: float) -> list[str]:
    """A winding on a core that saturates, as ngspice lines: what it does not share, then an ideal transformer.

    All together are the same as windings coupled in pairs; but those have the flux as a small difference of their
    large currents, and in short steps too few digits are left of it.

    Parameters
    ----------
    core, name : str
        Of the transformer and the winding.
    ends : tuple of str
        The nets of its ends, the dotted one first.
    henries : float
        [H]
    """
    own, amps, turns = inner_net(name, "own"), inner_net(name, "amps"), math.sqrt(henries)
    common = inner_net(core, "common")
    return [
        f"{name} {ends[0]} {own} {(1.0 - COUPLING) * henries!r}",
        f"e{name} {own} {amps} {common} 0 {turns!r}",
        f"v{name} {amps} {ends[1]} dc 0",
        f"f{name} 0 {common} v{name} {turns!r}",
    ]
