"""Where headroom listens: outputs and pins of what amplifies, and the currents that tell how a stage clips."""

from __future__ import annotations

from collections.abc import Iterator

from ...circuit.amp import Amp, Socket
from ...circuit.build import SPEAKER, Circuit, build_circuit
from ...circuit.semiconductors.device import Device
from ...circuit.signal_path import active_stages
from ...simulation.netlist import device_vectors, valve_vectors

_PINS = {
    "valve": ("grid", "cathode", "plate"),
    "transistor": ("gate", "source", "drain"),
    "operational amplifier": ("out", "vplus", "vminus"),
}


def heard_places(amp: Amp) -> tuple[str, ...]:
    """Where to listen: what the stages are driven at and hand on, the pins of what amplifies, and the speaker."""
    wired = build_circuit(amp)
    stages = active_stages(wired)
    active = {valve for stage in stages for valve in stage.valves}
    ends = (place for stage in stages for place in (*stage.outputs, *stage.driven, *stage.grids))
    pins = (
        f"{each.designator}.{pin}" for each in wired.elements if each.designator in active for pin in _PINS[each.kind]
    )
    return tuple(dict.fromkeys((*ends, *pins, SPEAKER)))


def heard_branches(wired: Circuit) -> Iterator[tuple[str, str, float]]:
    """Branch, its vector, and how many amperes its unit is [A]."""
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        if isinstance(part, Socket):
            own = valve_vectors(part.designator, wired.amp.valve_by_type[part.type].family)
            yield f"{part.designator}.plate", own["plate"], 1e-3
            yield f"{part.designator}.grid", own["grid"], 1.0
        elif isinstance(part, Device) and part.kind == "transistor":
            # That of the channel alone, the first of what flows into the drain.
            vectors = device_vectors(part.designator, wired.amp.semiconductor_by_type[part.type])
            yield (f"{part.designator}.drain", *vectors["drain"][0])
            if "gate" in vectors:
                yield (f"{part.designator}.gate", *vectors["gate"][-1])  # the junction to the source
