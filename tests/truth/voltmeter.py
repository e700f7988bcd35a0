"""What a meter shows on a healthy and on a faulty circuit, against Ohm's law worked out by hand."""

from __future__ import annotations

from functools import partial

from ampsim.bench.diagnosis.metered_amp import MeteredAmp, State, leak_name
from ampsim.bench.diagnosis.probes import probe
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import circuit_at
from tests.truth.bench import amp, rail, wired
from tests.truth.claims import CLOSED, Case, Claim, Limit

OHM = "Ohm's law: a meter of so many ohms beside what it measures"
LIMIT = Limit(1e-4, "resistors alone; the supply has next to no resistance")


def divider() -> Amp:
    """24 V over two resistors of 250 kohm."""
    parts = {"R1": 250e3, "R2": 250e3}
    return amp(parts, [wired("divider", R1=["B1", "out"], R2=["out", "ground"])], rail("B1", 24.0))


def coupling() -> Amp:
    """300 V on a capacitor that leads to a grid leak of 1 Mohm."""
    parts = {"C1": 22e-9, "R1": 1e6}
    return amp(parts, [wired("coupling", C1=["B1", "out"], R1=["out", "ground"])], rail("B1", 300.0))


def _shown(circuit: Amp, place: str, state: State, ohms: float) -> dict[str, float]:
    held = MeteredAmp(circuit, {}, (probe(circuit_at(circuit, {}), place),), ohms)
    return {"reading": float(held.read([state])[0, 0])}


def cases() -> list[Case]:
    """A divider under three meters, and a leaking capacitor under one."""
    found = [
        # The lower resistor with the meter beside it, over itself and the upper: 24 V r / (r + 250 k).
        ("divider, meter of 10 kohm", divider(), "R2.1", State(), 10e3, 24.0 * 9.615385e3 / 259.615385e3),
        ("divider, meter of 1 Mohm", divider(), "R2.1", State(), 1e6, 24.0 * 200.0 / 450.0),
        ("divider, meter of 10 Mohm", divider(), "R2.1", State(), 10e6, 24.0 * 243.902439 / 493.902439),
        # 10 Mohm of leak into 1 M beside 10 M: a twelfth of 300 V.
        ("leaking capacitor, meter of 10 Mohm", coupling(), "R1.1", State(((leak_name("C1"), 10e6),)), 10e6, 25.0),
    ]
    return [
        Case(
            (Claim(row, "reading", volts, "V", OHM, "computed", CLOSED, LIMIT),),
            partial(_shown, circuit, place, state, ohms),
        )
        for row, circuit, place, state, ohms, volts in found
    ]
