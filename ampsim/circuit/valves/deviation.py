"""How valves of one type differ: bias, mu and gm shifted apart from each other in the parameters of a law."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class ValveDraw:
    """One valve against its type at the reference point: bias shift [V], factor on mu, factor on gm."""

    bias_volts: float = 0.0
    mu: float = 1.0
    slope: float = 1.0


@dataclass(frozen=True)
class Reference:
    """The point at which valves of one type are compared.

    Attributes
    ----------
    plate_volts : float
        Plate against cathode [V].
    plate_amps : float
        Plate current [A].
    screen_volts : float or None
        Screen against cathode [V]; None for a triode, and for a pentode that is triode connected.
    """

    plate_volts: float
    plate_amps: float
    screen_volts: float | None = None


@dataclass(frozen=True)
class Deviation:
    """What a law says of valves that differ from their type.

    Attributes
    ----------
    amplification : str
        The parameter by which volts on the plate (of a pentode: on the screen) count at the grid.
    parameters : callable
        (parameters of the type, reference, draw) to the parameters of the valve drawn.
    """

    amplification: str
    parameters: Callable[[Mapping[str, float], Reference, ValveDraw], dict[str, float]]


def space_charge_triode(p: Mapping[str, float], at: Reference, draw: ValveDraw) -> dict[str, float]:
    """Parameters of a space-charge triode that differs from its type by a draw [V, factors] at a reference [V, A]."""
    return _space_charge(p, at, draw, {"mu": at.plate_volts}, 0.0)


def space_charge_pentode(p: Mapping[str, float], at: Reference, draw: ValveDraw) -> dict[str, float]:
    """Parameters of a space-charge pentode that differs from its type by a draw [V, factors] at a reference [V, A]."""
    screen = at.plate_volts if at.screen_volts is None else at.screen_volts
    share = 0.0 if at.screen_volts is None else p["screen_share"]
    return _space_charge(p, at, draw, {"mu": screen, "plate_mu": at.plate_volts}, share)


def _space_charge(
    given: Mapping[str, float], at: Reference, draw: ValveDraw, pulls: Mapping[str, float], screen_share: float
) -> dict[str, float]:
    """Shift the plain sum.

    With E = Vg + Va/mu + Vs/mu' + Vct, x(E) = w ln(1 + exp(E/w)) and a current G x^g: the shift is added to Vct;
    mu becomes mu m and Vct grows by V/mu (1 - 1/m), so that the current at the reference stays; G becomes G q^g and
    Vct grows by E(x0/q) - E(x0), so that the current stays and gm/I = g (1 - exp(-x/w))/x alone changes. Derived from
    the law itself. Where the law bends too softly for a gm asked for, it takes nine tenths of the most it can.
    """
    p = dict(given)
    width = p["width"] + p["width_per_volt"] * pulls["mu"]
    # The effective voltage x at the reference current, its knee left out: about (I/G)^(1/g).
    drive = float((at.plate_amps / (1.0 - screen_share) / p["perveance"]) ** (1.0 / p["exponent"]))
    spared = _spared(drive / width, draw.slope)
    shift = draw.bias_volts + _before(drive / spared, width) - _before(drive, width)
    shift += sum(volts / p[name] * (1.0 - 1.0 / draw.mu) for name, volts in pulls.items())
    p["contact_volts"] += shift
    p["perveance"] *= spared ** p["exponent"]
    for name in pulls:
        p[name] *= draw.mu
    return p


def _before(effective: float, width: float) -> float:
    """The sum E whose softplus is this effective voltage."""
    return effective + width * math.log(-math.expm1(-effective / width))


def _spared(bend: float, slope: float) -> float:
    """The factor q that solves q (1 - exp(-a/q)) = s (1 - exp(-a)), a = x0/w, by the Lambert function."""
    from scipy.special import lambertw

    share = min(-slope * math.expm1(-bend) / bend, max(0.9, -math.expm1(-bend) / bend))
    if share == -math.expm1(-bend) / bend:
        return 1.0
    return bend / (1.0 / share + float(lambertw(-math.exp(-1.0 / share) / share).real))
