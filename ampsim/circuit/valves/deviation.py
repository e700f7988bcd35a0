"""How valves of one type differ: bias, mu and gm shifted apart from each other in the parameters of a law."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from . import triodes


@dataclass(frozen=True)
class ValveDraw:
    """One valve against its type at the reference point: bias shift [V], factors on mu and gm, and on grid current."""

    bias_volts: float = 0.0
    mu: float = 1.0
    slope: float = 1.0
    grid_current: float = 1.0


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


def two_mu_triode(p: Mapping[str, float], at: Reference, draw: ValveDraw) -> dict[str, float]:
    """Parameters of a triode of two mu that differs from its type by a draw [V, factors] at a reference [V, A].

    As of a plain one; the part with the lower mu loses more volts by the same factor, so the contact volts that keep
    the current are solved for.
    """
    drawn = space_charge_triode(p, at, replace(draw, bias_volts=0.0))
    grid = _root(lambda volts: _two_mu(p, at, volts) - at.plate_amps, -at.plate_volts, 50.0)
    wanted = _two_mu(p, at, grid)
    kept = _root(lambda more: _two_mu(drawn, at, grid + more) - wanted, -50.0, 50.0)
    drawn["contact_volts"] += draw.bias_volts + kept
    return drawn


def _two_mu(p: Mapping[str, float], at: Reference, grid: float) -> float:
    return float(triodes.two_mu(p, np.array(at.plate_volts), np.array(grid)))


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    from scipy.optimize import brentq

    return float(brentq(function, low, high, xtol=1e-13, rtol=1e-13))


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
