"""The laws a semiconductor's file may name, each with the parameters it takes and the pieces it stands for."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from ..valves.grid import THERMAL_VOLTS
from ..valves.laws import Parameter
from .description import Family, Semiconductor
from .pieces import Passive, Piece, Pieces
from .port_laws import junction_numbers

# The leakage [A] of the junction that stands for breakdown: so little that it is nothing beside any other.
_BREAKDOWN_LEAK = 1e-12


@dataclass(frozen=True)
class DeviceLaw:
    """A law of semiconductors.

    Attributes
    ----------
    family : str
    source : str
        Citation of the formula.
    parameters : tuple of Parameter
    capacitances : tuple of str
        Names of the capacitances a file gives [F].
    pieces : callable
        From a type's parameters and capacitances to its pieces.
    """

    family: Family
    source: str
    parameters: tuple[Parameter, ...]
    capacitances: tuple[str, ...]
    pieces: Callable[[Mapping[str, float], Mapping[str, float]], Pieces]


def pieces_of(device: Semiconductor) -> Pieces:
    """The pieces of a type."""
    return LAWS[device.law].pieces(dict(device.parameters), dict(device.capacitances))


def _diode(p: Mapping[str, float], farads: Mapping[str, float]) -> Pieces:
    forward = junction_numbers(p["saturation_amps"], p["emission"], p["series_ohms"])
    # So that just the current named flows at the breakdown voltage.
    slope = p["breakdown_emission"] * THERMAL_VOLTS
    offset = p["breakdown_volts"] - p["breakdown_amps"] * p["breakdown_ohms"]
    offset -= slope * math.log1p(p["breakdown_amps"] / _BREAKDOWN_LEAK)
    back = junction_numbers(_BREAKDOWN_LEAK, p["breakdown_emission"], p["breakdown_ohms"], offset)
    return Pieces(
        (
            Piece("junction", "forward", forward, (("anode", "cathode"),)),
            Piece("junction", "back", back, (("cathode", "anode"),)),
        ),
        (Passive("c", "junction", ("anode", "cathode"), farads["junction"]),),
    )


LAWS: Mapping[str, DeviceLaw] = {
    "junction diode": DeviceLaw(
        "diode",
        "W. Shockley, The theory of p-n junctions, Bell Syst. Tech. J. 28, 1949, with series resistance; breakdown as a"
        " second exponential (the form of L. W. Nagel, SPICE2, ERL-M520, 1975)",
        (
            Parameter("saturation_amps", 1e-25, 1e-3),
            Parameter("emission", 0.5, 20.0),
            Parameter("series_ohms", 1e-3, 1e4),
            Parameter("breakdown_volts", 1.0, 1e4),
            Parameter("breakdown_amps", 1e-7, 1.0),
            Parameter("breakdown_emission", 0.1, 50.0),
            Parameter("breakdown_ohms", 1e-3, 1e4),
        ),
        ("junction",),
        _diode,
    ),
}
