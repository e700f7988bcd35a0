"""The law of a junction, as a function of numpy arrays and as ngspice lines."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from ..valves.grid import THERMAL_VOLTS
from ..valves.spice_text import number
from .port_law import Array, Nodes, Numbers

# The conductance [S] that ngspice lays across every junction.
GMIN = 1e-12


def junction_numbers(
    saturation_amps: float, emission: float, series_ohms: float, offset_volts: float = 0.0
) -> dict[str, float]:
    """What `junction` takes, worked out from the figures of a data sheet.

    Parameters
    ----------
    saturation_amps : float
        IS [A].
    emission : float
        N [ratio]: the current grows by e with every N k T / q.
    series_ohms : float
        RS [ohm], above zero.
    offset_volts : float
        Voltage [V] that is not across the junction.
    """
    slope = emission * THERMAL_VOLTS
    scale = slope / series_ohms
    return {
        "saturation_amps": saturation_amps,
        "slope_volts": slope,
        "scale_amps": scale,
        "start": math.log(saturation_amps / scale) + saturation_amps / scale,
        "offset_volts": offset_volts,
        "emission": emission,
        "series_ohms": series_ohms,
    }


def junction(p: Any, volts: Array) -> tuple[Array]:
    """Current [A] of a junction with its series resistance at the volts [V] across both: I = IS (exp(V / N Vt) - 1).

    With w = (I + IS) RS / (N Vt) it is w + ln(w) = y, Wright's omega function of a voltage, which no voltage makes
    overflow. Below -3 N Vt the leakage is ngspice's (L. W. Nagel, ERL-M520, 1975): -IS (1 + (3 N Vt / (e V))^3). Its
    conductance across every junction is here as well: without it nothing says where a net between two that block is.
    """
    from scipy.special import wrightomega

    seen = volts - p["offset_volts"]
    least = 3.0 * p["slope_volts"]
    forward = p["scale_amps"] * wrightomega(p["start"] + np.maximum(seen, -1.0 * least) / p["slope_volts"])
    back = least / (math.e * np.maximum(-1.0 * seen, least))
    return (forward - p["saturation_amps"] * (1.0 - back * back * back + math.exp(-3.0)) + GMIN * volts,)


def junction_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    """Write `junction`: a real ngspice diode, whose junction limiting keeps hard clipping converging.

    ngspice lays a conductance across every junction, which behind an offset drives a current at 0 V: that is taken
    away again. The volts across it are a net of their own: ngspice stops when no net moves by more than its share, and
    of 300 V to ground that share is more than a junction far from its current moves at once.
    """
    ((first, second),) = ports
    model = f"IS={number(p['saturation_amps'])} N={number(p['emission'])} RS={number(p['series_ohms'])}"
    return (
        f"V{name} {first} {name}_in {number(p['offset_volts'])}",
        f"D{name} {name}_in {second} {name}_model",
        f"I{name} {name}_in {second} {number(GMIN * p['offset_volts'])}",
        f"G{name}_across 0 {name}_across {name}_in {second} 1",
        f"R{name}_across {name}_across 0 1 noisy=0",
        f".model {name}_model D({model})",
    )
