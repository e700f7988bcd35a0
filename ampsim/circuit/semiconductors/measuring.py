"""What a type's law says where a figure is published: volts at a current, a current at volts."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import ArrayLike

from .description import DevicePoint, Semiconductor
from .laws import pieces_of
from .port_laws import PORT_LAWS, Array

QUANTITIES: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "forward volts": ("V", ("forward_amps",)),
    "forward amps": ("A", ("forward_volts",)),
    "reverse volts": ("V", ("reverse_amps",)),
    "reverse amps": ("A", ("reverse_volts",)),
}
"""Every quantity that a file may give a figure of: its unit, and the conditions it is given at."""


def diode_current(device: Semiconductor, volts: ArrayLike) -> Array:
    """Current [A] from anode to cathode at the volts [V] between them."""
    given = np.asarray(volts, dtype=np.float64)
    total = np.zeros_like(given)
    for piece in pieces_of(device).laws:
        sign = 1.0 if piece.ports[0] == ("anode", "cathode") else -1.0
        total += sign * PORT_LAWS[piece.law].currents(piece.numbers, sign * given)[0]
    return total


def diode_volts(device: Semiconductor, amps: float) -> float:
    """Volts [V] from anode to cathode at a current [A] of either sign."""
    return _solve(lambda volts: float(diode_current(device, volts)) - amps, 2e4 if amps > 0.0 else -2e4)


def _solve(rises: Callable[[float], float], far: float) -> float:
    from scipy.optimize import brentq

    return float(brentq(rises, min(0.0, far), max(0.0, far), xtol=1e-12, rtol=1e-14))


def at_point(device: Semiconductor, point: DevicePoint) -> float:
    """What the law says where a point was published, in the point's unit [V or A]."""
    given = dict(point.conditions)
    if point.quantity == "forward volts":
        return diode_volts(device, given["forward_amps"])
    if point.quantity == "reverse volts":
        return -diode_volts(device, -given["reverse_amps"])
    if point.quantity == "forward amps":
        return float(diode_current(device, given["forward_volts"]))
    return -float(diode_current(device, -given["reverse_volts"]))
