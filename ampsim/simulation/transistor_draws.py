"""Transistors anywhere in the spread of their sheets: cut-off and current at 0 V, or the cut-off alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from ..circuit.build import Circuit
from ..circuit.semiconductors.description import Semiconductor
from ..circuit.semiconductors.device import Device
from ..circuit.semiconductors.measuring import channel_current
from .tolerances import Tolerances, uniform

SOURCE = "within the limits of its data sheet: cut-off by lot, the current at 0 V rising with it (own choice of how)"
"""What the spread of transistors rests on."""
# Where sheets give the current at 0 V of the gate [V between drain and source].
_DRAIN_VOLTS = 15.0
# How much of the current's place within its limits is the cut-off's (own choice; both come from the channel's depth).
_SHARED = 0.8


def spread_devices(wired: Circuit) -> dict[str, Semiconductor]:
    """The transistors of a circuit whose type says within what they lie, by designator."""
    found = {}
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        if isinstance(part, Device) and part.kind == "transistor":
            device = wired.amp.semiconductor_by_type[part.type]
            if device.spread:
                found[part.designator] = device
    return found


def transistor_draws(wired: Circuit, count: int, seed: int, tolerances: Tolerances) -> dict[str, list[Semiconductor]]:
    """The very transistors of `count` amps, by designator.

    Parameters
    ----------
    wired : Circuit
    count : int
        How many amps.
    seed : int
        Names the run of amps.
    tolerances : Tolerances
        Its `transistors` is the share of the sheet's range that is drawn from, around the middle; 0 draws none.
    """
    share = tolerances.transistors
    devices = spread_devices(wired) if share else {}
    found = {}
    for name, device in devices.items():
        places = 0.5 + share * (uniform(seed, f"{name} transistor", count, 2) - 0.5)
        found[name] = [specimen(device, float(one), float(other)) for one, other in places]
    return found


def specimen(device: Semiconductor, cut_off: float, current: float) -> Semiconductor:
    """A transistor at a place within the limits of its type.

    Parameters
    ----------
    device : Semiconductor
    cut_off : float
        0 for the limit nearest to 0 V, 1 for the other [ratio].
    current : float
        The same of the current at 0 V, of which `_SHARED` comes from the cut-off [ratio].
    """
    limits = {name: (low, high) for name, low, high in device.spread}
    numbers = dict(device.parameters)
    if "cut_off_volts" in limits:
        near, far = sorted(limits["cut_off_volts"], key=abs)
        numbers["threshold_volts"] = _between(near, far, cut_off)
    moved = replace(device, parameters=tuple(numbers.items()))
    if "idss" in limits:
        amps = _between(*limits["idss"], _SHARED * cut_off + (1.0 - _SHARED) * current)
        sign = 1.0 if numbers["threshold_volts"] < 0.0 else -1.0
        # The current goes as beta, but for the volts its own resistance takes.
        for _ in range(4):
            numbers["beta"] *= amps / abs(channel_current(moved, sign * _DRAIN_VOLTS, 0.0))
            moved = replace(device, parameters=tuple(numbers.items()))
    return moved


def _between(low: float, high: float, place: float) -> float:
    """Evenly in the logarithm, where both have one sign."""
    if low * high > 0.0:
        return float(np.copysign(abs(low) ** (1.0 - place) * abs(high) ** place, low))
    return low + place * (high - low)


def device_sources(wired: Circuit) -> Mapping[str, str]:
    """To each type that is drawn by lot what its spread is."""
    return {
        device.type: f"{SOURCE}; {', '.join(f'{name} {low:g} to {high:g}' for name, low, high in device.spread)}"
        for device in spread_devices(wired).values()
    }
