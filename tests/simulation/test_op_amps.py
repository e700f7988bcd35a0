"""Operational amplifiers: closed forms of their stages, clipping, packages, and time steps against ngspice."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim import FrequencySweep, OperatingPoint, load_semiconductor, parse_amp, simulate
from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.circuit.semiconductors.op_amps import op_amp_figure
from ampsim.library.kinds import listing
from ampsim.simulation.analyses import NoiseSweep
from ampsim.simulation.timestep.solver import play
from ampsim.studies.headroom.measures import clipping_table
from ampsim.studies.headroom.simulate import headroom
from ampsim.studies.noise.simulate import BOLTZMANN, KELVIN, noise_spectrum
from ampsim.studies.ratings.devices import device_ratings
from ampsim.studies.ratings.simulate import stress
from tests.figures.in_time import Case, errors

TYPES = [each for each in listing()["semiconductors"] if load_semiconductor(each).family == "operational amplifier"]
SUPPLY = ({"name": "BP", "volts": 15.0}, {"name": "BM", "volts": -15.0})


def network(parts: dict[str, Any], wires: dict[str, Any], name: str = "op-amp", rails: Any = SUPPLY) -> Amp:
    stage = {"name": "network", "template": "free wiring", "wires": wires}
    return parse_amp({"name": name, "parts": parts, "rails": list(rails), "stages": [stage], "sure": list(parts)})


def inverting(kind: str, first: float, back: float, farads: float = 0.0) -> Amp:
    """R2 over R1, with a capacitor across R2."""
    parts = {"U1A": kind, "R1": first, "R2": back, "R3": "10k"} | ({"C1": farads} if farads else {})
    wires = {"R1": ["in", "m"], "R2": ["m", "out"], "U1A": ["ground", "m", "out", "BP", "BM"], "R3": ["out", "ground"]}
    return network(parts, wires | ({"C1": ["m", "out"]} if farads else {}), f"inverting {kind} {back / first:g}")


@settings(max_examples=8)
@given(st.sampled_from(TYPES), st.floats(3.0, 5.0), st.floats(0.0, 2.0), st.floats(1.0, 5.0))
def test_an_inverting_stage_has_the_gain_of_its_resistors_and_its_bandwidth(
    kind: str, decade: float, more: float, at: float
) -> None:
    """-R2/R1 / (1 + s R2/R1 ...): one pole at gain-bandwidth times R1 / (R1 + R2), loop gain finite."""
    first, hertz = 10.0**decade, 10.0**at
    back = first * 10.0**more
    p = dict(load_semiconductor(kind).parameters)
    opened = 1.0 / (1.0 / p["open_loop_gain"] + 1j * hertz / p["gain_bandwidth"])
    # The input's resistance stands beside R1, the output's and the load's after the gain.
    siemens = 1.0 / first + 1.0 / back + 1.0 / p["input_ohms"] + 2j * math.pi * hertz * 5e-12
    wanted = -(1.0 / first) / (1.0 / back + siemens / opened)
    found = simulate(inverting(kind, first, back), FrequencySweep(hertz, 10.0 * hertz, 1), nodes=["speaker"])
    assert complex(found["voltage"].values.ravel()[0]) == pytest.approx(wanted, rel=2e-2)


@pytest.mark.parametrize("kind", TYPES)
def test_the_solver_finds_rest_where_only_the_amplifier_itself_holds_its_output(kind: str) -> None:
    """With a capacitor in its foot nothing else does; without a supply, where raising it begins, nothing at all."""
    parts = {"U1A": kind, "R1": "680k", "R2": "74k", "R3": "6k1", "C1": "600n", "C2": "1u8", "R4": "100k"}
    wires = {"R1": ["in", "ground"], "U1A": ["in", "m", "o", "BP", "BM"], "R2": ["o", "m"], "R3": ["m", "f"],
             "C1": ["f", "ground"], "C2": ["o", "out"], "R4": ["out", "ground"]}  # fmt: skip
    amp = network(parts, wires)
    rest = simulate(amp, OperatingPoint(), nodes=["U1A.out"])["voltage"].item()
    assert play(amp, np.zeros(48), 48e3, node="U1A.out").volts[0] == pytest.approx(rest, abs=1e-4)


@pytest.mark.parametrize("kind", TYPES)
def test_noise_is_that_of_the_type_and_of_its_resistors(kind: str) -> None:
    amp = inverting(kind, 1e3, 100e3)
    p = dict(load_semiconductor(kind).parameters)
    found = noise_spectrum(amp, sweep=NoiseSweep(1e3, 1e4, 1))
    ours = found["contribution"].sel(contributor="U1A").values.ravel()[0]
    # The minus input's current flows through R2; the plus input's goes to ground.
    assert ours == pytest.approx(math.hypot(101.0 * p["noise_volts"], 100e3 * p["noise_amps"]), rel=2e-2)
    first = found["contribution"].sel(contributor="R1").values.ravel()[0]
    assert first == pytest.approx(100.0 * math.sqrt(4.0 * BOLTZMANN * KELVIN * 1e3), rel=2e-2)


def test_bias_current_flows_through_the_resistor_at_the_input() -> None:
    parts = {"U1A": "NE5532", "R1": "1M", "R2": "10k"}
    wires = {"R1": ["in", "p"], "U1A": ["p", "out", "out", "BP", "BM"], "R2": ["out", "ground"]}
    rest = simulate(network(parts, wires), OperatingPoint(), nodes=["U1A.out"])["voltage"].values.ravel()[0]
    assert rest == pytest.approx(-200e-9 * 1e6, rel=2e-3)


def test_without_its_supply_it_holds_nothing() -> None:
    """Both supplies at zero: the output follows what drives it, not the input."""
    parts = {"U1A": "TL072", "R1": "1k", "R2": "10k", "R3": "100k"}
    wires = {"R1": ["in", "p"], "U1A": ["p", "m", "out", "BP", "BM"], "R2": ["out", "B1"], "R3": ["m", "ground"]}
    rails = ({"name": "BP", "volts": 0.0}, {"name": "BM", "volts": 0.0}, {"name": "B1", "volts": 1.0})
    rest = simulate(network(parts, wires, rails=rails), OperatingPoint())
    assert float(rest["voltage"].sel(node="U1A.out").squeeze()) == pytest.approx(1.0, rel=1e-3)
    assert abs(float(rest["current"].sel(branch="U1A.vplus").squeeze())) < 1e-6


def test_sections_of_a_package_share_their_supplies() -> None:
    parts = {"U1A": "TL072", "U1B": "TL072", "R1": "1M", "R2": "10k"}
    wires: dict[str, Any] = {"R1": ["in", "ground"], "U1A": ["in", "x", "x", "BP", "BM"], "U1B": ["x", "out", "out"],
                             "R2": ["out", "ground"]}  # fmt: skip
    rest = simulate(network(parts, wires), OperatingPoint())
    assert float(rest["voltage"].sel(node="U1B.vplus").squeeze()) == 15.0
    for change, words in (
        ({"U1A": ["in", "x", "x"]}, "has no supply"),
        ({"U1B": ["x", "out", "out", "BP", "ground"]}, "share the pin vminus"),
        ({"U1A": ["in", "x", "x", "BP", "BP"]}, "on one wire"),
    ):
        with pytest.raises(DescriptionError, match=words):
            network(parts, wires | change)
    with pytest.raises(DescriptionError, match="of one type"):
        network(parts | {"U1B": "RC4558"}, wires)
    with pytest.raises(DescriptionError, match="has 1 in a package"):
        network(parts | {"U1A": "LM741", "U1B": "LM741"}, wires)


def test_it_clips_at_the_ends_of_its_swing_and_headroom_says_so() -> None:
    amp = inverting("TL072", 10e3, 1e6)
    table = clipping_table(headroom(amp))
    row = table[table["stage"] == "network"].iloc[0]
    # The fundamental of a clipped sine is down by 1 dB where its peak is 1.27 times the clipping level.
    swing = op_amp_figure(load_semiconductor("TL072"), "swing volts", {"supply_volts": 15.0, "load_ohms": 10e3})
    assert row["clips at [V]"] == pytest.approx(1.27 * swing / 100.0, rel=0.06)
    assert row["how"] == "output at the end of its swing"
    readings = device_ratings(stress(amp)).query("device == 'U1A'").set_index(["quantity", "state"])
    assert readings.loc[("supply volts", "rest"), "value"] == 30.0
    assert readings.loc[("dissipation", "rest"), "value"] == pytest.approx(2 * 30.0 * 1.4e-3, rel=0.01)


def test_a_passive_amp_has_headroom_without_a_stage() -> None:
    amp = network({"R1": "1k", "R2": "1k"}, {"R1": ["in", "out"], "R2": ["out", "ground"]}, rails=())
    table = clipping_table(headroom(amp, levels=(0.1, 1.0)))
    assert list(table["stage"]) == ["whole amp"]
    assert math.isinf(table["clips at [V]"].iloc[0])


def drive(kind: str, supply: str) -> Amp:
    """Diodes in the feedback, on one supply with its middle made of two resistors."""
    wires = {"C1": ["in", "a"], "R1": ["a", "m"], "R2": ["m", "o"], "D1": ["m", "o"], "D2": ["o", "m"],
             "R3": ["B1", "v"], "R4": ["v", "ground"], "C2": ["v", "ground"],
             "U1": ["v", "m", "o", "B1", "ground"], "C3": ["o", "out"], "R5": ["out", "ground"]}  # fmt: skip
    parts = {"C1": "47n", "R1": "10k", "R2": "470k", "D1": "1N4148", "D2": "LED-red", "R3": "22k", "R4": "22k",
             "C2": "10u", "U1": kind, "C3": "1u", "R5": "100k"}  # fmt: skip
    return network(parts, wires, f"drive {kind}", ({"name": "B1", "volts": supply},))


def by_lot(number: int) -> Amp:
    """A non-inverting stage behind a corner, with a gain, a capacitor and a load by lot, some with supplies so low that
    they clip."""  # fmt: skip
    rng = np.random.default_rng([16, number])
    low, high = (10.0 ** rng.uniform(2.0, 4.0), 10.0 ** rng.uniform(0.3, 2.0))
    volts = float(rng.choice([4.5, 9.0, 15.0]))
    parts = {
        "U1": str(rng.choice(TYPES)),
        "C1": "47n",
        "R1": "470k",
        "R2": low,
        "R3": low * high,
        "C2": 10.0 ** rng.uniform(-6.0, -3.5) / (low * high),
        "C3": "10u",
        "R4": 10.0 ** rng.uniform(3.0, 5.0),
    }
    wires = {"C1": ["in", "p"], "R1": ["p", "ground"], "U1": ["p", "m", "out", "BP", "BM"], "R2": ["m", "f"],
             "C3": ["f", "ground"], "R3": ["out", "m"], "C2": ["out", "m"], "R4": ["out", "ground"]}  # fmt: skip
    rails = ({"name": "BP", "volts": volts}, {"name": "BM", "volts": -volts})
    return network(parts, wires, f"lot {number}: {parts['U1']}", rails)


def test_circuits_with_operational_amplifiers_in_time_as_ngspice() -> None:
    lots = [Case(by_lot(number), {}, 10.0 ** (number % 4 - 2.0), 0.01) for number in range(6)]
    clipped = [drive("NE5532", "9"), inverting("LM741", 1e3, 100e3, 1e-9)]
    found = {
        case.label: e for case, e in errors([*lots, *(Case(amp, {}, v, 0.01) for amp in clipped for v in (0.05, 3.0))])
    }
    assert float(np.median(list(found.values()))) <= 1e-4, found
    assert max(found.values()) <= 1e-3, found
