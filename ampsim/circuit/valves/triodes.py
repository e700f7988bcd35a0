"""Triode laws: plate current [A] of plate and grid voltage [V], in numpy and as ngspice elements.

Each `*_lines` leaves the plate current in milliamperes on the node `ia`. Every `pow` gets a base that cannot
be negative, since ngspice's powers of negative numbers depend on its compatibility mode.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from .spice_text import helper, node, number, softplus

Array = NDArray[np.float64]
Parameters = Mapping[str, float]

PLATE = "uramp(V(plate,cathode))"


def _softplus(x: Array) -> Array:
    return np.logaddexp(0.0, x)


def space_charge(p: Parameters, plate: Array, grid: Array) -> Array:
    """Plate current [A]: softplus whose width grows with the plate voltage [V], times a knee, zero at or below 0 V."""
    positive = np.maximum(plate, 0.0)
    return p["perveance"] * _drawn(p, 1.0, positive, plate, grid) * _knee(p, positive)


def two_mu(p: Parameters, plate: Array, grid: Array) -> Array:
    """Plate current [A] of `space_charge` where a share of the valve has a lower mu: it cuts off later (volts in V).

    A grid whose turns stand unevenly, or end short of the cathode's ends, controls some of the cathode less. The sum
    of two laws for such valves: F. Langford-Smith, Radiotron Designer's Handbook, 4th ed., 1953, on remote cut-off
    grids (from memory).
    """
    positive, slow = np.maximum(plate, 0.0), p["slow_share"]
    drawn = (1.0 - slow) * _drawn(p, 1.0, positive, plate, grid) + slow * _drawn(p, p["slow_mu"], positive, plate, grid)
    return p["perveance"] * drawn * _knee(p, positive)


def _drawn(p: Parameters, of_mu: float, positive: Array, plate: Array, grid: Array) -> Array:
    """The effective voltage to its power, for a part of the valve whose mu is a share of the whole's."""
    width = p["width"] + p["width_per_volt"] * positive
    effective = width * _softplus((grid + plate / (p["mu"] * of_mu) + p["contact_volts"]) / width)
    return effective ** p["exponent"]


def _knee(p: Parameters, positive: Array) -> Array:
    return positive**2 / (positive**2 + p["knee_volts"] * (positive + 0.1))


def space_charge_lines(p: Parameters) -> tuple[str, ...]:
    """Write `space_charge`; the linear sums are linear elements, so Newton meets one variable at a time."""
    return (
        *_width_lines(p),
        *_sum_lines(p, "x", "u", 1.0),
        *node("i", f"{number(1e3 * p['perveance'])}*{_drawn_text(p, 'u')}"),
        *node("ia", f"V(i)*{_knee_text(p)}"),
    )


def two_mu_lines(p: Parameters) -> tuple[str, ...]:
    """Write `two_mu` as `space_charge_lines`, with a sum and a current for each part."""
    scale, slow = 1e3 * p["perveance"], p["slow_share"]
    return (
        *_width_lines(p),
        *_sum_lines(p, "x", "u", 1.0),
        *_sum_lines(p, "y", "t", p["slow_mu"]),
        *node("i", f"{number(scale * (1.0 - slow))}*{_drawn_text(p, 'u')}"),
        *node("j", f"{number(scale * slow)}*{_drawn_text(p, 't')}"),
        *node("ia", f"(V(i)+V(j))*{_knee_text(p)}"),
    )


def _width_text(p: Parameters) -> str:
    return f"max(V(w),{number(p['width'])})"


def _width_lines(p: Parameters) -> tuple[str, ...]:
    return (f"GW 0 w plate cathode {number(p['width_per_volt'])}", f"IW 0 w {number(p['width'])}", helper("w"))


def _sum_lines(p: Parameters, total: str, ratio: str, of_mu: float) -> tuple[str, ...]:
    """The plain sum on one node, over the width on another."""
    return (
        f"G{total.upper()}1 0 {total} plate cathode {number(1.0 / (p['mu'] * of_mu))}",
        f"G{total.upper()}2 0 {total} grid cathode 1",
        f"I{total.upper()} 0 {total} {number(p['contact_volts'])}",
        helper(total),
        *node(ratio, f"V({total})/{_width_text(p)}"),
    )


def _drawn_text(p: Parameters, ratio: str) -> str:
    return f"pow(min({_width_text(p)}*{softplus(f'V({ratio})')},1e4),{number(p['exponent'])})"


def _knee_text(p: Parameters) -> str:
    return f"{PLATE}*{PLATE}/({PLATE}*{PLATE}+{number(p['knee_volts'])}*({PLATE}+0.1))"


def koren(p: Parameters, plate: Array, grid: Array) -> Array:
    """Plate current [A] of Koren, Glass Audio 8(5), 1996.

    2 E^x/kG1 with E = (Va/kP) ln(1 + exp(kP (1/mu + Vg/sqrt(kVB + Va^2)))), voltages in V.
    """
    return _koren(p, p["kG1"], plate, grid, 0.0, 0.0)


def koren_lines(p: Parameters) -> tuple[str, ...]:
    """Write `koren`."""
    return _koren_lines(p, p["kG1"], 0.0, 0.0)


def cohen_helie(p: Parameters, plate: Array, grid: Array) -> Array:
    """Plate current [A] of Cohen and Helie 2012 (hal-00811215): Koren's, (Vg + Vct) / sqrt(kVB + kVB2 Va + Va^2)."""
    return _koren(p, p["kG"], plate, grid, p["Vct"], p["kVB2"])


def cohen_helie_lines(p: Parameters) -> tuple[str, ...]:
    """Write `cohen_helie`."""
    return _koren_lines(p, p["kG"], p["Vct"], p["kVB2"])


def _koren(p: Parameters, divisor: float, plate: Array, grid: Array, contact: float, linear: float) -> Array:
    positive = np.maximum(plate, 0.0)
    root = np.sqrt(p["kVB"] + linear * positive + positive**2)
    effective = positive / p["kP"] * _softplus(p["kP"] * (1.0 / p["mu"] + (grid + contact) / root))
    return 2.0 / divisor * effective ** p["x"]


def _koren_lines(p: Parameters, divisor: float, contact: float, linear: float) -> tuple[str, ...]:
    root = f"sqrt({number(p['kVB'])}+{number(linear)}*{PLATE}+{PLATE}*{PLATE})"
    argument = f"{number(p['kP'])}*({number(1.0 / p['mu'])}+(V(grid,cathode)+({number(contact)}))/{root})"
    return (
        *node("u", argument),
        *node("e", f"{PLATE}/{number(p['kP'])}*{softplus('V(u)')}"),
        *node("ia", f"{number(2e3 / divisor)}*pow(min(uramp(V(e)),1e4),{number(p['x'])})"),
    )


def dempwolf_zoelzer(p: Parameters, plate: Array, grid: Array) -> Array:
    """Plate current [A] of Dempwolf and Zoelzer, DAFx-11, 2011, eqs 10-12: cathode current less grid current.

    As published it has no knee: with the grid positive it passes current at a plate of 0 V and below.
    """
    effective = _softplus(p["C"] * (plate / p["mu"] + grid)) / p["C"]
    return p["G"] * effective ** p["gamma"] - dempwolf_zoelzer_grid(p, grid)


def dempwolf_zoelzer_grid(p: Parameters, grid: Array) -> Array:
    """Grid current [A] of the same paper: Gg (ln(1 + exp(Cg Vg)) / Cg)^xi + Ig0."""
    return p["Gg"] * (_softplus(p["Cg"] * grid) / p["Cg"]) ** p["xi"] + p["Ig0"]


def dempwolf_zoelzer_lines(p: Parameters) -> tuple[str, ...]:
    """Write `dempwolf_zoelzer`; the node `ig` holds the grid current in milliamperes."""
    scale = number(1e3 * p["G"] * p["C"] ** -p["gamma"])
    return (
        f"GX1 0 u plate cathode {number(p['C'] / p['mu'])}",
        f"GX2 0 u grid cathode {number(p['C'])}",
        helper("u"),
        *node("ia", f"{scale}*pow({softplus('V(u)')},{number(p['gamma'])})-V(ig)"),
    )


def dempwolf_zoelzer_grid_lines(p: Parameters) -> tuple[str, ...]:
    """Write `dempwolf_zoelzer_grid` between the inner grid node `gi` and the cathode."""
    scale = number(1e3 * p["Gg"] * p["Cg"] ** -p["xi"])
    return (
        "VGO grid gi 0",
        f"GT 0 t grid cathode {number(p['Cg'])}",
        helper("t"),
        *node("ig", f"{scale}*pow({softplus('V(t)')},{number(p['xi'])})+{number(1e3 * p['Ig0'])}"),
        "GG gi cathode ig 0 1e-3",
    )


def three_halves(p: Parameters, plate: Array, grid: Array) -> Array:
    """Textbook law Ia [A] = k (Va + mu Vg)^1.5 where the bracket is positive, else 0.

    As published it has no knee: with the grid positive it passes current at a plate of 0 V and below.
    """
    drive: Array = np.maximum(plate + p["mu"] * grid, 0.0)
    return p["k"] * drive**1.5


def three_halves_lines(p: Parameters) -> tuple[str, ...]:
    """Write `three_halves`."""
    return (
        "GX1 0 x plate cathode 1",
        f"GX2 0 x grid cathode {number(p['mu'])}",
        helper("x"),
        *node("ia", f"{number(1e3 * p['k'])}*pow(uramp(V(x)),1.5)"),
    )
