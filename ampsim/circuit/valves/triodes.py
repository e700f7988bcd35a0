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
    width = p["width"] + p["width_per_volt"] * positive
    effective = width * _softplus((grid + plate / p["mu"] + p["contact_volts"]) / width)
    knee = positive**2 / (positive**2 + p["knee_volts"] * (positive + 0.1))
    return p["perveance"] * effective ** p["exponent"] * knee


def space_charge_lines(p: Parameters) -> tuple[str, ...]:
    """Write `space_charge`; the linear sums are linear elements, so Newton meets one variable at a time."""
    width = f"max(V(w),{number(p['width'])})"
    emitted = f"{number(1e3 * p['perveance'])}*pow(min({width}*{softplus('V(u)')},1e4),{number(p['exponent'])})"
    return (
        f"GX1 0 x plate cathode {number(1.0 / p['mu'])}",
        "GX2 0 x grid cathode 1",
        f"IX 0 x {number(p['contact_volts'])}",
        helper("x"),
        f"GW 0 w plate cathode {number(p['width_per_volt'])}",
        f"IW 0 w {number(p['width'])}",
        helper("w"),
        *node("u", f"V(x)/{width}"),
        *node("i", emitted),
        *node("ia", f"V(i)*{PLATE}*{PLATE}/({PLATE}*{PLATE}+{number(p['knee_volts'])}*({PLATE}+0.1))"),
    )


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
