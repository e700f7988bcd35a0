"""Netlists of small circuits with known answers, and what the tests of the engine share."""

from __future__ import annotations

import re

from ampsim.simulation.netlist import Netlist
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Arrays, Outcome
from ampsim.simulation.ngspice.protocol import Form

R, C = 10e3, 10e-9
SWEEP = "ac dec 10 10.0 100000.0"
SWEEP_POINTS = 41

LOW_PASS = """low pass
v1 in 0 dc 2 ac 1 pulse(2 3 0 1e-9 1e-9 1 2)
r1 in a {r1}
c1 a 0 {c1}
.end
"""
# Square-law valve: the operating point and the gain move with every resistor.
VALVE = """valve
v1 bp 0 300
v2 in 0 dc 0 ac 1
r1 bp p {r1}
r2 k 0 {r2}
c1 k 0 {c1}
b1 p k i=2e-6*pow(uramp(v(p,k)+80*v(in,k)),1.5)
.end
"""


def netlist(text: str, command: str, *vectors: str, points: int = 0, end: float = 0.0, **values: float) -> Netlist:
    """Cut a text at its {part} marks; op and the frequency sweep of this file know their lengths."""
    pieces = re.split(r"\{(\w+)\}", text)
    parts = tuple(pieces[1::2])
    points = points or {"op": 1, SWEEP: SWEEP_POINTS}.get(command, 0)
    numbers = tuple(values[part] for part in parts)
    return Netlist(Form(tuple(pieces[::2]), parts, command, vectors, points, end), numbers)


def low_pass(command: str, r1: float = R, c1: float = C, **lengths: float) -> Netlist:
    return netlist(LOW_PASS, command, "v(a)", r1=r1, c1=c1, **lengths)  # type: ignore[arg-type]


def valve(command: str, r1: float, r2: float, c1: float) -> Netlist:
    return netlist(VALVE, command, "v(p)", "v(k)", r1=r1, r2=r2, c1=c1)


def arrays(outcome: Outcome) -> Arrays:
    assert isinstance(outcome, Arrays), outcome
    return outcome


def one(wanted: Netlist) -> Arrays:
    return arrays(engine.run([wanted])[0])
