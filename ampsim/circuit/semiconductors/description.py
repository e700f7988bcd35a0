"""The frozen data that the file of a semiconductor type becomes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from ..valves.description import Flag

Family = Literal["diode", "jfet", "mosfet", "operational amplifier", "effect", "current source", "meter",
                 "rectifier valve", "opto-coupler", "filament lamp", "glow lamp",
                 "light-dependent resistor", "thermistor"]  # fmt: skip

PINS: Mapping[str, tuple[str, ...]] = {
    "diode": ("anode", "cathode"),
    "bridge rectifier": ("ac1", "ac2", "plus", "minus"),
    "transistor": ("drain", "gate", "source"),
    "operational amplifier": ("plus", "minus", "out", "vplus", "vminus"),
    "effect": ("in", "out", "ground"),
    "current source": ("from", "to"),
    "meter": ("plus", "minus"),
    "rectifier valve": ("plate_a", "plate_b", "cathode"),
    "opto-coupler": ("anode", "cathode", "cell1", "cell2"),
    **dict.fromkeys(("lamp", "light-dependent resistor", "thermistor"), ("1", "2")),
}
"""Pins by the kind of part, in the order in which bare lists of places name them."""
LIGHT_PIN = "light"
"""The pin that lamps and what they light have besides, which nobody solders: the node that holds the lamp's light."""
_LIT = dict.fromkeys(("filament lamp", "glow lamp", "light-dependent resistor"), ("1", "2", LIGHT_PIN))
FAMILIES: Mapping[str, tuple[Family, ...]] = {
    "diode": ("diode",),
    "bridge rectifier": ("diode",),
    "transistor": ("jfet", "mosfet"),
    "operational amplifier": ("operational amplifier",),
    "rectifier valve": ("rectifier valve",),
    "opto-coupler": ("opto-coupler",),
}
"""Which families of types may stand in a kind of part; a bridge is four diodes of its type."""


@dataclass(frozen=True)
class DevicePoint:
    """One published figure of a type.

    Attributes
    ----------
    id
        Row of the source's table; figures printed together share it.
    conditions
        Pairs of name and value [V, A], such as ("forward_amps", 1e-3).
    quantity, value, unit
        "forward volts", ... with its value in the SI unit named.
    tolerance
        How far from it the law may lie [ratio].
    used_in_fit
        Whether the parameters were chosen by this very figure.
    flag
        "verified", "secondary", "computed" or "from memory": how far the figure itself was checked.
    """

    id: str
    source: str
    conditions: tuple[tuple[str, float], ...]
    quantity: str
    value: float
    unit: str
    tolerance: float
    used_in_fit: bool
    flag: Flag


@dataclass(frozen=True)
class Semiconductor:
    """A semiconductor type: a law, its parameters, and what is known of the type.

    Attributes
    ----------
    type
        Type name, letters, digits, "_" and "-" only; names the ngspice subcircuit.
    law, parameters
        Key of `laws.LAWS`, and the pairs of parameter name and value (SI) in the order of the law.
    source
        Where the parameters come from.
    capacitances
        Pairs of name and value [F]; constant, whatever the voltage.
    limits
        Pairs of name and value [V, A, W]: ratings, as far as the source gives them.
    basis
        What kind of limits they are.
    spread
        Triples of name, lowest and highest value [V, A]: within what specimens lie.
    leaves_out
        What is known of the type and not simulated, in words; "" for nothing.
    sections
        How many of it are in one package.
    """

    type: str
    family: Family
    law: str
    parameters: tuple[tuple[str, float], ...]
    source: str
    capacitances: tuple[tuple[str, float], ...]
    capacitance_source: str
    limits: tuple[tuple[str, float], ...]
    basis: str
    limit_source: str
    points: tuple[DevicePoint, ...]
    spread: tuple[tuple[str, float, float], ...] = ()
    leaves_out: str = ""
    sections: int = 1

    @property
    def pins(self) -> tuple[str, ...]:
        """The pins of one of the type, in the order of its subcircuit."""
        return _LIT.get(self.family) or PINS[self.family if self.family in PINS else "transistor"]
