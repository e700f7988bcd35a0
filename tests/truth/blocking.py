"""Recovery of a plain RC-coupled grid from a burst, against its time constant."""

from __future__ import annotations

import math
from functools import partial

from ampsim import Burst
from ampsim.circuit.amp import Amp
from ampsim.studies.blocking.measures import blocking_table
from ampsim.studies.blocking.simulate import blocking
from tests.truth.bench import Parts, amp, rail, stage, wired
from tests.truth.claims import CLOSED, Case, Claim, Limit

FORM = "discharge through the leak and what feeds the capacitor, tau = (R1 + R2) C, worked out in the test"
CLOSE = Limit(0.005, "reverse current of a cold grid, 5 nA, and 100 pF of the stage beside the capacitor: 0.5 %")
STROKE = Burst(frequency=400.0, level=8.0, start=0.02, stop=0.05, duration=0.35, around=1e-3)


def coupled_grid(source: float, farads: float, leak: float) -> Amp:
    """A stage behind a coupling capacitor: source resistance, capacitor, leak to a bias rail, cathode at ground."""
    parts: Parts = {"R1": source, "C1": farads, "R2": leak, "V1": "12AX7", "R3": "100k"}
    roles = {"coupling": "C1", "grid_leak": "R2", "bias": "bias", "plate_load": "R3"}
    before = wired("generator", R1=["in", "out"])
    return amp(
        parts, [before, stage("triode stage", valve="V1", supply="B1", **roles)], rail("B1", 300.0), rail("bias", -1.5)
    )


def _recovery(source: float, farads: float, leak: float) -> dict[str, float]:
    (row,) = blocking_table(blocking(coupled_grid(source, farads, leak), burst=STROKE)).to_dict("records")
    return {"to 37 %": 1e-3 * row["37 % left after [ms]"], "to 10 %": 1e-3 * row["10 % left after [ms]"]}


def cases() -> list[Case]:
    """Every check of blocking."""
    found = []
    for source, farads, leak in ((10e3, 22e-9, 1e6), (100e3, 22e-9, 470e3), (47e3, 100e-9, 470e3)):
        tau = (source + leak) * farads
        row = f"{source / 1e3:g} kohm, {1e9 * farads:g} nF, {leak / 1e3:g} kohm"
        claims = tuple(
            Claim(row, f"to {share:g} %", tau * math.log(100.0 / share), "s", FORM, "computed", CLOSED, CLOSE)
            for share in (37.0, 10.0)
        )
        found.append(Case(claims, partial(_recovery, source, farads, leak)))
    return found
