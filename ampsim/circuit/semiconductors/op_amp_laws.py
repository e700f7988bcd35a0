"""The laws inside an operational amplifier, each as a function of numpy arrays and as ngspice lines.

    plus --[noise]-- inner        gain                     vplus
                       |  core     |   output                | source
              minus ---+---------->+----------------------> out
                                   |                         | sink
                               C, R to the supply          vminus

The form is that of G. R. Boyle, B. M. Cohn, D. O. Pederson, J. E. Solomon, Macromodeling of integrated circuit
operational amplifiers, IEEE J. Solid-State Circuits 9, 1974 (from memory): a transconductance that limits, into the
compensation capacitor, so that gain-bandwidth is gm / (2 pi C) and the slew rate is its greatest current over C; and
an output that limits its current. Without a supply none of them carries anything.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ..valves.spice_text import node, number, softplus
from .port_law import Array, Nodes, Numbers

# Volts of supply from which on it works, over how many volts it meets the end of its swing, and bias currents rise.
_WAKES, _KNEE, _SPAN, _BIAS = 0.2, 0.05, 0.05, 0.5


def _alive(supply: Any) -> Any:
    """How far the supply [V] wakes it: 0 to 1 [ratio]."""
    there = np.maximum(supply, 0.0)
    return there / np.hypot(there, _WAKES)


def core(p: Any, gain: Array, apart: Array, supply: Array) -> tuple[Array, Array]:
    """Current [A] out of the gain node, and that of the supply: the input stage and the ends of the swing.

    Parameters
    ----------
    p : mapping
        `drive_amps`, `turn_volts`: most current of the input stage [A], and at how much between the inputs [V] it
        would flow if it did not limit; `low_drop`, `high_drop` [V]: how near the swing comes to the supplies;
        `rest_amps` [A].
    gain : array
        Volts of the gain node over the negative supply [V].
    apart : array
        Volts between the inputs [V].
    supply : array
        Volts between the supplies [V].
    """
    alive, x = _alive(supply), apart / p["turn_volts"]
    low = alive * p["low_drop"]
    span = supply - low - alive * p["high_drop"]
    high = low + 0.5 * (span + np.hypot(span, _SPAN))
    ends = np.logaddexp(0.0, (gain - high) / _KNEE) - np.logaddexp(0.0, (low - gain) / _KNEE)
    return p["drive_amps"] * (ends - alive * x / np.hypot(x, 1.0)), p["rest_amps"] * alive


def core_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    """Write `core`; the node named after it and "_supply_ma" holds the supply's current in milliamperes."""
    gain, apart, supply = (f"V({first},{second})" for first, second in ports)
    alive, low = f"V({name}_alive)", f"V({name}_low)"
    span = f"V({name}_span)"
    x = f"({apart}/{number(p['turn_volts'])})"
    top, foot = f"V({name}_top)", f"V({name}_foot)"
    return (
        *node(f"{name}_alive", f"max({supply},0)/{_hypot(f'max({supply},0)', _WAKES)}"),
        *node(f"{name}_low", f"{alive}*{number(p['low_drop'])}"),
        *node(f"{name}_span", f"{supply}-{low}-{alive}*{number(p['high_drop'])}"),
        *node(f"{name}_top", f"({gain}-{low}-0.5*({span}+{_hypot(span, _SPAN)}))/{number(_KNEE)}"),
        *node(f"{name}_foot", f"({low}-{gain})/{number(_KNEE)}"),
        *node(f"{name}_supply_ma", f"{number(1e3 * p['rest_amps'])}*{alive}"),
        f"B{name} {' '.join(ports[0])} I={number(p['drive_amps'])}*({softplus(top)}-{softplus(foot)}"
        f"-{alive}*{x}/{_hypot(x, 1.0)})",
        f"G{name} {' '.join(ports[2])} {name}_supply_ma 0 1e-3",
    )


def output(p: Any, upper: Array, apart: Array, lower: Array) -> tuple[Array, Array]:
    """Currents [A] from the positive supply into the output, and from there into the negative supply.

    Their difference is what the output gives, their product stays (class AB).

    Parameters
    ----------
    p : mapping
        `limit_amps` [A]: what it gives into a short; `turn_volts` [V]: its resistance times that; `idle_amps` [A]:
        what flows through both halves at rest.
    upper, lower : array
        Volts from the positive supply to the output, and from there to the negative supply [V].
    apart : array
        Volts from the gain node to the output [V].
    """
    x = apart / p["turn_volts"]
    given = p["limit_amps"] * x / np.hypot(x, 1.0)
    both, half = np.hypot(given, 2.0 * p["idle_amps"]), 0.5 * _alive(upper + lower)
    return half * (both + given), half * (both - given)


def output_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    """Write `output`; nodes named after it and "_source_ma", "_sink_ma" hold its currents in milliamperes."""
    upper, apart, lower = (f"V({first},{second})" for first, second in ports)
    x = f"({apart}/{number(p['turn_volts'])})"
    supply, given = f"max({upper}+{lower},0)", f"V({name}_given)"
    half = f"0.5*{supply}/{_hypot(supply, _WAKES)}"
    both = _hypot(given, 2e3 * p["idle_amps"])
    return (
        *node(f"{name}_given", f"{number(1e3 * p['limit_amps'])}*{x}/{_hypot(x, 1.0)}"),
        *node(f"{name}_source_ma", f"{half}*({both}+{given})"),
        *node(f"{name}_sink_ma", f"{half}*({both}-{given})"),
        f"G{name}_source {' '.join(ports[0])} {name}_source_ma 0 1e-3",
        f"G{name}_sink {' '.join(ports[2])} {name}_sink_ma 0 1e-3",
    )


def bias(p: Any, volts: Array) -> tuple[Array]:
    """Current [A] into an input at its volts over the negative supply [V]: steady where there is a supply."""
    return (p["amps"] * volts / np.hypot(volts, _BIAS),)


def bias_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    """Write `bias`."""
    ((first, second),) = ports
    volts = f"V({first},{second})"
    return (f"B{name} {first} {second} I={number(p['amps'])}*{volts}/{_hypot(volts, _BIAS)}",)


def _hypot(first: str, other: float) -> str:
    return f"sqrt({first}*{first}+{number(other * other)})"
