"""The law of a vacuum diode: current by the three-halves power of the volts across it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..valves.laws import Parameter
from ..valves.spice_text import node, number, softplus

Array = NDArray[np.float64]
PARAMETERS = (
    Parameter("perveance", 1e-6, 0.1),
    Parameter("contact_volts", -2.0, 5.0),
    Parameter("width_volts", 0.02, 2.0),
)
"""What the law takes [A/V^1.5, V, V]."""


def vacuum_diode(p: Any, volts: Array) -> tuple[Array]:
    """Current [A] at the volts [V] from plate to cathode.

    perveance (V + contact)^1.5, after C. D. Child, Physical Review 32, 1911, and I. Langmuir, Physical Review 2, 1913;
    `contact_volts` stands for the electrons' initial velocity and the contact potential. Where that goes below zero the
    current fades exponentially with `width_volts` (the retarding field), so that it is smooth.
    """
    width = p["width_volts"]
    felt = width * np.logaddexp(0.0, (volts + p["contact_volts"]) / width)
    return (p["perveance"] * felt**1.5,)


def vacuum_diode_lines(name: str, p: Mapping[str, float], ports: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    """Write `vacuum_diode`; the node named after it and "_ma" holds its current [mA]."""
    ((first, second),) = ports
    width = number(p["width_volts"])
    felt = f"({width}*{softplus(f'V({name}_a)')})"
    scale = number(1e3 * p["perveance"])
    return (
        *node(f"{name}_a", f"(V({first},{second})+({number(p['contact_volts'])}))/{width}"),
        *node(f"{name}_ma", f"{scale}*{felt}*sqrt({felt})"),
        f"G{name} {first} {second} {name}_ma 0 1e-3",
    )


def drop_volts(p: Mapping[str, float], amps: Array) -> Array:
    """The volts [V] across the diode at currents [A] above zero: `vacuum_diode` turned round."""
    felt = (amps / p["perveance"]) ** (2.0 / 3.0) / p["width_volts"]
    # ln(exp(felt) - 1), which neither overflows nor loses its small end.
    inner = felt + np.log(-np.expm1(-felt))
    return np.asarray(p["width_volts"] * inner - p["contact_volts"])
