"""A valve law added from outside, by nothing but an entry in the registry, is found everywhere it belongs."""

from __future__ import annotations

import dataclasses
import json
import os
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ampsim import OperatingPoint, load_amp, simulate
from ampsim.base.errors import DescriptionError
from ampsim.bench.diagnosis.fault_model import fault_model
from ampsim.bench.diagnosis.faults import Defect, dead_valve
from ampsim.bench.diagnosis.metered_amp import MeteredAmp, State
from ampsim.bench.diagnosis.probes import probe, standard_probes
from ampsim.bench.diagnosis.readings import parse_readings
from ampsim.bench.diagnosis.report import weigh_readings
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import circuit_at
from ampsim.circuit.signal_path import valve_stages
from ampsim.circuit.valves.description import Valve
from ampsim.circuit.valves.deviation import Deviation, Reference, ValveDraw
from ampsim.circuit.valves.emission import stronger_valve, worn_valve
from ampsim.circuit.valves.evaluation import currents, slopes
from ampsim.circuit.valves.laws import LAWS, Law, Parameter
from ampsim.circuit.valves.parsing import parse_valve
from ampsim.circuit.valves.spice import subcircuit
from ampsim.circuit.valves.spice_text import helper, node, number
from ampsim.circuit.valves.triodes import PLATE, Array, Parameters
from ampsim.library.amps import read_amp
from ampsim.library.files import models
from ampsim.simulation.monte_carlo import spread
from ampsim.simulation.valve_spreads import deviating, spread_of, spreads
from ampsim.studies.noise.hum import hum_spectrum

NAME = "square-law triode"


def square(p: Parameters, plate: Array, grid: Array, screen: Array) -> tuple[Array, Array]:
    """Ia = k max(Vg + Va / amplification + shift, 0)^2 Va / (Va + 20)."""
    drive = np.maximum(grid + plate / p["amplification"] + p["shift"], 0.0)
    above = np.maximum(plate, 0.0)
    return p["amps_per_volt2"] * drive * drive * above / (above + 20.0), 0.0 * plate


def square_lines(p: Parameters) -> tuple[str, ...]:
    return (
        f"GX1 0 x plate cathode {number(1.0 / p['amplification'])}",
        "GX2 0 x grid cathode 1",
        f"IX 0 x {number(p['shift'])}",
        helper("x"),
        *node("ia", f"{number(1e3 * p['amps_per_volt2'])}*uramp(V(x))*uramp(V(x))*{PLATE}/({PLATE}+20)"),
    )


def moved(p: Any, at: Reference, draw: ValveDraw) -> dict[str, float]:
    """Bias and mu shifted; a slope of its own a square law does not have, so gm takes the current with it."""
    pull = at.plate_volts / p["amplification"] * (1.0 - 1.0 / draw.mu)
    return {
        "amps_per_volt2": p["amps_per_volt2"] * draw.slope,
        "amplification": p["amplification"] * draw.mu,
        "shift": p["shift"] + draw.bias_volts + pull,
    }


LAW = Law(
    "triode",
    "this test",
    (Parameter("amps_per_volt2", 1e-6, 1.0), Parameter("amplification", 1.0, 1000.0), Parameter("shift", -5.0, 5.0)),
    square,
    square_lines,
    {"amps_per_volt2": 1},
    Deviation("amplification", moved),
)


def toy_valve() -> Valve:
    """A valve file as it could be written, with the new law."""
    table = tomllib.loads((models() / "valves" / "12AX7.toml").read_text(encoding="utf-8"))
    parameters = {"amps_per_volt2": 1e-3, "amplification": 90.0, "shift": 0.3}
    return parse_valve(table | {"type": "TOY1", "law": NAME, "parameters": parameters, "points": []}, "toy.toml")


def with_toys(name: str, toy: Valve) -> Amp:
    """An amp with the new valve in every socket of the preamp."""
    amp = load_amp(name)
    parts = tuple(dataclasses.replace(p, type="TOY1") if getattr(p, "type", "") == "12AX7" else p for p in amp.parts)
    return dataclasses.replace(amp, parts=parts, valves=(*amp.valves, toy))


@pytest.fixture
def toy(monkeypatch: pytest.MonkeyPatch) -> Valve:
    monkeypatch.setitem(LAWS, NAME, LAW)
    return toy_valve()


def test_without_the_registry_no_file_may_name_it() -> None:
    with pytest.raises(DescriptionError, match=NAME):
        toy_valve()


def test_its_currents_are_those_of_its_text(toy: Valve) -> None:
    amp = with_toys("lesson-stage", toy)
    assert "V(x)" in subcircuit(toy)
    rest = simulate(amp, OperatingPoint()).squeeze()
    volts = {pin: float(rest["voltage"].sel(node=f"V1A.{pin}")) for pin in ("plate", "grid", "cathode")}
    at = volts["plate"] - volts["cathode"], volts["grid"] - volts["cathode"]
    assert float(rest["current"].sel(branch="V1A.plate")) == pytest.approx(float(currents(toy, *at).plate), rel=1e-4)
    assert float(slopes(toy, *at).gm) > 1e-4


def test_a_stronger_and_a_worn_valve_carry_their_share(toy: Valve) -> None:
    at = (150.0, -0.8)
    plain = float(currents(toy, *at).plate)
    assert plain > 1e-4
    assert float(currents(stronger_valve(toy, 1.05), *at).plate) == pytest.approx(1.05 * plain)
    assert float(currents(worn_valve(toy, 0.3), *at).plate) == pytest.approx(0.3 * plain)
    assert float(currents(dead_valve(toy), *at).plate) < 1e-8 * plain


def test_it_is_spread_as_it_says(toy: Valve) -> None:
    assert spreads(toy)
    type_spread = spread_of(toy)
    assert type_spread.bias_volts == pytest.approx(0.065 * type_spread.plate_volts / 90.0)
    assert dict(deviating(toy, ValveDraw(bias_volts=0.1)).parameters)["shift"] == pytest.approx(0.4)
    run = spread(with_toys("lesson-stage", toy), 4, seed=1)
    assert np.ptp(abs(run["voltage"]).isel(frequency=0).max("node").values) > 0.0
    assert "TOY1" in run.attrs["valve_spread"]


def test_a_weak_one_is_found_with_its_emission(toy: Valve) -> None:
    amp = with_toys("lesson-stage", toy)
    wired = circuit_at(amp, {})
    names = standard_probes(wired)
    bench = MeteredAmp(amp, {}, tuple(probe(wired, name) for name in names))
    weak = State(sockets=(("V1A", worn_valve(toy, 0.3)),))
    volts = dict(zip(names, bench.read([weak])[0].tolist(), strict=True))
    found = weigh_readings(amp, parse_readings({"volts": volts}, amp), {}, fault_model(amp, drops=False))
    emissions = [
        each.fault.size
        for each in found.suspicions
        if each.part == "V1A" and each.fault.suspect.kind.defect is Defect.WEAK
    ]
    assert emissions[0] == pytest.approx(0.3, rel=0.3)


def pair_of(toy: Valve) -> Amp:
    """Two of the valves in free wiring, pulling at both ends of a transformer."""
    wires = {
        "V1": {"plate": "left", "grid": "in", "cathode": "foot"},
        "V2": {"plate": "right", "grid": "rest", "cathode": "foot"},
        "R1": ["in", "ground"],
        "R2": ["rest", "ground"],
        "R3": ["foot", "ground"],
        "T1": {"primary_a": "left", "primary_b": "right", "centre": "B1", "common": "ground", "tap8": "out"},
        "LS1": ["out", "ground"],
    }
    parts = {"V1": "TOY1", "V2": "TOY1", "R1": "470k", "R2": "470k", "R3": "470", "R4": "1k", "C1": "47u"}
    given = {
        "name": "two toys",
        "parts": parts | {"T1": {"primary": "20k", "taps": ["8"]}, "LS1": {"resistance": "6.5"}},
        "rails": [{"name": "B1", "volts": 300, "through": ["R4"], "reservoir": ["C1"]}],
        "stages": [{"name": "power", "template": "free wiring", "wires": wires}],
    }
    return read_amp(given, "toys.toml", lambda kind, name, where: toy)


def test_a_pair_of_them_hums_as_no_pair_is_quite_alike(toy: Valve) -> None:
    found = hum_spectrum(pair_of(toy))
    assert found.attrs["pair"] == "V2"
    assert float(abs(found["hum"]).max()) > 1e-6


def test_free_wiring_is_a_stage_with_a_load_like_any_other(toy: Valve) -> None:
    wired = circuit_at(pair_of(toy), {})
    (stage,) = valve_stages(wired)
    assert (stage.name, stage.driven, stage.outputs) == ("power", ("V1.grid",), ("speaker",))
    assert [each.designator for each in wired.load] == ["LS1"]


def test_hum_names_a_law_that_does_not_say_its_emission(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(LAWS, NAME, dataclasses.replace(LAW, emission=None))
    with pytest.raises(DescriptionError, match=f"'{NAME}' does not say"):
        hum_spectrum(pair_of(toy_valve()))


@pytest.mark.parametrize(
    ("law", "ask", "told"),
    [
        (
            dataclasses.replace(LAW, emission=None),
            lambda valve: worn_valve(valve, 0.5),
            "does not say which",
        ),
        (dataclasses.replace(LAW, emission={}), lambda valve: stronger_valve(valve, 1.05), "does not say which"),
        (dataclasses.replace(LAW, emission={"k": 1}), lambda valve: dead_valve(valve), "has no parameter 'k'"),
        (dataclasses.replace(LAW, deviation=None), spreads, "says neither how its valves differ nor why"),
        (dataclasses.replace(LAW, deviation="it is a toy"), spread_of, "cannot be spread, it is a toy; laws that can"),
    ],
)
def test_a_law_that_does_not_say_is_an_error_that_names_it(
    law: Law, ask: Any, told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(LAWS, NAME, law)
    with pytest.raises(DescriptionError, match=told) as problem:
        ask(toy_valve())
    assert f"'{NAME}'" in str(problem.value)


COMPILED = """
import json, sys
import numpy as np
from tests.circuit import test_new_law as new
new.LAWS[new.NAME] = new.LAW
amp = new.with_toys("lesson-stage", new.toy_valve())
# Only what is played here is compiled: the other laws are compiled by every other run.
from ampsim.circuit.semiconductors.port_laws import PORT_LAWS
for laws, played in ((new.LAWS, (new.NAME, "space-charge triode")), (PORT_LAWS, ("junction",))):
    for name in {*laws} - {*played}:
        del laws[name]
from ampsim import Transient, simulate
from ampsim.simulation.stimuli import Sine
from ampsim.simulation.timestep.solver import play
rate = 48000.0
tone = 0.2 * np.sin(2.0 * np.pi * 480.0 * np.arange(2000) / rate)
ours = play(amp, tone, rate, oversampling=8).volts[-400:]
theirs = simulate(amp, Transient(Sine(480.0, 0.2, 0.03), 1e-5), nodes=["speaker"])["voltage"].squeeze()
theirs = theirs.values[-400:]
print(json.dumps([float(each) for each in (ours.max(), ours.min(), theirs.max(), theirs.min())]))
"""


def test_the_compiled_loop_knows_it(request: pytest.FixtureRequest) -> None:
    """In a process of its own: the loop compiles the laws that there are when it is first needed."""
    root = Path(__file__).resolve().parents[2]
    cache = str(request.config.cache.mkdir("new-law")) if request.config.cache else ""
    # Unoptimised: compiling takes most of the time here.
    about = os.environ | {"PYTHONPATH": str(root), "NUMBA_CACHE_DIR": cache, "NUMBA_OPT": "0"}
    done = subprocess.run([sys.executable, "-c", COMPILED], cwd=root, env=about, capture_output=True, encoding="utf-8")
    assert done.returncode == 0, done.stderr
    highest, lowest, in_ngspice, below = json.loads(done.stdout)
    assert highest == pytest.approx(in_ngspice, rel=0.02)
    assert lowest == pytest.approx(below, rel=0.02)
    assert highest > 1.0
