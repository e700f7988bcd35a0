"""What each analysis adds to a netlist: the generator, probes, ports, ripple and noise; and its command."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from ..base.errors import DescriptionError, nearest, shown
from ..circuit.build import Circuit
from ..circuit.nets import INPUT
from ..circuit.stages.template import Element
from ..circuit.switches.moving import SIDES
from .analyses import Analysis, FrequencySweep, LoopSweep, NoiseSweep, OperatingPoint, PortSweep, RippleSweep, Transient
from .netlist_writer import Writer, contact_net, safe_name
from .stimuli import Throw

# Each valve's noise resistors drive this many siemens.
NOISE_SIEMENS = 1e-3


def write_drive(writer: Writer, wired: Circuit, analysis: Analysis) -> Circuit:
    """Write what drives the circuit; the circuit comes back with a wire opened where a probe is put in."""
    if isinstance(analysis, Transient):
        letter = "b" if analysis.stimulus.shape == "burst" else "v"
        writer.line(f"{letter}generator {INPUT} 0 {analysis.stimulus.source()}")
        if isinstance(analysis.stimulus, Throw):
            _write_throw(writer, analysis.stimulus)
    elif isinstance(analysis, PortSweep):
        writer.source("vgenerator", INPUT, "0", float(analysis.driven == -1))
        wired = _insert_probes(writer, wired, analysis.cut, analysis.driven - len(analysis.ports))
        _write_ports(writer, wired, analysis)
    else:
        silent = isinstance(analysis, (LoopSweep, RippleSweep))
        writer.line(f"vgenerator {INPUT} 0 dc 0 ac {0 if silent else 1}")
    if isinstance(analysis, NoiseSweep):
        _write_noise(writer, wired, analysis)
    if isinstance(analysis, RippleSweep):
        _check_rail(wired, analysis.rail)
    if isinstance(analysis, LoopSweep):
        shift = len(analysis.cut) if analysis.injection == "voltage" else 0
        return _insert_probes(writer, wired, analysis.cut, analysis.driven + shift)
    return wired


# In longer steps a jump of an output valve lets the windings swing from point to point and grow, to kilovolts at the
# loudspeaker, by any of ngspice's methods; here and in shorter ones they agree within a percent (test_outputs.py).
_SATURATING_STEP = 5e-6  # s


def options(analysis: Analysis, writer: Writer) -> str:
    """How exactly ngspice works.

    With a core that saturates a charge or a flux below `chgtol` [C, V s] does not ask for shorter steps: the flux of a
    winding without current is nothing but rounding, which over a short step looks like a jump, and a shorter one more.
    """
    if isinstance(analysis, Transient):
        flux = " chgtol=1e-9" if writer.saturates else ""
        return f".options reltol={analysis.tolerance!r} abstol=1e-9{flux}"
    return ".options reltol=1e-6"


def command(analysis: Analysis, wired: Circuit, writer: Writer) -> str:
    """The command that runs the analysis; with a core that saturates in steps of at most `_SATURATING_STEP`."""
    if isinstance(analysis, OperatingPoint):
        return "op"
    if isinstance(analysis, FrequencySweep):
        # The last point must not be lost to rounding in ngspice's own stepping, so ask a little further.
        stop = float(analysis.grid()[-1] * (1.0 + 1e-7))
        steps = f"dec {analysis.per_decade:d} {analysis.start!r} {stop!r}"
        if isinstance(analysis, RippleSweep) and analysis.harmonics:
            steps = f"lin {analysis.harmonics:d} {analysis.start!r} {stop!r}"
        if isinstance(analysis, NoiseSweep):
            return f"noise v({safe_name(wired.net(analysis.output))}) vgenerator {steps} 1"
        return f"ac {steps}"
    step, end = analysis.step, analysis.stimulus.duration
    longest = min(step, _SATURATING_STEP) if writer.saturates else step
    return f"tran {step!r} {end!r} 0.0 {longest!r}"


def own_vectors(analysis: Analysis, writer: Writer) -> tuple[str, ...]:
    """Vectors that an analysis has besides node voltages; none for most."""
    if isinstance(analysis, (LoopSweep, PortSweep)):
        return probe_vectors(len(analysis.cut))
    return ("onoise_spectrum", *map(noise_vector, writer.noisy)) if isinstance(analysis, NoiseSweep) else ()


def noise_vector(element: str) -> str:
    """Name of the vector that holds an element's share of the noise at the output [V/sqrt(Hz)]."""
    return f"onoise_{element}"


def _write_throw(writer: Writer, throw: Throw) -> None:
    writer.switching = True
    for closed in SIDES:
        writer.line(f"v{contact_net(closed)} {contact_net(closed)} 0 {throw.control(closed)}")


def _write_ports(writer: Writer, wired: Circuit, analysis: PortSweep) -> None:
    for number, (first, second) in enumerate(analysis.ports):
        # A SPICE current source draws its current out of its first net.
        nets = (wired.net(second), wired.net(first))
        if nets[0] == nets[1]:
            raise DescriptionError(f"{wired.amp.name}: {first} and {second} are one piece of wire, not a port")
        writer.source(f"iport_{number}", *nets, float(analysis.driven == number))


def _check_rail(wired: Circuit, name: str) -> None:
    known = [rail.name for rail in wired.amp.rails if rail.volts is not None]
    if name not in known:
        raise DescriptionError(f"{wired.amp.name}: {shown(name)} is not a rail with a source{nearest(name, known)}")


def _write_noise(writer: Writer, wired: Circuit, analysis: NoiseSweep) -> None:
    pins = {element.designator: dict(element.pins) for element in wired.elements}
    for designator, plate, partition, share in analysis.valves:
        nets = {pin: safe_name(net) for pin, net in pins[designator].items()}
        from_pin = "plate" if "plate" in nets else "drain"
        to_pin = "cathode" if "cathode" in nets else "source"
        for kind, other, value in (("plate", to_pin, plate), ("partition", "screen", partition)):
            if value > 0.0:
                name = noise_element(designator, kind)
                writer.element(name, name, "0", value)
                writer.line(f"g{name} {nets[from_pin]} {nets[other]} {name} 0 {NOISE_SIEMENS!r}")
        if share > 0.0:
            # The screen's part of the cathode current's noise comes from the same source as the plate's.
            name = noise_element(designator, "plate")
            writer.line(f"g{name}_screen {nets['screen']} {nets['cathode']} {name} 0 {NOISE_SIEMENS * share!r}")


def noise_element(designator: str, kind: str) -> str:
    """Name of the resistor that stands for the "plate" or "partition" noise of a valve."""
    return safe_name(f"rnoise_{designator.lower()}_{kind}")


def probe_vectors(wires: int) -> tuple[str, ...]:
    """For the wires of a cut: the names of the vectors of their voltages, then of the currents through the probes."""
    voltages = [f"v({_probe_net(number)})" for number in range(wires)]
    return (*voltages, *(f"vprobe_{number}#branch" for number in range(wires)))


def _probe_net(number: int) -> str:
    return f"loop_probe_{number}"


def with_probes(wired: Circuit, cut: tuple[tuple[str, ...], ...]) -> Circuit:
    """The circuit with the wires of a cut opened: the parts' side of wire 0 is the net "loop_probe_0".

    Raises
    ------
    DescriptionError
        When a place of the cut is not there.
    """
    known = [f"{element.designator}.{name}" for element in wired.elements for name, _ in element.pins]
    moved = {place: _probe_net(number) for number, places in enumerate(cut) for place in places}
    for place in moved:
        if place not in known:
            raise DescriptionError(f"{wired.amp.name}: {shown(place)} is not a part's end{nearest(place, known)}")
    return replace(wired, elements=tuple(_moved(element, moved) for element in wired.elements)) if moved else wired


def _insert_probes(writer: Writer, wired: Circuit, cut: tuple[tuple[str, ...], ...], driven: int) -> Circuit:
    """Put a probe into each wire of a cut; the currents into the wires are counted before the voltages in them."""
    opened = with_probes(wired, cut)
    for number, places in enumerate(cut):
        # All injections share one load of the netlist.
        writer.source(f"vprobe_{number}", wired.net(places[0]), _probe_net(number), float(driven == number + len(cut)))
        writer.source(f"iprobe_{number}", "0", _probe_net(number), float(driven == number))
    return opened


def _moved(element: Element, moved: Mapping[str, str]) -> Element:
    pins = tuple((name, moved.get(f"{element.designator}.{name}", net)) for name, net in element.pins)
    return replace(element, pins=pins) if pins != element.pins else element
