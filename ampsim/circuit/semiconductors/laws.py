"""The laws a semiconductor's file may name, each with the parameters it takes and the pieces it stands for."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

from ..supply.vacuum_diode import PARAMETERS as VACUUM_DIODE
from ..valves.grid import THERMAL_VOLTS
from ..valves.laws import Parameter
from . import ideal_parts, lamps
from .description import Family, Semiconductor
from .junctions import junction_numbers
from .op_amps import INTO, PARAMETERS, op_amp
from .opto_couplers import INTO as COUPLER_INTO
from .opto_couplers import PARAMETERS as COUPLER_PARAMETERS
from .opto_couplers import opto_coupler
from .pieces import Passive, Piece, Pieces
from .thermistors import THERMISTOR_PARAMETERS, thermistor

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
    into : mapping
        To a pin the pieces whose currents flow into it, each with its sign.
    """

    family: Family
    source: str
    parameters: tuple[Parameter, ...]
    capacitances: tuple[str, ...]
    pieces: Callable[[Mapping[str, float], Mapping[str, float]], Pieces]
    into: Mapping[str, Mapping[str, float]]


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


def _way(sign: float, first: str, other: str) -> tuple[str, str]:
    """Two nodes as an n-channel type has them; a p-channel type turns every current round."""
    return (first, other) if sign > 0.0 else (other, first)


def _fet(sign: float, p: Mapping[str, float], farads: Mapping[str, float], junctions: tuple[Piece, ...]) -> Pieces:
    numbers = {"threshold_volts": sign * p["threshold_volts"]}
    numbers |= {name: p[name] for name in ("beta", "width_volts", "per_volt")}
    pins = {"gate_source": ("gate", "source"), "gate_drain": ("gate", "drain"), "drain_source": ("drain", "source")}
    return Pieces(
        (Piece("channel", "channel", numbers, (_way(sign, "inner", "source"), _way(sign, "gate", "source"))),
         *junctions),
        (Passive("r", "drain", ("drain", "inner"), p["drain_ohms"]),
         *(Passive("c", name, ends, farads[name]) for name, ends in pins.items())),
    )  # fmt: skip


def _jfet(sign: float, p: Mapping[str, float], farads: Mapping[str, float]) -> Pieces:
    numbers = junction_numbers(p["gate_amps"], p["gate_emission"], p["gate_ohms"])
    ends = {"gate_source": "source", "gate_drain": "inner"}
    gates = tuple(Piece("junction", name, numbers, (_way(sign, "gate", end),)) for name, end in ends.items())
    return _fet(sign, p, farads, gates)


def _mosfet(sign: float, p: Mapping[str, float], farads: Mapping[str, float]) -> Pieces:
    numbers = junction_numbers(p["body_amps"], p["body_emission"], p["body_ohms"])
    return _fet(sign, p, farads, (Piece("junction", "body", numbers, (_way(sign, "source", "drain"),)),))


def _vacuum_pair(p: Mapping[str, float], _: Mapping[str, float]) -> Pieces:
    plates = (Piece("vacuum diode", plate, p, ((plate, "cathode"),)) for plate in ("plate_a", "plate_b"))
    return Pieces(tuple(plates))


_FET = (
    "C. C. Enz, F. Krummenacher, E. A. Vittoz, 1995, which is the square law of H. Shichman and D. A. Hodges, 1968,"
    " above the threshold; gate and body junctions after W. Shockley, 1949"
)
_CHANNEL = (
    Parameter("threshold_volts", -20.0, 20.0),
    Parameter("beta", 1e-6, 100.0),
    Parameter("width_volts", 0.02, 2.0),
    Parameter("per_volt", 0.0, 0.5),
    Parameter("drain_ohms", 1e-3, 1e5),
)
_LAMPS: Mapping[Family, str] = {
    "filament lamp": "tungsten: resistance by T^1.2, radiation by T^4, light by the volts to 3.4 (lamp tables, from"
    " memory)",
    "glow lamp": "a threshold that falls from striking to glowing volts with the light (our own form)",
    "light-dependent resistor": "R. H. Bube, Photoconductivity of solids, 1960 (from memory)",
}
_FARADS = ("gate_source", "gate_drain", "drain_source")

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
        {"anode": {"forward": 1.0, "back": -1.0}},
    ),
    "vacuum diode pair": DeviceLaw(
        "rectifier valve",
        "C. D. Child, 1911, and I. Langmuir, 1913: the three-halves power, with contact potential and retarding field",
        VACUUM_DIODE,
        (),
        _vacuum_pair,
        {"plate_a": {"plate_a": 1.0}, "plate_b": {"plate_b": 1.0}},
    ),
    **{
        f"{letter}-channel junction fet": DeviceLaw(
            "jfet",
            _FET,
            (*_CHANNEL, Parameter("gate_amps", 1e-18, 1e-6), Parameter("gate_emission", 0.5, 3.0),
             Parameter("gate_ohms", 1e-3, 1e4)),
            _FARADS,
            partial(_jfet, sign),
            {"drain": {"channel": sign, "gate_drain": -sign},
             "gate": {"gate_drain": sign, "gate_source": sign}},
        )
        for letter, sign in (("n", 1.0), ("p", -1.0))
    },
    **{
        f"{letter}-channel mosfet": DeviceLaw(
            "mosfet",
            _FET,
            (*_CHANNEL, Parameter("body_amps", 1e-18, 1e-6), Parameter("body_emission", 0.5, 3.0),
             Parameter("body_ohms", 1e-3, 1e4)),
            _FARADS,
            partial(_mosfet, sign),
            {"drain": {"channel": sign, "body": -sign}},
        )
        for letter, sign in (("n", 1.0), ("p", -1.0))
    },
    "operational amplifier": DeviceLaw(
        "operational amplifier",
        "the form of G. R. Boyle, B. M. Cohn, D. O. Pederson, J. E. Solomon, IEEE J. Solid-State Circuits 9, 1974 (from"
        " memory): one pole, a slew rate, a limited output, ends of the swing",
        PARAMETERS,
        ("input",),
        op_amp,
        INTO,
    ),
    **{
        family: DeviceLaw(
            family, "as the entry says", parameters, (), getattr(ideal_parts, family.replace(" ", "_")),
            ideal_parts.INTO[family]
        )
        for family, parameters in ideal_parts.PARAMETERS.items()
    },
    **{
        family: DeviceLaw(
            family, _LAMPS[family], parameters, (), getattr(lamps, family.replace(" ", "_").replace("-", "_")),
            lamps.LAMP_INTO[family]
        )
        for family, parameters in lamps.LAMP_PARAMETERS.items()
    },
    "thermistor": DeviceLaw(
        "thermistor",
        "resistance by exp(beta / T), warmth by the watts: the usual form of data sheets",
        THERMISTOR_PARAMETERS,
        (),
        thermistor,
        {"1": {"body": 1.0}},
    ),
    "diode and photocell": DeviceLaw(
        "opto-coupler",
        "W. Shockley, 1949, for the diode; R. H. Bube, Photoconductivity of solids, 1960 (from memory), for the cell",
        COUPLER_PARAMETERS,
        ("cell",),
        opto_coupler,
        COUPLER_INTO,
    ),
}  # fmt: skip
