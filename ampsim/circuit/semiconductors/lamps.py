"""Lamps and what they light: filament lamps, glow lamps (neon), and light-dependent resistors.

A lamp has a node of its own that holds its light, 1 at what it is rated for; a light-dependent resistor that a lamp
lights has that node as a third pin. `circuit.light` joins the two.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ..valves.laws import Parameter
from ..valves.spice_text import node, number, softplus
from .description import LIGHT_PIN, Family
from .opto_couplers import LEVEL, MICRO, STORED_FARADS, rate, rate_text
from .pieces import Passive, Piece, Pieces
from .port_law import Array, Nodes, Numbers, PortLaw

HEAT = "heat"
"""The node of a filament lamp that holds its temperature, 1 at its rated volts."""
# A cold filament (20 degrees Celsius) beside one that glows at 2450 K.
_COLD = 0.12
_OHMS_POWER, _LIGHT_POWER = 1.2, 8.8
# A glow lamp's current begins within so many volts [V]; so little light holds half of its threshold down [ratio].
# Sharper ones leave ngspice without an operating point just above the striking volts.
_SOFT_VOLTS, _STRUCK = 2.0, 0.15
_GLOW_SECONDS = 2e-4
# So dark [lux] that a power of it still has a slope.
_NIGHT = 1e-6

LAMP_PARAMETERS: Mapping[Family, tuple[Parameter, ...]] = {
    "filament lamp": (
        Parameter("rated_volts", 0.5, 300.0),
        Parameter("rated_amps", 1e-3, 10.0),
        Parameter("warm_up_seconds", 1e-3, 10.0),
    ),
    "glow lamp": (
        Parameter("strike_volts", 20.0, 300.0),
        Parameter("glow_volts", 10.0, 300.0),
        Parameter("rated_amps", 1e-5, 0.1),
        Parameter("inner_ohms", 10.0, 1e5),
    ),
    "light-dependent resistor": (
        Parameter("ohms", 10.0, 1e7),
        Parameter("at_lux", 0.01, 1e5),
        Parameter("slope", 0.3, 2.0),
        Parameter("dark_ohms", 1e4, 1e12),
        Parameter("rise_seconds", 1e-5, 10.0),
        Parameter("fall_ohms_per_second", 1e2, 1e10),
        Parameter("lamp_lux", 0.0, 1e6),
        Parameter("daylight_lux", 0.0, 1e6),
    ),
}
"""What an entry says of each [V, A, s, ohm, lux]: of the resistor a lit and a dark one, and what lights it."""

LAMP_INTO: Mapping[Family, Mapping[str, Mapping[str, float]]] = {
    "filament lamp": {"1": {"filament": 1.0}},
    "glow lamp": {"1": {"glow": 1.0}},
    "light-dependent resistor": {"1": {"cell": 1.0}},
}
"""To a pin the currents that flow into it."""


def filament_lamp(p: Numbers, farads: Numbers) -> Pieces:
    """A filament that its own watts heat, and its light."""
    numbers = {"rated_volts": p["rated_volts"], "siemens": p["rated_amps"] / p["rated_volts"]}
    warm = numbers | {"per_second": 1.0 / p["warm_up_seconds"]}
    ends, heat = ("1", "2"), (HEAT, "0")
    return Pieces(
        (
            Piece("filament", "filament", numbers, (ends, heat)),
            Piece("filament heat", "warming", warm, (heat, ends)),
            Piece("filament light", "shining", {"most": 1.0}, ((LIGHT_PIN, "0"), heat)),
        ),
        (
            Passive("c", HEAT, heat, STORED_FARADS),
            Passive("r", LIGHT_PIN, (LIGHT_PIN, "0"), 1.0, noisy=False),
        ),
    )


def glow_lamp(p: Numbers, farads: Numbers) -> Pieces:
    """A gas that conducts once it is struck, and its light."""
    base = p["glow_volts"] - _SOFT_VOLTS * math.log(math.expm1(p["inner_ohms"] * p["rated_amps"] / _SOFT_VOLTS))
    # It strikes where its light begins to feed itself, which is so far below the volts at which its current begins.
    early = _SOFT_VOLTS * (1.0 + math.log((p["strike_volts"] - base) / (p["inner_ohms"] * p["rated_amps"] * _STRUCK)))
    begins = p["strike_volts"] + early
    numbers = {"dark_volts": begins, "fall_volts": (begins - base) * (1.0 + _STRUCK), "inner_ohms": p["inner_ohms"]}
    ends, light = ("1", "2"), (LIGHT_PIN, "0")
    shine = numbers | {"rated_amps": p["rated_amps"]}
    return Pieces(
        (Piece("glow", "glow", numbers, (ends, light)), Piece("glow light", "shining", shine, (light, ends))),
        (Passive("c", LIGHT_PIN, light, STORED_FARADS),),
    )


def light_dependent_resistor(p: Numbers, farads: Numbers) -> Pieces:
    """A photocell that is lit by a lamp, or evenly."""
    light = {
        "per_lux": p["at_lux"] ** -p["slope"] / p["ohms"] / MICRO,
        "slope": p["slope"],
        "dark": 1.0 / p["dark_ohms"] / MICRO,
        "rise": 1.0 / p["rise_seconds"],
        "fall": p["fall_ohms_per_second"] * MICRO,
        "lamp_lux": p["lamp_lux"],
        "daylight_lux": p["daylight_lux"],
    }
    level = (LEVEL, "0")
    return Pieces(
        (
            Piece("photocell lux", "light", light, (level, (LIGHT_PIN, "0"))),
            Piece("photocell", "cell", {"siemens": MICRO}, (("1", "2"), level)),
        ),
        (Passive("c", LEVEL, level, STORED_FARADS),),
    )


def _hot(heat: Any) -> Any:
    return np.maximum(heat, _COLD)


def _filament(p: Any, volts: Array, heat: Array) -> tuple[Array]:
    """Current [A] of tungsten whose resistance follows its temperature to the power 1.2 (from memory)."""
    return (p["siemens"] * volts * _hot(heat) ** -_OHMS_POWER,)


def _warming(p: Any, heat: Array, volts: Array) -> tuple[Array]:
    """Current [A] out of the node that holds the temperature: what it radiates, T^4, less the watts that it gets."""
    hot = _hot(heat)
    share = volts / p["rated_volts"]
    loss = (hot * hot * hot * hot - _COLD**4) / (1.0 - _COLD**4) + heat - hot
    return (STORED_FARADS * p["per_second"] * (loss - share * share * hot**-_OHMS_POWER),)


def _shining(p: Any, light: Array, heat: Array) -> tuple[Array]:
    """Current [A] into the node that holds the light: with the volts to the power 3.4, as lamps are re-rated by."""
    return (0.0 * light - p["most"] * _hot(heat) ** _LIGHT_POWER,)


def _filament_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    (first, second), (heat, _) = ports
    amps = f"{number(1e3 * p['siemens'])}*V({first},{second})*pwr(max(V({heat}),{_COLD}),{-_OHMS_POWER})"
    return (*node(f"{name}_ma", amps), f"G{name} {first} {second} {name}_ma 0 1e-3")


def _warming_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    (heat, ground), (first, second) = ports
    # Not a node of its own: that would begin at zero, which has no such power.
    hot, share = f"max(V({heat}),{_COLD})", f"(V({first},{second})*{number(1.0 / p['rated_volts'])})"
    loss = f"({hot}*{hot}*{hot}*{hot}-{number(_COLD**4)})*{number(1.0 / (1.0 - _COLD**4))}+V({heat})-{hot}"
    return (
        *node(f"{name}_rate", f"{number(p['per_second'])}*({loss}-{share}*{share}*pwr({hot},{-_OHMS_POWER}))"),
        f"G{name} {heat} {ground} {name}_rate 0 {number(STORED_FARADS)}",
    )


def _shining_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    (light, ground), (heat, _) = ports
    return (
        *node(f"{name}_out", f"{number(-p['most'])}*pwr(max(V({heat}),{_COLD}),{_LIGHT_POWER})"),
        f"G{name} {light} {ground} {name}_out 0 1",
    )


def _threshold(p: Any, light: Any) -> Any:
    lit = np.maximum(light, 0.0)
    return p["dark_volts"] - p["fall_volts"] * (lit / (lit + _STRUCK))


def _both_ways(p: Any, volts: Any, light: Any) -> tuple[Any, Any]:
    """The currents [A] of either sense, both above zero."""
    begins, scale = _threshold(p, light), _SOFT_VOLTS / p["inner_ohms"]
    forth, back = ((way * volts - begins) / _SOFT_VOLTS for way in (1.0, -1.0))
    return scale * np.logaddexp(0.0, forth), scale * np.logaddexp(0.0, back)


def _glow(p: Any, volts: Array, light: Array) -> tuple[Array]:
    """Current [A] beyond the volts at which it begins, which fall from those of striking as the gas glows."""
    forth, back = _both_ways(p, volts, light)
    return (forth - back,)


def _glowing(p: Any, light: Array, volts: Array) -> tuple[Array]:
    """Current [A] out of the node that holds the light, which follows the current within 0.2 ms (from memory)."""
    forth, back = _both_ways(p, volts, light)
    return (STORED_FARADS / _GLOW_SECONDS * (light - (forth + back) / p["rated_amps"]),)


def _sense_lines(name: str, p: Numbers, ends: Nodes, light: str) -> tuple[str, ...]:
    lit = f"max(V({light}),0)"
    begins = f"{number(p['dark_volts'])}-{number(p['fall_volts'])}*{lit}/({lit}+{_STRUCK})"
    across = f"V({ends[0]},{ends[1]})"
    return (
        *node(f"{name}_at", begins),
        *node(f"{name}_f", f"({across}-V({name}_at))/{_SOFT_VOLTS}"),
        *node(f"{name}_b", f"(-{across}-V({name}_at))/{_SOFT_VOLTS}"),
    )


def _glow_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    ends, (light, _) = ports
    scale = number(1e3 * _SOFT_VOLTS / p["inner_ohms"])
    return (
        *_sense_lines(name, p, ends, light),
        *node(f"{name}_ma", f"{scale}*({softplus(f'V({name}_f)')}-{softplus(f'V({name}_b)')})"),
        f"G{name} {ends[0]} {ends[1]} {name}_ma 0 1e-3",
    )


def _glowing_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    (light, ground), ends = ports
    scale = number(_SOFT_VOLTS / p["inner_ohms"] / p["rated_amps"])
    lit = f"{scale}*({softplus(f'V({name}_f)')}+{softplus(f'V({name}_b)')})"
    return (
        *_sense_lines(name, p, ends, light),
        *node(f"{name}_rate", f"V({light})-{lit}"),
        f"G{name} {light} {ground} {name}_rate 0 {number(STORED_FARADS / _GLOW_SECONDS)}",
    )


def _lux(p: Any, level: Array, light: Array) -> tuple[Array]:
    lux = np.maximum(p["lamp_lux"] * light + p["daylight_lux"], _NIGHT)
    return rate(p, level, p["per_lux"] * lux ** p["slope"] + p["dark"])


def _lux_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    lux = f"max({number(p['lamp_lux'])}*V({ports[1][0]})+{number(p['daylight_lux'])},{_NIGHT})"
    asked = node(f"{name}_asked", f"{number(p['per_lux'])}*pwr({lux},{number(p['slope'])})+{number(p['dark'])}")
    return (*asked, *rate_text(name, p, ports[0]))


LAMP_LAWS: Mapping[str, PortLaw] = {
    "filament": PortLaw(("siemens",), (0.1, 0.01), _filament, _filament_lines),
    "filament heat": PortLaw(("rated_volts", "per_second"), (0.01, 0.1), _warming, _warming_lines),
    "filament light": PortLaw(("most",), (0.01, 0.01), _shining, _shining_lines),
    "glow": PortLaw(("dark_volts", "fall_volts", "inner_ohms"), (1.0, 0.01), _glow, _glow_lines),
    "glow light": PortLaw(("dark_volts", "fall_volts", "inner_ohms", "rated_amps"), (0.01, 1.0), _glowing,
                          _glowing_lines),
    "photocell lux": PortLaw(("per_lux", "slope", "dark", "rise", "fall", "lamp_lux", "daylight_lux"), (0.05, 0.01),
                             _lux, _lux_lines),
}  # fmt: skip
"""Their laws of current."""
