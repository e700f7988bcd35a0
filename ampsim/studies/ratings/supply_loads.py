"""What rectifiers carry, over a period of the mains."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import cast

from ...circuit.amp import Amp, Part
from ...circuit.build import Circuit
from ...circuit.positions import Position
from ...circuit.supply.averaged import mains_of
from ...circuit.supply.rectifier_valve import RectifierValve
from ...simulation.supplies import RectifierDuty, SupplyAtRest, supplies_at_rest


def rectifier_readings(amp: Amp, position: Position) -> dict[str, float]:
    """Readings of every rectifier at rest, by designator and quantity [V, A, F, ohm]; none where rails are given."""
    found: dict[str, float] = {}
    supplies = supplies_at_rest(amp, position)
    for winding, amps in winding_amps(supplies).items():
        found[f"{winding}.winding_amps"] = amps
    for supply in supplies:
        if supply.thermistor:
            found[f"{supply.thermistor}.rms_amps"] = supply.rms_amps
        for way, duty in supply.ways:
            for name, device in zip(way.rectifiers, way.types, strict=True):
                own = _of_valve(supply, duty, device) if isinstance(device, RectifierValve) else _of_diode(duty)
                for quantity, value in own.items():
                    key = f"{name}.{quantity}"
                    found[key] = max(value, found.get(key, 0.0))
    return found


def winding_amps(supplies: Iterable[SupplyAtRest]) -> dict[str, float]:
    """What each stretch of a winding carries [A rms], by its name, such as "PT1 ht a to centre"."""
    squares: dict[str, float] = {}
    for supply in supplies:
        for way, duty in supply.ways:
            for name in way.windings:
                squares[name] = squares.get(name, 0.0) + duty.rms_amps**2
    return {name: math.sqrt(square) for name, square in squares.items()}


def mains_resistors(amp: Amp, position: Position) -> dict[str, tuple[float, float]]:
    """Of every resistor before a rectifier the volts at most [V] and the mean watts [W]."""
    found: dict[str, tuple[float, float]] = {}
    parts = amp.part_by_designator
    for supply in supplies_at_rest(amp, position):
        for way, duty in supply.ways:
            for names in way.resistors:
                ohms = {each: cast("Part", parts[each]).value for each in names.split("+")}
                whole = 1.0 / sum(1.0 / value for value in ohms.values())
                for each, value in ohms.items():
                    volts, watts = found.get(each, (0.0, 0.0))
                    volts = max(volts, duty.peak_amps * whole)
                    found[each] = (volts, watts + (duty.rms_amps * whole) ** 2 / value)
    return found


def _of_valve(supply: SupplyAtRest, duty: RectifierDuty, device: RectifierValve) -> dict[str, float]:
    least = device.least_source_ohms(duty.volts)
    return {
        "reverse_volts": duty.reverse_volts,
        "peak_amps": duty.peak_amps,
        "mean_amps": supply.drawn,
        "plate_volts": duty.volts,
        **({"reservoir_farads": supply.reservoir} if supply.reservoir else {}),
        **({"source_ohms": least} if least is not None and supply.reservoir else {}),
    }


def _of_diode(duty: RectifierDuty) -> dict[str, float]:
    surge = duty.peak_amps if math.isnan(duty.surge_amps) else max(duty.peak_amps, duty.surge_amps)
    return {"reverse_volts": duty.reverse_volts, "forward_amps": duty.mean_amps, "surge_amps": surge}


def source_ohms(wired: Circuit) -> dict[str, float]:
    """The least resistance [ohm] that lies before a plate of each rectifier."""
    found: dict[str, float] = {}
    for source in mains_of(wired).rectified:
        for way in source.ways:
            for name in way.rectifiers:
                found[name] = min(way.ohms, found.get(name, math.inf))
    return found
