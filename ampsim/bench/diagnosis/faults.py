"""What may be wrong with one part of an amp, as a change of its circuit."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from ...base.quantities import FARAD, OHM, format_value
from ...circuit.amp import AnyPart
from ...circuit.build import Circuit
from ...circuit.valves.description import Valve
from ...circuit.valves.emission import worn_valve
from .metered_amp import State, gas_name, leak_name, wire_name
from .probes import own_elements

OPEN_OHMS, SHORT_OHMS = 1e10, 1.0
_NO_EMISSION = 1e-9


@dataclass(frozen=True)
class FaultKind:
    """A kind of fault.

    Attributes
    ----------
    name, part
        "drifted", and the kind of part it befalls.
    chance
        How often it is met against the others, shared by all parts it can befall; common practice, no source.
    low, high
        Range of its size; equal where it has none.
    unit
        Of the size: "x" (a factor), "ohm", "A" or "".
    words
        Such as "has drifted to".
    """

    name: str
    part: str
    chance: float
    low: float
    high: float
    unit: str
    words: str

    def sizes(self, steps: int) -> tuple[float, ...]:
        """Sizes from low to high, evenly in their logarithm; one when there is none."""
        if self.low == self.high:
            return (self.low,)
        span = math.log(self.high / self.low)
        return tuple(self.low * math.exp(span * step / (steps - 1)) for step in range(steps))


KINDS = (
    FaultKind("low", "resistor", 0.5, 0.5, 1.0 / 1.1, "x", "has fallen to"),
    FaultKind("high", "resistor", 1.0, 1.1, 2.0, "x", "has risen to"),
    FaultKind("open", "resistor", 1.0, OPEN_OHMS, OPEN_OHMS, "", "is open"),
    FaultKind("shorted", "resistor", 0.25, SHORT_OHMS, SHORT_OHMS, "", "is shorted"),
    FaultKind("leaking", "capacitor", 1.0, 100e3, 30e6, "ohm", "leaks like"),
    FaultKind("shorted", "capacitor", 0.5, SHORT_OHMS, SHORT_OHMS, "", "is shorted"),
    FaultKind("weak", "valve", 1.0, 0.2, 0.8, "x", "is weak, its emission at"),
    FaultKind("gassy", "valve", 1.0, 0.5e-6, 20e-6, "A", "is gassy, with a grid current of"),
    FaultKind("dead", "valve", 0.5, 0.0, 0.0, "", "draws no current"),
    FaultKind("open", "transformer", 0.1, OPEN_OHMS, OPEN_OHMS, "", "has an open winding"),
)


@dataclass(frozen=True)
class Suspect:
    """One part with one kind of fault; `pin` tells the winding of a transformer."""

    part: str
    kind: FaultKind
    pin: str = ""


def suspects(wired: Circuit) -> Iterator[Suspect]:
    """Every part of the amp with every kind of fault it may have; what is plugged in is whole."""
    for element in own_elements(wired):
        if len({net for _, net in element.pins}) < 2:
            continue
        for kind in KINDS:
            if kind.part == element.kind == "transformer":
                centre = "centre" in dict(element.pins)
                yield from (Suspect(element.designator, kind, pin) for pin in ("primary_a", "primary_b")[: 1 + centre])
            elif kind.part == element.kind:
                yield Suspect(element.designator, kind)


def faulty_state(
    suspect: Suspect, size: float, typical: Mapping[str, Valve], plate_volts: Mapping[str, float]
) -> State:
    """The fault as a change of the circuit.

    Parameters
    ----------
    suspect, size
    typical
        The valve that is expected in each socket.
    plate_volts
        Plate against grid of each valve at rest [V], which sets what resistor draws a grid current.
    """
    name, part = suspect.kind.name, suspect.part
    if suspect.kind.part == "resistor":
        if suspect.kind.unit:
            return State(factors=((part.lower(), size),))
        return State(values=((part.lower(), size),))
    if suspect.kind.part == "capacitor":
        return State(values=((leak_name(part), size),))
    if suspect.kind.part == "transformer":
        return State(values=((wire_name(part, suspect.pin), size),))
    if name == "gassy":
        return State(values=((gas_name(part), max(plate_volts[part], 10.0) / size),))
    return State(sockets=((part, worn_valve(typical[part], size) if name == "weak" else dead_valve(typical[part])),))


def dead_valve(valve: Valve) -> Valve:
    """The valve without emission: no current to plate, screen or grid."""
    grid = valve.grid_current
    cold = None if grid is None else replace(grid, saturation_amps=1e-30, series_ohms=1e9)
    return replace(worn_valve(valve, _NO_EMISSION), grid_current=cold)


def describe_fault(parts: Mapping[str, AnyPart], suspect: Suspect, size: float) -> str:
    """In words, with the value the part has in this circuit (`Circuit.parts`).

    Such as "R4 has risen to 2k1 (drawn 1k5)", "C12 leaks like 3M3", "V4 is gassy, with a grid current of 5 uA".
    """
    part, kind = suspect.part, suspect.kind
    told = f"{part} {kind.words}"
    if kind.unit == "x" and kind.part == "resistor":
        drawn = parts[part].value  # type: ignore[union-attr]
        return f"{told} {_rounded(drawn * size)} (drawn {format_value(drawn, OHM)})"
    if kind.unit == "x":
        return f"{told} about {100.0 * size:.0f} % of its type's"
    if kind.unit == "A":
        return f"{told} about {1e6 * size:.2g} uA"
    if kind.unit == "ohm":
        drawn = parts[part].value  # type: ignore[union-attr]
        return f"{told} {_rounded(size)} ({format_value(drawn, FARAD)})"
    return f"{told} ({suspect.pin})" if suspect.pin else told


def _rounded(ohms: float) -> str:
    return format_value(float(f"{ohms:.2g}"), OHM)
