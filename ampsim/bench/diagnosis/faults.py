"""What may be wrong with one part of an amp, as a change of its circuit."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import Enum, StrEnum

from ...base.quantities import FARAD, OHM, format_value
from ...circuit.amp import AnyPart
from ...circuit.build import Circuit
from ...circuit.designators import element_name
from ...circuit.valves.description import Valve
from ...circuit.valves.emission import worn_valve
from .metered_amp import State, gas_name, leak_name, wire_name
from .probes import own_elements

OPEN_OHMS, SHORT_OHMS = 1e10, 1.0
_NO_EMISSION = 1e-9


class Defect(StrEnum):
    """What is wrong with a part."""

    LOW = "low"
    HIGH = "high"
    OPEN = "open"
    SHORTED = "shorted"
    LEAKING = "leaking"
    WEAK = "weak"
    GASSY = "gassy"
    DEAD = "dead"


class Size(Enum):
    """What the size of a fault is: none, a factor [ratio], a resistance [ohm] or a current [A]."""

    NONE = ""
    FACTOR = "x"
    OHMS = "ohm"
    AMPERES = "A"


@dataclass(frozen=True)
class FaultKind:
    """A kind of fault.

    Attributes
    ----------
    defect, part
        What is wrong, and the kind of part it befalls.
    chance
        How often it is met against the others, shared by all parts it can befall; common practice, no source.
    low, high
        Range of its size; equal where it has none.
    size
        What its size is.
    words
        Such as "has risen to".
    """

    defect: Defect
    part: str
    chance: float
    low: float
    high: float
    size: Size
    words: str

    def sizes(self, steps: int) -> tuple[float, ...]:
        """Sizes from low to high [ratio, ohm or A], evenly in their logarithm; one when there is none."""
        if self.low == self.high:
            return (self.low,)
        span = math.log(self.high / self.low)
        return tuple(self.low * math.exp(span * step / (steps - 1)) for step in range(steps))


KINDS = (
    FaultKind(Defect.LOW, "resistor", 0.5, 0.5, 1.0 / 1.1, Size.FACTOR, "has fallen to"),
    FaultKind(Defect.HIGH, "resistor", 1.0, 1.1, 2.0, Size.FACTOR, "has risen to"),
    FaultKind(Defect.OPEN, "resistor", 1.0, OPEN_OHMS, OPEN_OHMS, Size.NONE, "is open"),
    FaultKind(Defect.SHORTED, "resistor", 0.25, SHORT_OHMS, SHORT_OHMS, Size.NONE, "is shorted"),
    FaultKind(Defect.LEAKING, "capacitor", 1.0, 100e3, 30e6, Size.OHMS, "leaks like"),
    FaultKind(Defect.SHORTED, "capacitor", 0.5, SHORT_OHMS, SHORT_OHMS, Size.NONE, "is shorted"),
    FaultKind(Defect.WEAK, "valve", 1.0, 0.2, 0.8, Size.FACTOR, "is weak, its emission at"),
    FaultKind(Defect.GASSY, "valve", 1.0, 0.5e-6, 20e-6, Size.AMPERES, "is gassy, with a grid current of"),
    FaultKind(Defect.DEAD, "valve", 0.5, 0.0, 0.0, Size.NONE, "draws no current"),
    FaultKind(Defect.OPEN, "transformer", 0.1, OPEN_OHMS, OPEN_OHMS, Size.NONE, "has an open winding"),
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
    kind, part = suspect.kind, suspect.part
    if kind.part == "resistor":
        changed = ((element_name(part), size),)
        return State(factors=changed) if kind.size is Size.FACTOR else State(values=changed)
    if kind.part == "capacitor":
        return State(values=((leak_name(part), size),))
    if kind.part == "transformer":
        return State(values=((wire_name(part, suspect.pin), size),))
    if kind.defect is Defect.GASSY:
        return State(values=((gas_name(part), max(plate_volts[part], 10.0) / size),))
    valve = worn_valve(typical[part], size) if kind.defect is Defect.WEAK else dead_valve(typical[part])
    return State(sockets=((part, valve),))


def dead_valve(valve: Valve) -> Valve:
    """The valve without emission: no current to plate, screen or grid."""
    grid = valve.grid_current
    cold = None if grid is None else replace(grid, saturation_amps=1e-30, series_ohms=1e9)
    return replace(worn_valve(valve, _NO_EMISSION), grid_current=cold)


def describe_fault(parts: Mapping[str, AnyPart], suspect: Suspect, size: float) -> str:
    """A fault of some size [ratio, ohm or A] in words, with the value the part has in this circuit (`Circuit.parts`).

    Such as "R4 has risen to 2k1 (drawn 1k5)", "C12 leaks like 3M3", "V4 is gassy, with a grid current of 5 uA".
    """
    part, kind = suspect.part, suspect.kind
    words = f"{part} {kind.words}"
    drawn = getattr(parts.get(part), "value", math.nan)
    if kind.size is Size.NONE:
        return f"{words} ({suspect.pin})" if suspect.pin else words
    if kind.size is Size.AMPERES:
        return f"{words} about {1e6 * size:.2g} uA"
    if kind.size is Size.OHMS:
        return f"{words} {_ohms_words(size)} ({format_value(drawn, FARAD)})"
    if kind.part == "resistor":
        return f"{words} {_ohms_words(drawn * size)} (drawn {format_value(drawn, OHM)})"
    return f"{words} about {100.0 * size:.0f} % of its type's"


def _ohms_words(ohms: float) -> str:
    return format_value(float(f"{ohms:.2g}"), OHM)
