"""What each analysis adds to a netlist: the generator, probes, ports, ripple and noise; and its command."""

from __future__ import annotations

from dataclasses import replace

from ..base.errors import DescriptionError, nearest, shown
from ..circuit.build import Circuit
from ..circuit.nets import INPUT
from ..circuit.switches.moving import SIDES
from .analyses import Analysis, FrequencySweep, LoopSweep, NoiseSweep, OperatingPoint, PortSweep, RippleSweep, Transient
from .netlist_writer import Writer, contact_net, safe_name
from .stimuli import Throw

PROBE_VECTORS = ("v(loop_probe)", "vprobe#branch")
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
        _write_ports(writer, wired, analysis)
    else:
        silent = isinstance(analysis, (LoopSweep, RippleSweep))
        writer.line(f"vgenerator {INPUT} 0 dc 0 ac {0 if silent else 1}")
    if isinstance(analysis, NoiseSweep):
        _write_noise(writer, wired, analysis)
    if isinstance(analysis, RippleSweep):
        _check_rail(wired, analysis.rail)
    return _insert_probe(writer, wired, analysis) if isinstance(analysis, LoopSweep) else wired


def options(analysis: Analysis) -> str:
    """How exactly ngspice works."""
    if isinstance(analysis, Transient):
        return f".options reltol={analysis.tolerance!r} abstol=1e-9"
    return ".options reltol=1e-6"


def command(analysis: Analysis, wired: Circuit) -> str:
    """The command that runs the analysis."""
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
    return f"tran {step!r} {end!r} 0.0 {step!r}"


def own_vectors(analysis: Analysis, writer: Writer) -> tuple[str, ...]:
    """Vectors that an analysis has instead of node voltages; none for most."""
    if isinstance(analysis, LoopSweep):
        return PROBE_VECTORS
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
        for kind, other, value in (("plate", "cathode", plate), ("partition", "screen", partition)):
            if value > 0.0:
                name = noise_element(designator, kind)
                writer.element(name, name, "0", value)
                writer.line(f"g{name} {nets['plate']} {nets[other]} {name} 0 {NOISE_SIEMENS!r}")
        if share > 0.0:
            # The screen's part of the cathode current's noise comes from the same source as the plate's.
            name = noise_element(designator, "plate")
            writer.line(f"g{name}_screen {nets['screen']} {nets['cathode']} {name} 0 {NOISE_SIEMENS * share!r}")


def noise_element(designator: str, kind: str) -> str:
    """Name of the resistor that stands for the "plate" or "partition" noise of a valve."""
    return safe_name(f"rnoise_{designator.lower()}_{kind}")


def _insert_probe(writer: Writer, wired: Circuit, analysis: LoopSweep) -> Circuit:
    """Open the wire at a part's end and put the probe in: the part's side is the net "loop_probe"."""
    designator, _, pin = analysis.at.partition(".")
    known = [f"{element.designator}.{name}" for element in wired.elements for name, _ in element.pins]
    if analysis.at not in known:
        raise DescriptionError(
            f"{wired.amp.name}: {shown(analysis.at)} is not a part's end{nearest(analysis.at, known)}"
        )
    # Both injections share one load of the netlist.
    writer.source("vprobe", wired.net(analysis.at), "loop_probe", float(analysis.injection == "voltage"))
    writer.source("iprobe", "0", "loop_probe", float(analysis.injection == "current"))
    opened = next(element for element in wired.elements if element.designator == designator)
    pins = tuple((name, "loop_probe" if name == pin else net) for name, net in opened.pins)
    return replace(wired, elements=tuple(replace(e, pins=pins) if e is opened else e for e in wired.elements))
