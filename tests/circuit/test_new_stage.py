"""Stages added from outside, by nothing but an entry in the registry, are found everywhere they belong."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ampsim import FrequencySweep, OperatingPoint, apply_mods, parse_amp, parse_mod, simulate
from ampsim.audio.loads import load_words, with_load
from ampsim.bench.diagnosis.probes import drop_probes, standard_probes
from ampsim.circuit import stages
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.feedback import find_loops
from ampsim.circuit.load import load_ohm
from ampsim.circuit.signal_path import ValveStage, begins_at_guitar, listening_points, valve_stages
from ampsim.circuit.stages import TEMPLATES, Kind, Template
from ampsim.circuit.stages.template import GROUND, Role, StageBuilder
from ampsim.library.loader import parse_wishes
from ampsim.library.overview import describe_amp
from ampsim.simulation.netlist import build
from ampsim.simulation.timestep.solver import play
from ampsim.studies.headroom.simulate import headroom
from ampsim.studies.noise.hum import hum_spectrum
from ampsim.studies.pop.moves import Movement, transitions
from ampsim.studies.pop.simulate import pop
from ampsim.studies.stability import loads
from ampsim.work.wiring.from_to import list_wiring

R, C, V = ("resistor",), ("capacitor",), ("valve",)


def microphone(bench: StageBuilder) -> tuple[str, ...]:
    return (bench.through("coil", "input"),)


def double_stage(bench: StageBuilder) -> tuple[str, ...]:
    """Two triodes side by side, each behind a stopper of its own."""
    plate, cathode = bench.net("plate", "left"), bench.net("cathode", "left")
    bench.across("leak", bench.signal[0], GROUND)
    for side in ("left", "right"):
        bench.valve(side, plate, bench.through(f"{side}_stopper", bench.signal[0]), cathode)
    bench.across("top", bench.rail("supply"), plate)
    bench.across("foot", cathode, GROUND)
    return (plate,)


def paraphase(bench: StageBuilder) -> tuple[str, ...]:
    """Two triodes with one foot, the second grid at rest: one line in, two out."""
    cathode = bench.net("cathode", "first")
    grid = bench.through("capacitor", bench.signal[0])
    bench.across("leak", grid, GROUND)
    plates = bench.net("plate", "first"), bench.net("plate", "second")
    bench.valve("first", plates[0], grid, cathode)
    bench.valve("second", plates[1], bench.through("stopper", GROUND, bench.net("grid", "second")), cathode)
    for role, plate in zip(("first_top", "second_top"), plates, strict=True):
        bench.across(role, bench.rail("supply"), plate)
    bench.across("foot", cathode, GROUND)
    return plates


def fader(bench: StageBuilder) -> tuple[str, ...]:
    after = bench.through("capacitor", bench.signal[0])
    (pot,) = bench.designators("fader")
    bench.put(pot, top=after, wiper=f"{pot.lower()}_wiper", bottom=GROUND)
    return (f"{pot.lower()}_wiper",)


def horn(bench: StageBuilder) -> tuple[str, ...]:
    bench.across("horn", bench.signal[0], GROUND)
    return bench.signal


SUPPLY = Role("rail", ("rail",), True)
TOYS = (
    Template("microphone", Kind.INSTRUMENT, "a coil", {"coil": Role("its resistance", R, True)}, 0, microphone),
    Template(
        "double stage",
        Kind.GAIN,
        "two triodes side by side",
        {
            **{side: Role("triode", V, True) for side in ("left", "right")},
            **{f"{side}_stopper": Role("grid stopper", R, True) for side in ("left", "right")},
            **{role: Role("resistor", R, True) for role in ("leak", "top", "foot")},
            "supply": SUPPLY,
        },
        1,
        double_stage,
    ),
    Template(
        "paraphase",
        Kind.INVERTER,
        "two triodes with one foot",
        {
            "capacitor": Role("from the stage before", C, True),
            **{role: Role("triode", V, True) for role in ("first", "second")},
            **{role: Role("resistor", R, True) for role in ("leak", "stopper", "first_top", "second_top", "foot")},
            "supply": SUPPLY,
        },
        1,
        paraphase,
    ),
    Template(
        "fader",
        Kind.MASTER,
        "a level before the power amp",
        {"capacitor": Role("from the stage before", C, True), "fader": Role("pot", ("pot",), True)},
        1,
        fader,
    ),
    Template(
        "horn", Kind.LOAD, "what it plays into", {"horn": Role("horn", ("loudspeaker", "resistor"), True)}, 1, horn
    ),
)
PARTS: dict[str, Any] = {
    **dict.fromkeys(("V1A", "V1B", "V2A", "V2B"), "12AX7"),
    "V3": "EL84",
    "V4": "EL84",
    "R1": "600",
    "R2": "1M",
    "R3": "10k",
    "R4": "10k",
    "R5": "47k",
    "R6": "820",
    "C1": "22n",
    "P1": {"track": "1M", "control": "fader", "rotation": 0.5},
    "C2": "22n",
    "R10": "1M",
    "R11": "1k",
    "R12": "100k",
    "R13": "100k",
    "R14": "1k5",
    "C3": "22n",
    "C4": "22n",
    "R20": "470k",
    "R21": "470k",
    "R22": "130",
    "C5": "100u",
    "T1": {"primary": "8k", "taps": ["8"]},
    "LS1": {"resistance": "6.5", "resonance": "85", "peak": "30", "q": 3.0, "reactance": "6", "exponent": 0.7},
    "R30": "1k",
    "R31": "4k7",
    "C10": "47u",
    "C11": "47u",
}
STAGES = [
    {"name": "mike", "template": "microphone", "coil": "R1"},
    {
        "name": "twins",
        "template": "double stage",
        "left": "V1A",
        "right": "V1B",
        "left_stopper": "R3",
        "right_stopper": "R4",
        "leak": "R2",
        "top": "R5",
        "foot": "R6",
        "supply": "B2",
    },
    {"name": "level", "template": "fader", "capacitor": "C1", "fader": "P1"},
    {
        "name": "splitter",
        "template": "paraphase",
        "capacitor": "C2",
        "first": "V2A",
        "second": "V2B",
        "leak": "R10",
        "stopper": "R11",
        "first_top": "R12",
        "second_top": "R13",
        "foot": "R14",
        "supply": "B2",
    },
    {
        "name": "power",
        "template": "push-pull output",
        "valve_a": "V3",
        "valve_b": "V4",
        "coupling_a": "C3",
        "coupling_b": "C4",
        "grid_leak_a": "R20",
        "grid_leak_b": "R21",
        "cathode_resistor": "R22",
        "cathode_bypass": "C5",
        "transformer": "T1",
        "supply": "B1",
    },
    {"name": "out", "template": "horn", "horn": "LS1"},
]
RAILS = [
    {"name": "B1", "volts": 300, "through": ["R30"], "reservoir": ["C10"]},
    {"name": "B2", "from": "B1", "through": ["R31"], "reservoir": ["C11"]},
]
SWITCH = {"designator": "S1", "control": "foot", "drawn": "more", "positions": {"more": [], "less": []}}
SWITCH["positions"]["less"] = [{"replace": "R6", "with": "1k5"}]  # type: ignore[index]


@pytest.fixture
def amp(monkeypatch: pytest.MonkeyPatch) -> Amp:
    for toy in TOYS:
        monkeypatch.setitem(TEMPLATES, toy.name, toy)
    given = {"name": "toys", "parts": PARTS, "rails": RAILS, "stages": STAGES, "switches": [SWITCH]}
    return parse_amp(given, "toys.toml")


def test_without_the_registry_there_is_no_such_stage() -> None:
    with pytest.raises(Exception, match="microphone"):
        parse_amp({"name": "toys", "parts": PARTS, "rails": RAILS, "stages": STAGES}, "toys.toml")


def test_a_module_put_into_the_package_is_all_that_a_stage_needs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = """
from ampsim.circuit.stages.template import Kind, Template
TEMPLATES = (Template("straight on", Kind.NETWORK, "a wire", {}, 1, lambda bench: bench.signal),)
"""
    (tmp_path / "straight.py").write_text(text, encoding="utf-8")
    monkeypatch.setattr(stages, "__path__", [*stages.__path__, str(tmp_path)])
    found = {each.name for each in stages._templates()}
    sys.modules.pop(f"{stages.__name__}.straight")
    assert found == {*TEMPLATES, "straight on"}


def test_the_circuit_and_its_netlist_have_every_part(amp: Amp) -> None:
    wired = build_circuit(amp)
    assert {each.designator for each in wired.elements} >= set(PARTS)
    assert [each.designator for each in wired.load] == ["LS1"]
    assert wired.speaker == wired.net("T1.tap8")
    assert "xv1b " in build(amp, {}, OperatingPoint(), ("speaker",)).text.lower()
    assert "twins" in describe_amp(amp)


def test_the_signal_passes_as_two_triodes_side_by_side_do(amp: Amp) -> None:
    rest = simulate(amp, OperatingPoint()).squeeze()
    both = rest["current"].sel(branch=["V1A.plate", "V1B.plate"]).values
    assert both[0] == pytest.approx(both[1], rel=1e-6)
    volts = float(rest["voltage"].sel(node="B2") - rest["voltage"].sel(node="V1A.plate"))
    assert both.sum() * 47e3 == pytest.approx(volts, rel=1e-6)
    gain = simulate(amp, FrequencySweep(1000.0, 10_000.0, 1), nodes=["V2A.plate", "V2B.plate"])["voltage"].values
    assert np.angle(gain[0, 0, 0, 0] / gain[0, 0, 1, 0], deg=True) == pytest.approx(180.0, abs=5.0) or (
        np.angle(gain[0, 0, 0, 0] / gain[0, 0, 1, 0], deg=True) == pytest.approx(-180.0, abs=5.0)
    )


def test_the_signal_path_lists_the_stages_with_what_goes_in_and_out(amp: Amp) -> None:
    path = {stage.name: stage for stage in valve_stages(build_circuit(amp))}
    assert list(path) == ["twins", "splitter", "power"]
    assert path["twins"] == ValveStage("twins", ("V1A", "V1B"), ("V1A.grid",), ("V1A.grid",), ("V1A.plate",))
    assert path["splitter"].driven == ("V2A.grid",)
    assert path["splitter"].grids == ("V2A.grid", "V2B.grid")
    assert path["splitter"].outputs == ("V2A.plate", "V2B.plate")
    assert path["power"].driven == ("V3.grid", "V4.grid")
    assert list(listening_points(amp)) == ["mike", "twins", "level", "splitter", "splitter (2)", "power"]
    assert listening_points(amp)["power"] == "speaker"
    assert begins_at_guitar(amp)
    assert find_loops(amp) == ()


def test_headroom_is_found_stage_by_stage(amp: Amp) -> None:
    found = headroom(amp, levels=(0.05, 0.5))
    assert [each["name"] for each in json.loads(found.attrs["stages"])["stock"]] == ["twins", "splitter", "power"]
    assert found.attrs["source"] == "from the pickup"
    assert load_ohm(build_circuit(amp), 400.0) == json.loads(found.attrs["load_ohm"])["stock"]["as drawn"][0] > 6.5


def test_hum_comes_from_every_supply_node_and_from_the_pair_that_is_no_pair(amp: Amp) -> None:
    found = hum_spectrum(amp)
    assert {"B1", "B2"} <= set(found["rail"].values)
    assert {"V1A", "V1B", "V2A", "V2B"} <= set(found["valve"].values)
    assert found.attrs["pair"] == "V4"
    assert float(abs(found["contribution"].sel(rail="B2")).max()) > 0.0


def test_a_wish_names_the_stage_and_a_margin_misses_its_loop(amp: Amp) -> None:
    part = {"replace": "R6", "values": ["680", "820"]}
    wish = {"plate_current": "within 10 %", "of": "twins"}
    found = parse_wishes({"name": "w", "parts": [part], "wishes": [wish]}, amp, file="w.toml")
    assert found.wishes[0].of == ("V1A", "V1B")
    with pytest.raises(Exception, match="no loop with a margin"):
        parse_wishes({"name": "w", "parts": [part], "wishes": [{"margin": "above 45 degrees"}]}, amp, file="w.toml")


def test_the_bench_reads_the_stage_and_leaves_out_what_is_plugged_in(amp: Amp) -> None:
    wired = build_circuit(amp)
    assert {"V1A.plate", "V1A.cathode", "V1B.grid", "V2B.plate"} <= set(standard_probes(wired))
    assert "across R5" in drop_probes(wired)
    assert "across R1" not in drop_probes(wired)


def test_the_load_can_be_another(amp: Amp) -> None:
    assert load_words(amp, "loudspeaker").startswith("The load is the loudspeaker")
    dummy = build_circuit(with_load(amp, "resistor"))
    assert [dummy.parts[each.designator].value for each in dummy.load] == [8.0]  # type: ignore[union-attr]
    twice = build_circuit(loads.with_load(amp, 2.0))
    assert [twice.parts[each.designator].resistance for each in twice.load] == [13.0]  # type: ignore[union-attr]


def test_a_pop_is_listened_to_at_the_level_before_the_power_amp(amp: Amp) -> None:
    found = pop(amp, transitions(amp)[:1], movements=[Movement("clean", 0.0)], bleeds=[None])
    assert list(found["node"].values) == ["speaker", "level"]


def test_it_sounds_as_in_ngspice(amp: Amp) -> None:
    tone = 1e-3 * np.sin(2.0 * np.pi * 400.0 * np.arange(960) / 48_000.0)
    ours = play(amp, tone, 48_000.0).volts
    small = simulate(amp, FrequencySweep(400.0, 4000.0, 1), nodes=["speaker"])["voltage"].values[0, 0, 0, 0]
    assert np.ptp(ours[480:]) / 2e-3 == pytest.approx(abs(small), rel=0.1)


def test_the_wiring_of_a_mod_knows_where_it_stands(amp: Amp) -> None:
    mod = parse_mod(
        {"name": "bypass", "reason": "more", "parts": {"C50": "22u"}, "edits": [{"fit": "C50", "across": "R6"}]}
    )
    found = list_wiring(apply_mods(amp, mod))
    ends = {end for wire in found.wires for end in (wire.start, wire.end)}
    assert {"C50.1", "C50.2"} <= ends
