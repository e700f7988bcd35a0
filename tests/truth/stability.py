"""Feedback loops against the networks whose limit of oscillation is known, and against their own ringing."""

from __future__ import annotations

import math
from functools import lru_cache, partial

import numpy as np
import pandas as pd

from ampsim import apply_mods, load_amp, loop_gain, parse_mod
from ampsim.circuit.amp import Amp
from ampsim.measures.margins import margins
from ampsim.simulation.analyses import LoopSweep
from tests.tools.poles import loop_knock, loop_poles, ringing
from tests.truth.bench import Parts, amp, rail, wired
from tests.truth.claims import CLOSED, Case, Claim, Limit

LADDER = "phase-shift network of three equal RC sections, x^3 / (1 + 5x + 6x^2 + x^3), worked out in the test"
MODES = "closed-loop pole from a rational fit of the loop gain, against the decay of a transient that does not use it"
PLATE = Limit(0.01, "the network loads the plate (3 * 70k / 47M), the grid's 60 pF load the network")
RINGING = Limit(0.01, "steps of a hundredth of a period, and a window of two periods")
OHMS, FARADS = 47e6, 47e-9


def phase_shift_loop(plate_load: str) -> Amp:
    """A triode with three RC sections from its plate back to its grid."""
    # A published set whose grid current begins late: 47 Mohm would feel a grid that draws any.
    parts: Parts = {"V1": "12AX7-koren-1996", "R1": plate_load, "R2": "1k5", "R6": "1M"}
    parts |= {"C1": FARADS, "C2": FARADS, "C3": FARADS, "R3": OHMS, "R4": OHMS, "R5": OHMS}
    wires = {
        "R6": ["in", "ground"],
        "V1": {"plate": "out", "grid": "third", "cathode": "cathode"},
        "R1": ["B1", "out"],
        "R2": ["cathode", "ground"],
        "C1": ["out", "first"],
        "R3": ["first", "ground"],
        "C2": ["first", "second"],
        "R4": ["second", "ground"],
        "C3": ["second", "third"],
        "R5": ["third", "ground"],
    }
    return amp(parts, [wired("loop", **wires)], rail("B1", 250.0))


def _lost() -> dict[str, float]:
    """How much of the loop gain well above is lost where the network turns the phase, and where that is."""
    sweep = LoopSweep(1e-3, 1e3, 100)
    loop = loop_gain(phase_shift_loop("100k"), "C1.1", sweep=sweep)["loop_gain"].values[0, 0]
    turning = next(each for each in margins(sweep.grid(), loop).crossings if each.kind == "in step")
    # 50 Hz is far above the network and far below the valve's capacitances.
    whole = float(np.interp(50.0, sweep.grid(), np.abs(loop)))
    return {"gain lost": whole * 10.0 ** (turning.margin / 20.0), "frequency": turning.frequency}


@lru_cache(maxsize=4)
def _ringing(resistor: str) -> tuple[pd.Series, pd.Series]:
    """The least damped mode of the loop, and what rings in time, with much more feedback than drawn."""
    edits = [{"replace": "R20", "with": resistor}]
    modded = apply_mods(
        load_amp("workshop-a"), parse_mod({"name": resistor, "reason": "more feedback", "edits": edits})
    )
    mode = loop_poles(loop_gain(modded, sweep=LoopSweep(per_decade=50))).iloc[0]
    hertz = float(mode["frequency [Hz]"])
    return mode, ringing(loop_knock(modded, hertz, level=1e-4), hertz).iloc[0]


def _in_time(resistor: str) -> dict[str, float]:
    mode, heard = _ringing(resistor)
    return {name: float(heard[name]) / float(mode[name]) for name in ("growth [1/s]", "frequency [Hz]")}


def cases() -> list[Case]:
    """Phase-shift network, and ringing loops that die away (10k) and grow (4k7)."""
    turn = 1.0 / (2.0 * math.pi * math.sqrt(6.0) * OHMS * FARADS)
    lost = (
        Claim("phase-shift loop", "gain lost", 29.0, "1", LADDER, "computed", CLOSED, PLATE),
        Claim("phase-shift loop", "frequency", turn, "Hz", LADDER, "computed", CLOSED, PLATE),
    )
    found = [Case(lost, _lost)]
    for resistor, word in (("10k", "dying away"), ("4k7", "growing")):
        claims = tuple(
            Claim(f"loop {word}", quantity, 1.0, "of the pole's", MODES, "computed", CLOSED, RINGING)
            for quantity in ("growth [1/s]", "frequency [Hz]")
        )
        found.append(Case(claims, partial(_in_time, resistor)))
    return found
