"""An opto-coupler: a light-emitting diode that lights a photocell, whose conductance rises soon and falls slowly.

A node of its own holds the cell's conductance in microsiemens. It rises towards what the light asks for with one time
constant, and falls as charge carriers find one another: dG/dt = -(G^2 - target^2) / k, so that in the dark the
resistance grows evenly with time (R. H. Bube, Photoconductivity of solids, 1960, from memory). The conductance that the
light asks for follows a power of the diode's current.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ..valves.laws import Parameter
from ..valves.spice_text import node, number
from .junctions import junction, junction_numbers
from .pieces import Passive, Piece, Pieces
from .port_law import Array, Nodes, Numbers

if TYPE_CHECKING:
    from .description import Semiconductor

LEVEL = "level"
"""The node of a coupler that holds its cell's conductance [uS]."""
MICRO = 1e-6
STORED_FARADS = 1e-6
"""The capacitor that holds a level [F]: any, for the laws only know the rate."""
# Besides, the conductance creeps to what is asked for [1/s]: so a node at rest has a slope.
_CREEP = 0.01
PARAMETERS = (
    Parameter("saturation_amps", 1e-25, 1e-3),
    Parameter("emission", 0.5, 20.0),
    Parameter("series_ohms", 1e-3, 1e4),
    Parameter("lit_ohms", 1.0, 1e6),
    Parameter("lit_amps", 1e-6, 1.0),
    Parameter("slope", 0.3, 2.0),
    Parameter("dark_ohms", 1e4, 1e12),
    Parameter("rise_seconds", 1e-5, 10.0),
    Parameter("fall_ohms_per_second", 1e2, 1e10),
)
"""The diode; the cell's ohms at a current and the power they follow; dark; how soon it rises, how slowly it falls."""

INTO: Mapping[str, Mapping[str, float]] = {"anode": {"led": 1.0}, "cell1": {"cell": 1.0}}
"""To a pin the currents that flow into it, each with its sign."""


def opto_coupler(p: Mapping[str, float], farads: Mapping[str, float]) -> Pieces:
    """The pieces of a type, from its parameters and capacitances [F]."""
    led = junction_numbers(p["saturation_amps"], p["emission"], p["series_ohms"])
    light = {
        "per_amp": p["lit_amps"] ** -p["slope"] / p["lit_ohms"] / MICRO,
        "slope": p["slope"],
        "dark": 1.0 / p["dark_ohms"] / MICRO,
        "rise": 1.0 / p["rise_seconds"],
        # In the dark 1/G grows by so much a second.
        "fall": p["fall_ohms_per_second"] * MICRO,
    }
    return Pieces(
        (
            Piece("junction", "led", led, (("anode", "cathode"),)),
            Piece("photocell light", "light", led | light, ((LEVEL, "0"), ("anode", "cathode"))),
            Piece("photocell", "cell", {"siemens": MICRO}, (("cell1", "cell2"), (LEVEL, "0"))),
        ),
        (Passive("c", LEVEL, (LEVEL, "0"), STORED_FARADS), Passive("c", "cell", ("cell1", "cell2"), farads["cell"])),
    )


LIGHT = ("saturation_amps", "slope_volts", "scale_amps", "start", "offset_volts", "per_amp", "slope", "dark", "rise",
         "fall")  # fmt: skip


def light(p: Any, level: Array, led: Array) -> tuple[Array]:
    """Current [A] out of the node that holds the cell's conductance, at its level [uS] and the volts of the diode."""
    amps = np.maximum(junction(p, led)[0], 0.0)
    return rate(p, level, p["per_amp"] * amps ** p["slope"] + p["dark"])


def rate(p: Any, level: Any, asked: Any) -> tuple[Any]:
    """Current [A] out of the node that holds a cell's conductance, at its level and at what is asked for [uS]."""
    rises = np.maximum(asked - level, 0.0) * p["rise"]
    falls = np.maximum(level * level - asked * asked, 0.0) * p["fall"]
    return (STORED_FARADS * (falls - rises + _CREEP * (level - asked)),)


def rate_text(name: str, p: Numbers, level: Nodes) -> tuple[str, ...]:
    """Write `rate`; the node named after it and "_asked" holds what is asked for.

    The node named after it and "_rate" holds the share of held and asked for that is lost in a second. The rate itself
    is the small difference of squares of thousands of microsiemens, which no rounding leaves exact to the microvolt
    that ngspice wants of a node: there it takes ever shorter steps, and gives up.
    """
    held, asked = f"V({level[0]})", f"V({name}_asked)"
    # Not nodes of their own: those would begin at zero, by which is divided.
    both = f"(max({held},0)+max({asked},{number(p['dark'])}))"
    falls = f"max({held}-{asked},0)*{number(p['fall'])}"
    rises = f"(max({asked}-{held},0)*{number(p['rise'])}+{number(_CREEP)}*({asked}-{held}))/{both}"
    return (
        *node(f"{name}_rate", f"{falls}-{rises}"),
        f"B{name} {level[0]} {level[1]} I={number(STORED_FARADS)}*V({name}_rate)*{both}",
    )


def light_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    """Write `light`; the diode's current is that of the piece `led`."""
    return (
        *node(f"{name}_amps", "1e3*i(Vled)"),
        *node(f"{name}_asked", f"{number(p['per_amp'] * 1e-3 ** p['slope'])}*pwr(max(V({name}_amps),0),"
                               f"{number(p['slope'])})+{number(p['dark'])}"),
        *rate_text(name, p, ports[0]),
    )  # fmt: skip


def cell(p: Any, across: Array, level: Array) -> tuple[Array]:
    """Current [A] through a photocell at the volts across it and its conductance [uS]."""
    return (p["siemens"] * level * across,)


def cell_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    """Write `cell`; the node named after it and "_ma" holds its current in milliamperes."""
    (first, second), (level, _) = ports
    return (
        *node(f"{name}_ma", f"{number(1e3 * p['siemens'])}*V({level})*V({first},{second})"),
        f"G{name} {first} {second} {name}_ma 0 1e-3",
    )


def coupler_figure(device: Semiconductor, quantity: str, given: Mapping[str, float]) -> float:
    """What the law says where a figure of a coupler is published [ohm, s].

    Parameters
    ----------
    device : Semiconductor
    quantity : str
        "cell ohms", "cell ohms after" (`seconds` of dark after the current), "cell rise" (to 63 %).
    given : mapping
        `forward_amps` [A], `seconds` [s].
    """
    p = dict(device.parameters)
    lit: float = 1.0 / ((given["forward_amps"] / p["lit_amps"]) ** p["slope"] / p["lit_ohms"] + 1.0 / p["dark_ohms"])
    if quantity == "cell ohms":
        return lit
    if quantity == "cell rise":
        return float(p["rise_seconds"])
    # dG/dt = -f (G^2 - d^2): the reciprocal's excess dies as a hyperbolic cotangent, 1/d the end.
    dark, start = 1.0 / p["dark_ohms"], 1.0 / lit
    fade = np.exp(-2.0 * p["fall_ohms_per_second"] * dark * given["seconds"]) * (start - dark) / (start + dark)
    return float((1.0 - fade) / (1.0 + fade) / dark)
