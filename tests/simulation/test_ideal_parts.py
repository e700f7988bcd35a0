"""Current source, meter and effect: what they are, everywhere that a circuit is worked out."""

from __future__ import annotations

from typing import Any

import pytest

from ampsim import FrequencySweep, OperatingPoint, simulate
from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import describe_part
from ampsim.studies.noise.simulate import noise_spectrum
from ampsim.studies.ratings.simulate import stress
from ampsim.work.schematic.contents import contents
from ampsim.work.schematic.rows import lay_out
from tests.figures.in_time import Case, errors
from tests.simulation.test_op_amps import network
from tests.tools.drawing_faults import drawing_faults


def bench(**more: Any) -> Amp:
    """A current source into a resistor, a voltmeter across it, an ammeter behind it, an effect from the input."""
    parts = {"I1": "2m", "R1": "10k", "M1": "volts", "M2": "amps", "R2": "1k", "C1": "1u", "D1": "1N4148",
             "FX1": {"input": "100k", "output": "2k2", "gain": -4}, "R3": "10k"}  # fmt: skip
    wires = {
        "I1": ["ground", "a"],
        "R1": ["a", "b"],
        "M1": ["a", "b"],
        "M2": ["b", "ground"],
        "R2": ["in", "x"],
        "FX1": ["x", "y", "ground"],
        "C1": ["y", "out"],
        "R3": ["out", "ground"],
        "D1": ["out", "ground"],
    }
    return network(parts | more, wires, "bench", ())


def test_a_current_source_and_meters_read_what_flows() -> None:
    rest = simulate(bench(), OperatingPoint())
    volts, amps = rest["voltage"].squeeze(), rest["current"].squeeze()
    across = float(volts.sel(node="M1.plus") - volts.sel(node="M1.minus"))
    assert across == pytest.approx(2e-3 / (1e-4 + 1e-7), rel=1e-6)
    assert float(amps.sel(branch="M2.plus")) == pytest.approx(2e-3, rel=1e-6)
    assert float(volts.sel(node="M2.plus")) == pytest.approx(2e-4, rel=1e-6)
    assert float(amps.sel(branch="I1.from")) == pytest.approx(2e-3, rel=1e-9)


def test_an_effect_is_two_impedances_and_a_gain() -> None:
    sweep = simulate(bench(), FrequencySweep(1e4, 1e5, 1), nodes=["FX1.in", "FX1.out"])["voltage"].values[0, 0, :, 0]
    # The other side of C1: R3 beside the diode at rest, 18 Mohm and 4 pF.
    assert sweep[0] == pytest.approx(100.0 / 101.0, rel=1e-6)
    assert abs(sweep[1] / sweep[0]) == pytest.approx(4.0 * 10e3 / 12.2e3, rel=2e-3)


def test_they_are_read_listed_drawn_and_refused() -> None:
    amp = bench()
    assert describe_part(amp.part_by_designator["FX1"]) == "in 100k out 2k2 gain -4"
    assert describe_part(amp.part_by_designator["M1"]) == "reads volts"
    drawing = lay_out(contents(amp), whole=True)
    assert not drawing_faults(drawing.shown, drawing.sheet)
    assert "D1.forward_amps" in stress(amp)["device_quantity"].values
    assert float(noise_spectrum(amp)["noise"].min()) > 0.0
    for wrong, words in (
        ({"M1": "ohms"}, "nearest: amps"),
        ({"FX1": {"input": "1"}}, "input"),
        ({"FX1": {"gain": 1, "delay": 3}}, "delay"),
        ({"I1": "300"}, "outside -100 to 100 A"),
    ):
        with pytest.raises(DescriptionError, match=words):
            bench(**wrong)


def test_they_are_the_same_in_time() -> None:
    found = {case.label: error for case, error in errors([Case(bench(), {}, volts, 0.01) for volts in (0.01, 1.0)])}
    assert max(found.values()) <= 5e-4, found
