"""Pentode laws: plate and screen current [A] of plate, grid 1 and screen voltage [V], numpy and ngspice.

Each `*_lines` leaves the plate current in milliamperes on the node `ia` and the screen current on `is`.
"""

from __future__ import annotations

import numpy as np

from .spice_text import helper, node, number, softplus
from .triodes import PLATE, Array, Parameters

SCREEN = "uramp(V(screen,cathode))"
# The published pentode law divides by the screen voltage: below this [V] it is held.
LOWEST_SCREEN = 0.01


def space_charge(p: Parameters, plate: Array, grid: Array, screen: Array) -> tuple[Array, Array]:
    """Softplus whose width grows with the screen voltage, and a plate knee that is zero at or below 0 V.

    The knee starts in proportion to the plate voltage, so the plate current never falls as grid 1 rises. The screen
    draws a share of the current emitted and, below the knee, what the plate sends back. That share falls as the plate
    rises above the screen (`screen_fall`): much in beam valves, whose screen lies in the shadow of grid 1 and draws
    what returns to it, not at all in pentodes. In the shadow of a grid the share is largest at one drive in between
    (`screen_best`, in widths of the softplus) and smaller by up to `screen_focus` where grid 1 is nearly cut off and
    its beams are narrow, and where it is positive.

    Parameters
    ----------
    p : mapping of str to float
        The law's parameters.
    plate, grid, screen : ndarray
        Voltages against the cathode [V].

    Returns
    -------
    tuple of ndarray
        Plate and screen current [A].
    """
    drawn, above = np.maximum(screen, 0.0), np.maximum(plate, 0.0)
    width = p["width"] + p["width_per_volt"] * drawn
    linear = grid + screen / p["mu"] + plate / p["plate_mu"] + p["contact_volts"]
    effective = width * np.logaddexp(0.0, linear / width)
    emitted = p["perveance"] * effective ** p["exponent"]
    rounded = above**2 / (above + 0.5)
    passed = rounded / np.hypot(rounded, p["knee_volts"] + p["knee_per_volt"] * effective)
    taken = p["screen_share"] * (1.0 + p["screen_fall"]) / (drawn + p["screen_fall"] * above + 1.0)
    returned = p["screen_return"] * (1.0 - passed) / (drawn + 1.0)
    over = (effective / (width * p["screen_best"])) ** 2
    taken = taken * (1.0 - p["screen_focus"] * ((1.0 - over) / (1.0 + over)) ** 2)
    return (1.0 - p["screen_share"]) * emitted * passed, emitted * (taken + returned) * drawn


def space_charge_lines(p: Parameters) -> tuple[str, ...]:
    """Write `space_charge`; the linear sums are linear elements, so Newton meets one variable at a time."""
    width = f"max(V(w),{number(p['width'])})"
    knee = f"({number(p['knee_volts'])}+{number(p['knee_per_volt'])}*min(uramp(V(e)),1e4))"
    share, fall = p["screen_share"], p["screen_fall"]
    # A node of its own for what the share falls with: written out, ngspice's Newton does not arrive.
    fallen, against = (node("d", f"{SCREEN}+{number(fall)}*{PLATE}"), "uramp(V(d))") if fall else ((), SCREEN)
    taken = f"{number(share * (1.0 + fall))}/({against}+1)"
    returned = f"{number(p['screen_return'])}*(1-V(f))/({SCREEN}+1)"
    focused: tuple[str, ...] = ()
    if p["screen_focus"]:
        focused = node("o", f"V(e)/({width}*{number(p['screen_best'])})")
        taken += f"*(1-{number(p['screen_focus'])}*((1-V(o)*V(o))/(1+V(o)*V(o)))*((1-V(o)*V(o))/(1+V(o)*V(o))))"
    return (
        "GX1 0 x grid cathode 1",
        f"GX2 0 x screen cathode {number(1.0 / p['mu'])}",
        f"GX3 0 x plate cathode {number(1.0 / p['plate_mu'])}",
        f"IX 0 x {number(p['contact_volts'])}",
        helper("x"),
        f"GW 0 w screen cathode {number(p['width_per_volt'])}",
        f"IW 0 w {number(p['width'])}",
        helper("w"),
        *node("u", f"V(x)/{width}"),
        *node("e", f"{width}*{softplus('V(u)')}"),
        *node("i", f"{number(1e3 * p['perveance'])}*pow(min(uramp(V(e)),1e4),{number(p['exponent'])})"),
        *node("q", f"{PLATE}*{PLATE}/({PLATE}+0.5)"),
        *node("f", f"V(q)/sqrt(V(q)*V(q)+{knee}*{knee})"),
        *node("ia", f"{number(1.0 - share)}*V(i)*V(f)"),
        *fallen,
        *focused,
        *node("is", f"V(i)*({taken}+{returned})*{SCREEN}"),
    )


def koren(p: Parameters, plate: Array, grid: Array, screen: Array) -> tuple[Array, Array]:
    """Koren, Glass Audio 8(5), 1996: Ia = 2 E^x / kG1 arctan(Va / kVB), Ig2 = (Vg1 + Vg2/mu)^1.5 / kG2.

    E = (Vg2/kP) ln(1 + exp(kP (1/mu + Vg1/Vg2))); a bracket or a plate below 0 gives 0.

    Parameters
    ----------
    p, plate, grid, screen
        As those of `space_charge` [V]; plate and screen current [A] come back as there.
    """
    drawn = np.maximum(screen, LOWEST_SCREEN)
    effective = drawn / p["kP"] * np.logaddexp(0.0, p["kP"] * (1.0 / p["mu"] + grid / drawn))
    plate_current = 2.0 / p["kG1"] * effective ** p["x"] * np.arctan(np.maximum(plate, 0.0) / p["kVB"])
    bracket: Array = np.maximum(grid + screen / p["mu"], 0.0)
    return plate_current, bracket**1.5 / p["kG2"]


def koren_lines(p: Parameters) -> tuple[str, ...]:
    """Write `koren`."""
    drawn = f"max(V(screen,cathode),{number(LOWEST_SCREEN)})"
    emitted = f"{number(2e3 / p['kG1'])}*pow(min(uramp(V(e)),1e4),{number(p['x'])})"
    return (
        *node("u", f"{number(p['kP'])}*({number(1.0 / p['mu'])}+V(grid,cathode)/{drawn})"),
        *node("e", f"{drawn}/{number(p['kP'])}*{softplus('V(u)')}"),
        *node("ia", f"{emitted}*atan({PLATE}/{number(p['kVB'])})"),
        "GX1 0 x grid cathode 1",
        f"GX2 0 x screen cathode {number(1.0 / p['mu'])}",
        helper("x"),
        *node("is", f"{number(1e3 / p['kG2'])}*pow(uramp(V(x)),1.5)"),
    )
