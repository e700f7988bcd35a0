"""How each kind of part is written for ngspice: the elements that stand for it."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import cast

from ..base.errors import DescriptionError
from ..circuit.amp import Part, Pot, Socket
from ..circuit.build import Circuit
from ..circuit.designators import element_name
from ..circuit.held_volts import HeldVolts
from ..circuit.inner_nets import inner_net
from ..circuit.loudspeaker import Loudspeaker, coil_sections
from ..circuit.pot_tracks import track_stretches
from ..circuit.reverb_tank import ReverbTank, coil
from ..circuit.semiconductors.device import Device
from ..circuit.semiconductors.pieces import Piece
from ..circuit.stages.template import GROUND, Element
from ..circuit.supply.averaged import MEAN_RECTIFIER, MeanRectifier
from ..circuit.supply.inrush import MEAN_THERMISTOR
from ..circuit.supply.mains_edges import BRIDGE
from ..circuit.switches.moving import MovingCircuit
from ..circuit.valves.spice import PINS
from .netlist_writer import Writer, safe_name
from .transformers import write_transformer


def _write_two_pin(writer: Writer, element: Element, wired: Circuit) -> None:
    part = cast("Part", wired.parts[element.designator])
    first, second = element.net("1"), element.net("2")
    if first != second:
        writer.slot(element_name(part.designator), first, second, part)


def _write_inductor(writer: Writer, element: Element, wired: Circuit) -> None:
    part = cast("Part", wired.parts[element.designator])
    near = inner_net(part.designator, "1") if part.resistance else element.net("1")
    if part.resistance:
        writer.element(f"r{part.designator.lower()}_coil", element.net("1"), near, part.resistance)
    writer.slot(element_name(part.designator), near, element.net("2"), part)


def _write_pot(writer: Writer, element: Element, wired: Circuit) -> None:
    pot = cast("Pot", wired.parts[element.designator])
    name = f"r{pot.designator.lower()}"
    for stretch, *pins in track_stretches(element):
        first, second = (element.net(pin) for pin in pins)
        if first != second:
            writer.slot(f"{name}_{stretch}", first, second, pot, stretch)


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


def coil_net(part: Loudspeaker) -> str:
    """The net behind the resistance of a loudspeaker's coil."""
    return inner_net(part.designator, "1")


def _write_loudspeaker(writer: Writer, element: Element, wired: Circuit) -> None:
    part = cast("Loudspeaker", wired.parts[element.designator])
    name, first = part.designator.lower(), coil_net(part)
    writer.element(f"r{name}_coil", element.net("1"), first, part.resistance)
    for number, (hertz, peak, q) in enumerate(part.peaks):
        which, omega = f"cone{number or ''}", 2.0 * math.pi * hertz
        cone = inner_net(part.designator, f"peak{number}" if number else "2")
        writer.element(f"r{name}_{which}", first, cone, peak)
        writer.element(f"l{name}_{which}", first, cone, peak / (omega * q))
        writer.element(f"c{name}_{which}", first, cone, q / (omega * peak))
        first = cone
    sections = coil_sections(part.reactance, part.exponent)
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


def _write_held(writer: Writer, element: Element, wired: Circuit) -> None:
    part = cast("HeldVolts", wired.parts[element.designator])
    writer.hold(part.designator.lower(), element.net("1"), element.net("2"), part.volts)


def _write_mean_rectifier(writer: Writer, element: Element, wired: Circuit) -> None:
    part = cast("MeanRectifier", wired.parts[element.designator])
    ends = (element.net("1"), element.net("2"))
    writer.port_law(Piece(part.kind, inner_net(part.designator, "law"), dict(part.numbers), (ends,)))


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
    "effect": _write_device,
    "current source": _write_device,
    "meter": _write_device,
    "rectifier valve": _write_device,
    **dict.fromkeys(("opto-coupler", "lamp", "light-dependent resistor", "thermistor", MEAN_THERMISTOR), _write_device),
    "bridge rectifier": _write_bridge,
    "rail": _write_rail,
    "transformer": write_transformer,
    "loudspeaker": _write_loudspeaker,
    "reverb tank": _write_tank,
    "contact": _write_contact,
    "held volts": _write_held,
    MEAN_RECTIFIER: _write_mean_rectifier,
}


@lru_cache(maxsize=256)
def written_elements(wired: Circuit, apart: tuple[str, ...], rippling: str, in_time: bool, switching: bool) -> Writer:
    """The elements of a circuit as written, the same whatever is played into it.

    Parameters
    ----------
    wired : Circuit
    apart, rippling, in_time, switching
        As `Writer` has them.

    Raises
    ------
    DescriptionError
        For a valve whose pins are not those of its kind.
    """
    writer = Writer(apart, rippling, in_time)
    writer.switching = switching
    for element in wired.elements:
        WRITERS[element.kind](writer, element, wired)
    return writer
