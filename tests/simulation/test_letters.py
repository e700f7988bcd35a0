"""A part is what its letters say, in every analysis: the same circuit under other designators gives the same."""

from __future__ import annotations

import numpy as np
import pytest

from ampsim.circuit.designators import KINDS
from ampsim.library.loader import parse_amp
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.response import simulate

PARTS = {"resistor": "3k3", "capacitor": "10n", "inductor": "10"}


def heard(letters: str, kind: str) -> tuple[np.ndarray, np.ndarray]:
    parts = {
        "R900": "10k",
        "R901": "47k",
        f"{letters}1": PARTS[kind],
        "R50": "1k",
        f"{letters}2": PARTS[kind],
        "C99": "1u",
    }
    wires = {
        "R900": ["in", "out"],
        f"{letters}1": ["out", "ground"],
        "R901": ["out", "ground"],
        "C99": ["B1", "ground"],
    }
    wires |= {
        "R50": ["B1", "far"],
        f"{letters}2": ["far", "foot"],
        "R902": ["foot", "ground"],
        "R903": ["far", "ground"],
    }
    parts |= {"R902": "4k7", "R903": "22k"}
    stage = {"name": "network", "template": "free wiring", "wires": wires}
    amp = parse_amp({"name": "letters", "parts": parts, "rails": [{"name": "B1", "volts": 300}], "stages": [stage]})
    rest = simulate(amp, OperatingPoint(), nodes=["R50.2", "R902.1"])
    swept = simulate(amp, FrequencySweep(per_decade=5), nodes=["speaker"])
    return rest.voltage.values.ravel(), np.abs(swept.voltage.values).ravel()


@pytest.mark.parametrize("letters", [each for each, kind in KINDS.items() if kind in PARTS])
def test_every_spelling_of_a_kind_is_the_same_part(letters: str) -> None:
    kind = KINDS[letters]
    usual = next(each for each in KINDS if KINDS[each] == kind)
    for found, expected in zip(heard(letters, kind), heard(usual, kind), strict=True):
        assert np.allclose(found, expected, rtol=1e-9, atol=1e-12)
    if kind == "inductor":
        assert heard(letters, kind)[0][1] == pytest.approx(300 * 3872.66 / 4872.66, rel=1e-3)
