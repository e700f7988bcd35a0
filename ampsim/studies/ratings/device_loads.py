"""What semiconductors carry, from volts and amperes over time; pure arithmetic."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import cast

import numpy as np

from ...circuit.build import Circuit
from ...circuit.semiconductors.description import Semiconductor
from ...circuit.semiconductors.device import Device
from ...circuit.supply.averaged import mains_of
from ...circuit.supply.mains_edges import DIODES
from ...circuit.supply.transformer import MainsTransformer
from ...circuit.switches.kinds import Coil
from ...measures.loads import Array, Span
from ...simulation.devices import package
from ...simulation.facts import Fact
from ...simulation.netlist import device_vectors
from .supply_loads import source_ohms

_COIL_LEAST, _COIL_MOST = 0.8, 1.1
_COIL_SOURCE = "80 to 110 % of its rated volts, operative range of class 1 (IEC 61810-1, from memory)"
LOAD = "device_load"
"""The variable of `stress` that holds the readings, by designator and quantity: "D1.reverse_volts"."""


@dataclass(frozen=True)
class DeviceFacts:
    """A semiconductor of an amp: its type, and its limits by name [V, A, W], as far as known."""

    type: str
    family: str
    basis: str
    source: str
    limits: dict[str, float]


DEVICES = Fact("devices", dict[str, dict[str, dict[str, DeviceFacts]]])
"""To each variant and position its semiconductors by designator: a switch may bring one."""


def device_facts(wired: Circuit) -> dict[str, DeviceFacts]:
    """The semiconductors of an amp at a position, mods included."""
    found = {}
    before = source_ohms(wired)
    for part, device in _devices(wired):
        limits = dict(device.limits) | _own_limits(device)
        if part.designator in before:
            limits["source_ohms"] = before[part.designator]
        found[part.designator] = DeviceFacts(device.type, device.family, device.basis, device.limit_source, limits)
    return found | dict(_windings(wired)) | _coil_facts(wired)


def _coils(wired: Circuit) -> dict[str, Coil]:
    """The coils of relays that are fed, by designator."""
    fed = {element.designator for element in wired.elements}
    every = wired.amp.all_switches
    return {each.designator: each.coil for each in every if each.coil is not None and each.designator in fed}


def _coil_facts(wired: Circuit) -> dict[str, DeviceFacts]:
    found = {}
    for name, coil in _coils(wired).items():
        limits = {"coil_volts": _COIL_MOST * coil.volts, "coil_lacks": (1.0 - _COIL_LEAST) * coil.volts}
        found[name] = DeviceFacts(coil.words, "relay", "rated", _COIL_SOURCE, limits)
    return found


def coil_readings(wired: Circuit, volts_of: Callable[[str, str], Array], span: Span) -> dict[str, float]:
    """What stands across the coils of relays [V], and what they lack of the volts that they are made for.

    Parameters
    ----------
    wired : Circuit
    volts_of : callable
        Designator and pin to its volts against ground [V], shape of the span.
    span : Span
        The instants, and from when on means are taken.
    """
    found: dict[str, float] = {}
    for name, coil in _coils(wired).items():
        across = volts_of(name, "1") - volts_of(name, "2")
        volts = math.sqrt(span.mean(across * across))
        found |= {f"{name}.coil_volts": volts, f"{name}.coil_lacks": max(0.0, coil.volts - volts)}
    return found


def _windings(wired: Circuit) -> Iterator[tuple[str, DeviceFacts]]:
    """The windings of mains transformers whose current is known, stretch by stretch as `winding_amps` names them."""
    for source in mains_of(wired).rectified:
        for name in {name for way in source.ways for name in way.windings}:
            designator, own, _ = name.split(" ", 2)
            part = cast("MainsTransformer", wired.parts[designator])
            winding = next(each for each in part.windings if each.name == own)
            if winding.rated_amps:
                limits = {"winding_amps": winding.rated_amps}
                yield name, DeviceFacts(winding.words, "winding", "rated", "the entry in [parts]", limits)


def _own_limits(device: Semiconductor) -> dict[str, float]:
    """What a type limits by itself: an operational amplifier the current it gives."""
    own = dict(device.parameters)
    return {"output_amps": own["output_amps"]} if device.family == "operational amplifier" else {}


def _devices(wired: Circuit) -> Iterator[tuple[Device, Semiconductor]]:
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        if isinstance(part, Device):
            yield part, wired.amp.semiconductor_by_type[part.type]


def device_readings(
    wired: Circuit, volts_of: Callable[[str, str], Array], vectors: Mapping[str, Array], span: Span
) -> dict[str, float]:
    """Readings of every semiconductor, by designator and quantity; of a bridge those of the diode that carries most.

    Parameters
    ----------
    wired : Circuit
    volts_of : callable
        Designator and pin to its volts against ground [V], shape of the span.
    vectors : mapping
        What ngspice gave.
    span : Span
        The instants, and from when on means are taken.
    """
    found: dict[str, float] = {}
    for part, device in _devices(wired):
        if part.kind == "transistor":
            drain, gate = (volts_of(part.designator, pin) - volts_of(part.designator, "source")
                           for pin in ("drain", "gate"))  # fmt: skip
            plate, leak = (_current(part.designator, pin, device, vectors) for pin in ("drain", "gate"))
            found |= {f"{part.designator}.{key}": each for key, each in _fet(drain, gate, plate, leak, span).items()}
            continue
        if part.own is not None:
            found |= {f"{part.designator}.{key}": each for key, each in _warm_or_lit(part, volts_of, _current(
                part.designator, "1", device, vectors), span).items()}  # fmt: skip
            continue
        if part.kind == "operational amplifier":
            volts = {pin: volts_of(part.designator, pin) for pin in device.pins}
            amps = {pin: _current(part.designator, pin, device, vectors) for pin in device.pins}
            found |= {f"{part.designator}.{key}": each for key, each in _op_amp(volts, amps, device, span).items()}
            continue
        if part.kind == "opto-coupler":
            across = volts_of(part.designator, "cell1") - volts_of(part.designator, "cell2")
            led, cell = (_current(part.designator, pin, device, vectors) for pin in ("anode", "cell1"))
            found |= {f"{part.designator}.{key}": each for key, each in _coupler(across, led, cell, span).items()}
            continue
        ends = DIODES.get(part.kind, (("anode", "cathode"),))
        names = package(part) * (len(ends) if part.kind == "rectifier valve" else 1)
        for name, (anode, cathode) in zip(names, ends, strict=True):
            across = volts_of(part.designator, anode) - volts_of(part.designator, cathode)
            pin = anode if part.kind == "rectifier valve" else "anode"
            for quantity, value in _diode(across, _current(name, pin, device, vectors), span).items():
                key = f"{part.designator}.{quantity}"
                found[key] = max(value, found.get(key, 0.0))
    return found


def _current(name: str, pin: str, device: Semiconductor, vectors: Mapping[str, Array]) -> Array:
    own = device_vectors(name, device)
    return np.sum([unit * vectors[vector] for vector, unit in own[pin]], axis=0) if pin in own else np.zeros(1)


def _fet(drain: Array, gate: Array, drain_amps: Array, gate_amps: Array, span: Span) -> dict[str, float]:
    return {
        "drain_volts": float(np.abs(drain).max()),
        "gate_volts": float(np.abs(gate).max()),
        "drain_amps": abs(span.mean(drain_amps)),
        "watts": span.mean(drain * drain_amps + gate * gate_amps),
    }


def _op_amp(
    volts: Mapping[str, Array], amps: Mapping[str, Array], device: Semiconductor, span: Span
) -> dict[str, float]:
    supply = volts["vplus"] - volts["vminus"]
    found = {
        "supply_volts": float(supply.max()),
        "apart_volts": float(np.abs(volts["plus"] - volts["minus"]).max()),
        # The limit is that of the package, of which each section has its share.
        "watts": device.sections * span.mean(sum((volts[pin] * amps[pin] for pin in volts), np.zeros_like(supply))),
    }
    return found | {"output_amps": float(np.abs(amps["out"]).max())}


def _coupler(across: Array, led: Array, cell: Array, span: Span) -> dict[str, float]:
    return {
        "forward_amps": span.mean(np.maximum(led, 0.0)),
        "cell_volts": float(np.abs(across).max()),
        "cell_watts": span.mean(across * cell),
    }


def _warm_or_lit(part: Device, volts_of: Callable[[str, str], Array], amps: Array, span: Span) -> dict[str, float]:
    """Of a lamp, a light-dependent resistor or a thermistor what has a limit."""
    if part.kind not in ("lamp", "light-dependent resistor", "thermistor"):
        return {}
    across = volts_of(part.designator, "1") - volts_of(part.designator, "2")
    carried = {
        "lamp_volts": math.sqrt(span.mean(across * across)),
        "lamp_amps": span.mean(np.abs(amps)),
        "cell_volts": float(np.abs(across).max()),
        "cell_watts": span.mean(across * amps),
        "rms_amps": math.sqrt(span.mean(amps * amps)),
    }
    known = dict(part.own.limits) if part.own else {}
    return {name: value for name, value in carried.items() if name in known}


def _diode(volts: Array, amps: Array, span: Span) -> dict[str, float]:
    return {
        "reverse_volts": max(0.0, -float(volts.min())),
        "forward_amps": span.mean(np.maximum(amps, 0.0)),
        "surge_amps": float(amps.max()),
        "watts": span.mean(volts * amps),
    }
