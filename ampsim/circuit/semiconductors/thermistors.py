"""A thermistor that its own watts warm, such as one that holds back the inrush: cold at switch-on, warm at rest.

Its resistance follows exp(beta / T) (the usual two-point form of data sheets), its warmth what it dissipates. Minutes
long it stays as warm as it is, so to the signal it is a resistor.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ..valves.laws import Parameter
from ..valves.spice_text import node, number
from .description import Semiconductor
from .opto_couplers import STORED_FARADS
from .pieces import Passive, Piece, Pieces
from .port_law import Array, Nodes, Numbers, PortLaw

COLD_KELVIN = 298.15
"""What a thermistor is cold at [K]: 25 degrees Celsius."""
_HUNDRED = 100.0
WARMTH = "warmth"
"""The node of a thermistor that holds how far it is above that [100 K]."""

THERMISTOR_PARAMETERS = (
    Parameter("cold_ohms", 0.1, 1e5),
    Parameter("warm_ohms", 1e-3, 1e5),
    Parameter("warm_amps", 1e-3, 100.0),
    Parameter("beta", 500.0, 4100.0),
    Parameter("seconds", 1.0, 1e4),
)
"""What an entry says: cold, warm at a current, the steepness beta [K], how fast it cools [ohm, A, K, s]."""


def thermistor_numbers(p: Numbers) -> dict[str, float]:
    """Its conductance when cold [S], beta [K], and the watts that warm it by a hundred degrees [W]."""
    inverse = 1.0 / COLD_KELVIN - math.log(p["cold_ohms"] / p["warm_ohms"]) / p["beta"]
    warmer = 1.0 / inverse - COLD_KELVIN
    per_hundred = p["warm_ohms"] * p["warm_amps"] ** 2 / warmer * _HUNDRED
    return {"siemens": 1.0 / p["cold_ohms"], "beta": p["beta"], "per_hundred_watts": per_hundred}


def thermistor(p: Numbers, farads: Numbers) -> Pieces:
    """The pieces of one."""
    numbers = thermistor_numbers(p)
    ends, warmth = ("1", "2"), (WARMTH, "0")
    body = Piece("thermistor", "body", numbers, (ends, warmth))
    heat = Piece("thermistor heat", "warming", numbers | {"per_second": 1.0 / p["seconds"]}, (warmth, ends))
    return Pieces((body, heat), (Passive("c", WARMTH, warmth, STORED_FARADS),))


def _siemens(p: Any, warmth: Any) -> Any:
    kelvin = COLD_KELVIN + _HUNDRED * np.maximum(warmth, 0.0)
    return p["siemens"] * np.exp(p["beta"] * (1.0 / COLD_KELVIN - 1.0 / kelvin))


def _body(p: Any, volts: Array, warmth: Array) -> tuple[Array]:
    return (_siemens(p, warmth) * volts,)


def _warming(p: Any, warmth: Array, volts: Array) -> tuple[Array]:
    """Current [A] out of the node that holds how warm it is: what it gives off less the watts that it gets."""
    watts = _siemens(p, warmth) * volts * volts
    return (STORED_FARADS * p["per_second"] * (warmth - watts / p["per_hundred_watts"]),)


def _siemens_text(p: Numbers, warmth: str) -> str:
    kelvin = f"({COLD_KELVIN}+{_HUNDRED}*max(V({warmth}),0))"
    # The exponent lies between 0 and beta / 298 K.
    return f"{number(p['siemens'])}*exp({number(p['beta'] / COLD_KELVIN)}-{number(p['beta'])}/{kelvin})"


def _body_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    (first, second), (warmth, _) = ports
    return (
        *node(f"{name}_ma", f"1e3*{_siemens_text(p, warmth)}*V({first},{second})"),
        f"G{name} {first} {second} {name}_ma 0 1e-3",
    )


def _warming_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    (warmth, ground), (first, second) = ports
    watts = f"{_siemens_text(p, warmth)}*V({first},{second})*V({first},{second})"
    text = f"{number(p['per_second'])}*(V({warmth})-{watts}*{number(1.0 / p['per_hundred_watts'])})"
    return (*node(f"{name}_rate", text), f"G{name} {warmth} {ground} {name}_rate 0 {number(STORED_FARADS)}")


def ohms_at(device: Semiconductor, amps: float) -> float:
    """The resistance [ohm] that a thermistor settles at with a current [A rms] through it."""
    p = thermistor_numbers(dict(device.parameters))
    if amps <= 0.0:
        return 1.0 / p["siemens"]

    def off(warmth: float) -> float:
        return warmth * p["per_hundred_watts"] - amps * amps / float(_siemens(p, warmth))

    from scipy.optimize import brentq

    return float(1.0 / _siemens(p, brentq(off, 0.0, 1.0 + amps * amps / p["siemens"] / p["per_hundred_watts"])))


THERMISTOR_LAWS: Mapping[str, PortLaw] = {
    "thermistor": PortLaw(("siemens", "beta"), (0.1, 0.01), _body, _body_lines),
    "thermistor heat": PortLaw(("siemens", "beta", "per_hundred_watts", "per_second"), (0.01, 0.1), _warming,
                               _warming_lines),
}  # fmt: skip
"""Its laws of current."""
