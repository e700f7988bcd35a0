"""A question about the feedback of a whole amp: by hand first, then by ngspice."""

from __future__ import annotations

import math
import random

import numpy as np

from ...base.wording import in_decibels
from ...circuit.amp import Amp
from ...library.landing import apply_mods
from ...library.loader import load_amp, parse_mod
from ...measures.sweep import gain_at
from ...simulation.analyses import FrequencySweep
from ...simulation.loop_gain import loop_gain
from ...simulation.response import simulate
from .asked import Asked

_AT = 400.0  # Hz, where the loop of most amps is steady


def feedback(draw: random.Random, amp: Amp | None = None) -> Asked:
    """By how much the feedback of an amp lowers its gain; default: workshop amp A with another resistor.

    Raises
    ------
    DescriptionError
        When the amp has no feedback resistor.
    """
    amp = amp or load_amp("workshop-a")
    times = draw.choice(("0.68", "1.5", "2.2", "3.3"))
    other = {
        "name": "other feedback",
        "reason": "For the exercise.",
        "edits": [{"replace": "feedback resistor", "with": f"times {times} of feedback resistor"}],
    }
    lifted = {"name": "no feedback", "reason": "To compare.", "edits": [{"lift": "feedback resistor"}]}
    closed = apply_mods(amp, parse_mod(other))
    opened = apply_mods(amp, parse_mod(lifted))
    loop = loop_gain(closed)
    around = loop["loop_gain"].values.reshape(-1)
    grid = loop["frequency"].values
    here = complex(np.interp(_AT, grid, around.real), np.interp(_AT, grid, around.imag))
    gains = gain_at(simulate([closed, opened], FrequencySweep(20.0, 20e3, 40), nodes=["speaker"]), [_AT], "speaker")
    size = abs(here)
    return Asked(
        closed,
        f"The feedback loop of {amp.name} (its resistor times {times}) has a loop gain of "
        f"{in_decibels(20.0 * math.log10(size))} at {_AT:g} Hz. By how many dB does the feedback lower the gain there?",
        f"That is {size:.2f} times once round, and hardly turned in phase.",
        "With feedback the gain is A / (1 + L), L being the loop gain as a ratio: it falls by 20 log10(1 + L).",
        f"1 + L is {1.0 + size:.2f}.",
        "dB",
        float(gains.values[1, 0, 0] - gains.values[0, 0, 0]),
        20.0 * math.log10(1.0 + size),
        "Taking the line off also takes its load away, which the formula leaves out.",
        1.0,
        (
            "Where the loop gain is far below 1, what does the feedback do to the gain?",
            "Nearly nothing.",
            "It halves it.",
            "It raises it.",
            "1 + L is then nearly 1: what is not fed back is not corrected either.",
        ),
    )
