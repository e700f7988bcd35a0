"""Several supplies of one mains transformer: each as if it had a transformer of its own without resistance."""

from __future__ import annotations

from itertools import permutations
from typing import Any

import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.response import simulate
from tests.tools.stage_alone import alone

WINDINGS = {
    "ht": {"volts": "300-0-300", "resistance": 100},
    "low": {"volts": "24", "resistance": 2},
    "high": {"volts": "200", "resistance": 30},
}
STAGES = {
    "ht": {"template": "power supply", "rectifier": "V1", "centre_resistor": "R1"},
    "low": {"template": "power supply", "rectifier": "BR1"},
    "high": {"template": "voltage doubler", "upper_diode": "D1", "lower_diode": "D2", "upper_capacitor": "C4",
             "lower_capacitor": "C5"},
}  # fmt: skip
PARTS: dict[str, Any] = {
    "V1": "GZ34", "R1": "47", "BR1": "1N4001", "D1": "1N4007", "D2": "1N4007", "C1": "47u", "C2": "1000u",
    "C4": "47u", "C5": "47u", "R11": "5k", "R12": "100", "R13": "20k", "R2": "1k", "R3": "1k",
}  # fmt: skip
RESERVOIRS = {"ht": "C1", "low": "C2"}


def fed(order: tuple[str, ...], shared: bool) -> Amp:
    """Three loads on three rails, whose windings are of one transformer or of one each."""
    names = {each: "PT1" if shared else f"PT{number}" for number, each in enumerate(WINDINGS, 1)}
    kept = {name: [each for each in WINDINGS if names[each] == name] for name in dict.fromkeys(names.values())}
    transformers = {name: {"mains": 230, "windings": {each: WINDINGS[each] for each in own}}
                    for name, own in kept.items()}  # fmt: skip
    stages = [{"name": each, "transformer": names[each], "winding": each} | STAGES[each] for each in order]
    wires = {"R2": ["in", "out"], "R3": ["out", "ground"]} | {
        f"R{number}": [f"B{number}", "ground"] for number in (11, 12, 13)
    }
    rails = [
        {"name": f"B{number}", "from": each} | ({"reservoir": RESERVOIRS[each]} if each in RESERVOIRS else {})
        for number, each in enumerate(WINDINGS, 11)
    ]
    loads = {"name": "loads", "template": "free wiring", "wires": wires}
    return alone(PARTS | transformers, loads, *stages, rails=rails)


def volts(amp: Amp) -> list[float]:
    rest = simulate(amp, OperatingPoint(), nodes=["B11", "B12", "B13"])["voltage"].squeeze()
    return [float(each) for each in rest]


def test_supplies_of_one_transformer_are_those_of_one_each_in_any_order() -> None:
    ours = [volts(fed(order, shared=True)) for order in permutations(WINDINGS)]
    apart = volts(fed(tuple(WINDINGS), shared=False))
    assert min(apart) > 20.0
    for each in ours:
        assert each == pytest.approx(apart, rel=1e-6)


def test_a_winding_rectified_twice_is_refused_with_those_that_are_free(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(STAGES["low"], "winding", "ht")
    with pytest.raises(DescriptionError, match=r"winding 'ht' of PT1 is rectified in '.*' too; not rectified yet: low"):
        volts(fed(tuple(WINDINGS), shared=True))
