"""How each kind of part is written for ngspice: the elements that stand for it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import cast

from ..base.errors import DescriptionError
from ..circuit.amp import Part, Pot, Socket
from ..circuit.build import Circuit
from ..circuit.designators import element_name
from ..circuit.loudspeaker import Loudspeaker, coil_sections
from ..circuit.reverb_tank import ReverbTank, coil
from ..circuit.semiconductors.device import Device
from ..circuit.stages.template import GROUND, Element
from ..circuit.switches.moving import MovingCircuit
from ..circuit.transformer import Transformer, tap_pin
from ..circuit.valves.spice import PINS
from .netlist_writer import Writer, safe_name


def _write_two_pin(writer: Writer, element: Element, wired: Circuit) -> None:
    part = cast("Part", wired.parts[element.designator])
    first, second = element.net("1"), element.net("2")
    if first != second:
        writer.slot(element_name(part.designator), first, second, part)


def _write_inductor(writer: Writer, element: Element, wired: Circuit) -> None:
    part = cast("Part", wired.parts[element.designator])
    writer.slot(element_name(part.designator), element.net("1"), element.net("2"), part)


def _write_pot(writer: Writer, element: Element, wired: Circuit) -> None:
    pot = cast("Pot", wired.parts[element.designator])
    name = f"r{pot.designator.lower()}"
    top, wiper, bottom = (element.net(pin) for pin in ("top", "wiper", "bottom"))
    if top != wiper:
        writer.slot(f"{name}_top", top, wiper, pot, "top")
    if wiper != bottom:
        writer.slot(f"{name}_bottom", wiper, bottom, pot, "bottom")


def _write_valve(writer: Writer, element: Element, wired: Circuit) -> None:
    socket = cast("Socket", wired.parts[element.designator])
    valve, nets = wired.amp.valve_by_type[socket.type], dict(element.pins)
    pins = PINS[valve.family].split()
    if set(pins) != set(nets):
        raise DescriptionError(
            f"{wired.amp.file}: {socket.designator} ({socket.type}) is a {valve.family} with the pins "
            f"{', '.join(pins)}; wired are {', '.join(sorted(nets))}"
        )
    writer.valve(socket.designator, nets, valve)


def _write_device(writer: Writer, element: Element, wired: Circuit) -> None:
    part = cast("Device", wired.parts[element.designator])
    device = wired.amp.semiconductor_by_type[part.type]
    writer.device(part.designator, [element.net(pin) for pin in device.pins], device)


BRIDGE = (("ac1", "plus"), ("ac2", "plus"), ("minus", "ac1"), ("minus", "ac2"))
"""Anode and cathode of each diode of a bridge."""


def package(part: Device) -> list[str]:
    """The names under which a semiconductor is written: its own, or one for each diode of a bridge."""
    if part.kind != "bridge rectifier":
        return [part.designator]
    return [f"{part.designator}_{number}" for number in range(1, len(BRIDGE) + 1)]


def _write_bridge(writer: Writer, element: Element, wired: Circuit) -> None:
    part = cast("Device", wired.parts[element.designator])
    for name, pins in zip(package(part), BRIDGE, strict=True):
        writer.device(name, [element.net(pin) for pin in pins], wired.amp.semiconductor_by_type[part.type])


def _write_rail(writer: Writer, element: Element, wired: Circuit) -> None:
    rail = next(rail for rail in wired.amp.rails if rail.name == element.designator)
    name = f"v{rail.name.lower()}_rail"
    writer.supply(name, element.net("1"), cast("float", rail.volts), rail.name == writer.rippling)


def _write_transformer(writer: Writer, element: Element, wired: Circuit) -> None:
    part = cast("Transformer", wired.parts[element.designator])
    name, nets = part.designator.lower(), dict(element.pins)
    centre = nets.get("centre")
    halves = (
        [("a", nets["primary_a"], centre), ("b", centre, nets["primary_b"])]
        if centre
        else [("a", nets["primary_a"], nets["primary_b"])]
    )
    windings = []
    for side, start, finish in halves:
        windings.append(f"l{name}_{side}")
        _write_winding(writer, part, side, str(start), str(finish), len(halves))
    _write_losses(writer, part, nets["primary_a"], nets["primary_b"])
    windings += _write_secondary(writer, part, nets)
    for number, (first, second) in enumerate(_pairs(windings), 1):
        writer.couple(f"k{name}_{number}", first, second, 0.99999)


def _write_winding(writer: Writer, part: Transformer, side: str, start: str, finish: str, halves: int) -> None:
    name = part.designator.lower()
    inner, core = inner_net(name, f"{side}_1"), inner_net(name, f"{side}_2")
    # The plate end of each half carries its share of winding resistance and leakage.
    outer, other = (start, finish) if side == "a" else (finish, start)
    writer.element(f"r{name}_{side}", outer, inner, part.primary_resistance / halves)
    writer.element(f"l{name}_leak_{side}", inner, core, part.leakage / halves)
    ends = (core, other) if side == "a" else (other, core)
    writer.element(f"l{name}_{side}", *ends, part.inductance / halves**2)


def _write_losses(writer: Writer, part: Transformer, first: str, second: str) -> None:
    name, damp = part.designator.lower(), inner_net(part.designator, "damp")
    writer.element(f"r{name}_core", first, second, part.core_loss)
    writer.element(f"c{name}_winding", first, damp, part.capacitance)
    writer.element(f"r{name}_damp", damp, second, part.damping)


def _write_secondary(writer: Writer, part: Transformer, nets: Mapping[str, str]) -> list[str]:
    name, windings = part.designator.lower(), []
    below, turns, whole = nets["common"], 0.0, math.sqrt(part.taps[-1])
    for tap in part.taps:
        pin = tap_pin(tap)
        net, section = nets.get(pin, inner_net(name, pin)), math.sqrt(tap) - turns
        inner = inner_net(name, f"{pin}_1")
        ends = (below, inner) if part.reversed else (inner, below)
        writer.element(f"l{name}_{pin}", *ends, part.inductance * section**2 / part.primary)
        writer.element(f"r{name}_{pin}", inner, net, part.secondary_resistance * section / whole)
        windings.append(f"l{name}_{pin}")
        below, turns = net, math.sqrt(tap)
    return windings


def _pairs(names: list[str]) -> Iterator[tuple[str, str]]:
    for number, first in enumerate(names):
        for second in names[number + 1 :]:
            yield first, second


def inner_net(designator: str, name: str) -> str:
    """A net inside a part: no net of a drawing begins with two such marks."""
    return f"__{designator.lower()}_{name}"


def coil_net(part: Loudspeaker) -> str:
    """The net behind the resistance of a loudspeaker's coil."""
    return inner_net(part.designator, "1")


def _write_loudspeaker(writer: Writer, element: Element, wired: Circuit) -> None:
    part = cast("Loudspeaker", wired.parts[element.designator])
    name, coil, cone = part.designator.lower(), coil_net(part), inner_net(part.designator, "2")
    omega = 2.0 * math.pi * part.resonance
    writer.element(f"r{name}_coil", element.net("1"), coil, part.resistance)
    writer.element(f"r{name}_cone", coil, cone, part.peak)
    writer.element(f"l{name}_cone", coil, cone, part.peak / (omega * part.q))
    writer.element(f"c{name}_cone", coil, cone, part.q / (omega * part.peak))
    sections = coil_sections(part.reactance, part.exponent)
    first = cone
    for number, (ohms, henries) in enumerate(sections, 2):
        last = number == len(sections) + 1
        second = element.net("2") if last else inner_net(part.designator, f"{number + 1}")
        writer.element(f"l{name}_{number}", first, second, henries)
        if math.isfinite(ohms):
            writer.element(f"r{name}_{number}", first, second, ohms)
        first = second


def _write_tank(writer: Writer, element: Element, wired: Circuit) -> None:
    part = cast("ReverbTank", wired.parts[element.designator])
    if element.net("out_ground") != GROUND:
        raise DescriptionError(f"{wired.amp.file}: {part.designator}.out_ground belongs on ground")
    name, emf = part.designator.lower(), inner_net(part.designator, "emf")
    ends = (element.net("in"), inner_net(part.designator, "in"))
    _write_coil(writer, f"{name}_in", (*ends, element.net("in_ground")), part.input_impedance, part.input_resistance)
    writer.springs(inner_net(part.designator, "s"), ends, emf, part)
    ends_out = (emf, inner_net(part.designator, "out"), element.net("out"))
    _write_coil(writer, f"{name}_out", ends_out, part.output_impedance, part.output_resistance)


def _write_coil(writer: Writer, name: str, nets: tuple[str, str, str], impedance: float, resistance: float) -> None:
    first, inner, last = nets
    henries, loss = coil(impedance, resistance)
    writer.element(f"r{name}", first, inner, resistance)
    writer.element(f"l{name}", inner, last, henries)
    writer.element(f"r{name}_loss", inner, last, loss)


def _write_contact(writer: Writer, element: Element, wired: Circuit) -> None:
    contact = cast("MovingCircuit", wired).contacts[element.designator]
    name = safe_name(contact.designator.lower())
    first, second = sorted((safe_name(element.net(pin)) for pin in "12"), key=GROUND.__eq__)
    writer.contact(name, first, second, contact)


WRITERS = {
    "resistor": _write_two_pin,
    "capacitor": _write_two_pin,
    "inductor": _write_inductor,
    "pot": _write_pot,
    "valve": _write_valve,
    "diode": _write_device,
    "transistor": _write_device,
    "operational amplifier": _write_device,
    "bridge rectifier": _write_bridge,
    "rail": _write_rail,
    "transformer": _write_transformer,
    "loudspeaker": _write_loudspeaker,
    "reverb tank": _write_tank,
    "contact": _write_contact,
}
