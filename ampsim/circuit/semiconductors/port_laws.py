"""Laws of current between two nodes, each as a function of numpy arrays and as ngspice lines.

A law has one to three ports, pairs of nodes. It says what flows through the first of them, with three ports also
through the third; through the second nothing flows, its voltage controls.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ..supply.mean_law import KNOTS, mean_current, mean_lines
from ..supply.vacuum_diode import PARAMETERS, vacuum_diode, vacuum_diode_lines
from ..transformer_core import UNITS, magnetising, magnetising_lines
from ..valves.spice_text import node, number, softplus
from .ideal_parts import IDEAL_LAWS
from .junctions import junction, junction_lines
from .lamps import LAMP_LAWS
from .op_amp_laws import bias, bias_lines, core, core_lines, output, output_lines
from .opto_couplers import LIGHT, cell, cell_lines, light, light_lines
from .port_law import Array, Nodes, Numbers, PortLaw
from .thermistors import THERMISTOR_LAWS


def channel(p: Any, drain: Array, gate: Array) -> tuple[Array]:
    """Drain current [A] of a channel at drain and gate volts [V] against the source, the same from either end.

    beta (F(gate)^2 - F(gate - drain)^2) with F(v) = w ln(1 + exp((v - threshold) / w)): C. C. Enz, F. Krummenacher,
    E. A. Vittoz, Analog Integrated Circuits and Signal Processing 8, 1995 (from memory). Above the threshold it is the
    square law of H. Shichman and D. A. Hodges, IEEE J. Solid-State Circuits 3, 1968, with their factor for the drain's
    volts.
    """
    width = p["width_volts"]
    ahead = width * np.logaddexp(0.0, (gate - p["threshold_volts"]) / width)
    back = width * np.logaddexp(0.0, (gate - drain - p["threshold_volts"]) / width)
    longer = 1.0 + p["per_volt"] * np.maximum(drain, -1.0 * drain)
    return (p["beta"] * (ahead * ahead - back * back) * longer,)


def channel_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    """Write `channel`; the node named after it and "_ma" holds its current in milliamperes."""
    drain, gate = (f"V({first},{second})" for first, second in ports)
    width, threshold = number(p["width_volts"]), number(p["threshold_volts"])
    ahead, back = softplus(f"V({name}_a)"), softplus(f"V({name}_b)")
    scale = number(1e3 * p["beta"] * p["width_volts"] ** 2)
    return (
        *node(f"{name}_a", f"({gate}-({threshold}))/{width}"),
        *node(f"{name}_b", f"({gate}-{drain}-({threshold}))/{width}"),
        *node(f"{name}_ma", f"{scale}*({ahead}*{ahead}-{back}*{back})*(1+{number(p['per_volt'])}*abs({drain}))"),
        f"G{name} {' '.join(ports[0])} {name}_ma 0 1e-3",
    )


PORT_LAWS: Mapping[str, PortLaw] = {
    # A few millivolts: what the current of a conducting junction is wrong by then is little where a bridge floats too.
    "junction": PortLaw(
        ("saturation_amps", "slope_volts", "scale_amps", "start", "offset_volts"), (0.005,), junction, junction_lines
    ),
    "channel": PortLaw(("threshold_volts", "beta", "width_volts", "per_volt"), (1.0, 0.05), channel, channel_lines),
    "op-amp core": PortLaw(
        ("drive_amps", "turn_volts", "low_drop", "high_drop", "rest_amps"), (1.0, 0.02, 1.0), core, core_lines
    ),
    "op-amp output": PortLaw(("limit_amps", "turn_volts", "idle_amps"), (1.0, 0.1, 1.0), output, output_lines),
    "op-amp bias": PortLaw(("amps",), (1.0,), bias, bias_lines),
    "photocell light": PortLaw(LIGHT, (0.05, 0.05), light, light_lines),
    "photocell": PortLaw(("siemens",), (1.0, 0.05), cell, cell_lines),
    "transformer core": PortLaw(("knee_amps",), UNITS, magnetising, magnetising_lines),
    **IDEAL_LAWS,
    **LAMP_LAWS,
    **THERMISTOR_LAWS,
    "vacuum diode": PortLaw(tuple(each.name for each in PARAMETERS), (1.0,), vacuum_diode, vacuum_diode_lines),
    "mean rectifier": PortLaw(KNOTS, (1.0,), mean_current, mean_lines),
}
"""Every law by name, in the order of the compiled loop."""
