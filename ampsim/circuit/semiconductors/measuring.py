"""What a type's law says where a figure is published: volts at a current, a current at volts."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import ArrayLike

from ..supply.vacuum_diode import drop_volts
from .description import DevicePoint, Semiconductor
from .laws import pieces_of
from .op_amps import op_amp_figure
from .opto_couplers import coupler_figure
from .port_law import Array
from .port_laws import PORT_LAWS

QUANTITIES: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "forward volts": ("V", ("forward_amps",)),
    "forward amps": ("A", ("forward_volts",)),
    "reverse volts": ("V", ("reverse_amps",)),
    "reverse amps": ("A", ("reverse_volts",)),
    "drain amps": ("A", ("drain_volts", "gate_volts")),
    "gate volts": ("V", ("drain_volts", "drain_amps")),
    "transconductance": ("S", ("drain_volts", "drain_amps")),
    "cell ohms": ("ohm", ("forward_amps",)),
    "cell ohms after": ("ohm", ("forward_amps", "seconds")),
    "cell rise": ("s", ("forward_amps",)),
    "on ohms": ("ohm", ("gate_volts", "drain_amps")),
    "swing volts": ("V", ("supply_volts", "load_ohms")),
    "short amps": ("A", ("supply_volts",)),
    "supply amps": ("A", ("supply_volts",)),
    "unity gain hertz": ("Hz", ("supply_volts",)),
    "slew": ("V/s", ("supply_volts",)),
    "input noise": ("V/sqrt(Hz)", ("supply_volts",)),
    "drop volts": ("V", ("plate_amps",)),
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


def channel_current(device: Semiconductor, drain: float, gate: float) -> float:
    """Current [A] into the drain through channel and drain resistance, at volts [V] against the source."""
    piece = pieces_of(device).laws[0]
    sign = 1.0 if piece.ports[0][1] == "source" else -1.0
    ohms = dict(device.parameters)["drain_ohms"]

    def amps(inner: float) -> float:
        return float(PORT_LAWS["channel"].currents(piece.numbers, np.array(inner), np.array(sign * gate))[0])

    inner = _solve(lambda volts: volts + ohms * amps(volts) - sign * drain, sign * drain) if drain else 0.0
    return sign * amps(inner)


def channel_slope(device: Semiconductor, drain: float, gate: float) -> float:
    """How the drain current goes with the gate's volts, gm [S], at volts [V] against the source."""
    ends = [channel_current(device, drain, gate + step) for step in (1e-4, -1e-4)]
    return (ends[0] - ends[1]) / 2e-4


def gate_volts(device: Semiconductor, drain: float, amps: float) -> float:
    """Gate volts [V] at which a current [A] flows at drain volts [V]."""
    from scipy.optimize import brentq

    sign = 1.0 if drain > 0.0 else -1.0
    return float(brentq(lambda gate: sign * (channel_current(device, drain, gate) - amps), -30.0, 30.0, xtol=1e-12))


def _fet_at(device: Semiconductor, quantity: str, given: Mapping[str, float]) -> float:
    if quantity == "drain amps":
        return channel_current(device, given["drain_volts"], given["gate_volts"])
    if quantity == "on ohms":
        far = 1e3 if given["drain_amps"] > 0.0 else -1e3
        drain = _solve(lambda v: channel_current(device, v, given["gate_volts"]) - given["drain_amps"], far)
        return drain / given["drain_amps"]
    gate = gate_volts(device, given["drain_volts"], given["drain_amps"])
    return gate if quantity == "gate volts" else channel_slope(device, given["drain_volts"], gate)


def at_point(device: Semiconductor, point: DevicePoint) -> float:
    """What the law says where a point was published, in the point's unit [V, A, S, ohm, Hz ...]."""
    given = dict(point.conditions)
    if device.family == "operational amplifier":
        return op_amp_figure(device, point.quantity, given)
    if device.family == "rectifier valve":
        return float(drop_volts(dict(device.parameters), np.array(given["plate_amps"])))
    if device.family == "opto-coupler":
        return coupler_figure(device, point.quantity, given)
    if device.family != "diode":
        return _fet_at(device, point.quantity, given)
    if point.quantity == "forward volts":
        return diode_volts(device, given["forward_amps"])
    if point.quantity == "reverse volts":
        return -diode_volts(device, -given["reverse_amps"])
    if point.quantity == "forward amps":
        return float(diode_current(device, given["forward_volts"]))
    return -float(diode_current(device, -given["reverse_volts"]))
