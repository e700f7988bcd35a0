"""Measured voltages: obvious faults are found, healthy amps are called healthy, readers refuse what they must."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.lines import Line2D
from matplotlib.text import Text
from numpy.typing import NDArray

from ampsim.base.caution import CAUTION
from ampsim.base.errors import DescriptionError
from ampsim.bench.diagnosis.fault_model import FaultModel, fault_model
from ampsim.bench.diagnosis.faults import KINDS, Suspect, dead_valve, suspects
from ampsim.bench.diagnosis.metered_amp import MeteredAmp, State, gas_name, leak_name, wire_name
from ampsim.bench.diagnosis.next_step import SizedSuspect, next_steps
from ampsim.bench.diagnosis.picture import describe_volts, volts_picture
from ampsim.bench.diagnosis.probes import probe, standard_probes
from ampsim.bench.diagnosis.ranking import FALSE_ALARMS, Meter, Ranking
from ampsim.bench.diagnosis.readings import parse_readings, read_readings
from ampsim.bench.diagnosis.report import Diagnosis, Suspicion, diagnose, weigh_readings
from ampsim.bench.proof.sheet import proof_sheet
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import circuit_at
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.valves.emission import worn_valve
from ampsim.circuit.valves.laws import LAWS
from ampsim.job.record.data import Measured
from ampsim.job.record.measurements import recorded_readings
from ampsim.library.loader import load_amp, load_valve, parse_mod

Array = NDArray[np.float64]


@pytest.fixture(scope="module")
def amp() -> Amp:
    return load_amp("workshop-b")


@pytest.fixture(scope="module")
def model(amp: Amp) -> FaultModel:
    return fault_model(amp, ["across R9", "across R10"], drops=False)  # two of the drops that may be asked for next


@pytest.fixture(scope="module")
def bench(amp: Amp) -> MeteredAmp:
    wired = circuit_at(amp, {})
    return MeteredAmp(amp, {}, tuple(probe(wired, name) for name in standard_probes(wired)))


def told(amp: Amp, bench: MeteredAmp, model: FaultModel, state: State, **about: Any) -> Diagnosis:
    """The diagnosis of an amp in a state, read without error."""
    volts = dict(zip((each.name for each in bench.probes), bench.read([state])[0].tolist(), strict=True))
    return weigh_readings(amp, parse_readings({"volts": volts, **about}, amp), {}, model)


def weak(amp: Amp, socket: str, share: float) -> State:
    valve = amp.valve_by_type[amp.part_by_designator[socket].type]  # type: ignore[union-attr]
    return State(sockets=((socket, worn_valve(valve, share)),))


# The meter ------------------------------------------------------------------------------------------------------------


def test_a_grid_reads_low_by_the_divider_of_its_leak_and_the_meter(amp: Amp) -> None:
    # Ohm's law: 20 V behind 220 k and 1k5, into 1 Mohm. A grid far below its cathode draws nothing.
    reading = MeteredAmp(amp, {}, (probe(circuit_at(amp, {}), "V3.grid"),), 1e6).read([State()])[0, 0]
    assert reading == pytest.approx(-20.0 * 1e6 / (1e6 + 221.5e3), rel=1e-3)


def test_one_reading_does_not_load_the_other(bench: MeteredAmp) -> None:
    alone = MeteredAmp(bench.amp, {}, bench.probes[-3:]).read([State()])[0]
    assert bench.read([State()])[0, -3:] == pytest.approx(alone, rel=1e-6)


def test_the_quick_reading_is_the_thorough_one_nearly(bench: MeteredAmp, amp: Amp) -> None:
    states = [State(values=(("r4", 1e10),)), State(values=((leak_name("C2"), 1e6),)), weak(amp, "V1B", 0.4)]
    assert bench.read_nearly(states) == pytest.approx(bench.read(states), rel=5e-3, abs=0.02)


def test_an_open_cathode_resistor_is_bridged_by_the_meter_alone(bench: MeteredAmp) -> None:
    names = [each.name for each in bench.probes]
    read, bare = (way([State(values=(("r4", 1e10),))])[0] for way in (bench.read, bench.unloaded))
    place = names.index("V1A.cathode")
    assert 1.0 < read[place] < 0.95 * bare[place]


def test_a_dead_valve_leaves_its_plate_at_the_rail(amp: Amp, bench: MeteredAmp) -> None:
    names = [each.name for each in bench.probes]
    found = bench.unloaded([State(sockets=(("V1A", dead_valve(amp.valve_by_type["12AX7"])),))])[0]
    assert found[names.index("V1A.plate")] == pytest.approx(found[names.index("B3")], rel=1e-4)
    assert abs(found[names.index("V1A.cathode")]) < 1e-3


# Faults ---------------------------------------------------------------------------------------------------------------

FAULTS = {
    "R4": State(values=(("r4", 1e10),)),
    "R9": State(factors=(("r9", 1.7),)),
    "R51": State(factors=(("r51", 2.0),)),
    "C5": State(values=((leak_name("C5"), 1e6),)),
    "C6": State(values=((leak_name("C6"), 2e6),)),
    "C1": State(values=((leak_name("C1"), 1.0),)),
    "V4": State(values=((gas_name("V4"), 100e6),)),
    "T1": State(values=((wire_name("T1", "primary_b"), 1e10),)),
}


@pytest.mark.parametrize("part", FAULTS)
def test_an_obvious_fault_is_found(part: str, amp: Amp, bench: MeteredAmp, model: FaultModel) -> None:
    found = told(amp, bench, model, FAULTS[part])
    assert not found.healthy
    assert found.suspicions[0].part == part
    assert part in found.verdict()


def test_a_weak_valve_is_found_with_its_emission(amp: Amp, bench: MeteredAmp, model: FaultModel) -> None:
    first = told(amp, bench, model, weak(amp, "V1B", 0.3)).suspicions[0]
    assert first.part == "V1B"
    assert first.fault.size == pytest.approx(0.3, rel=0.25)


def test_a_leak_is_sized(amp: Amp, bench: MeteredAmp, model: FaultModel) -> None:
    # Below some 5 Mohm the grid draws current and its volts say little of the leak.
    first = told(amp, bench, model, State(values=((leak_name("C6"), 8e6),))).suspicions[0]
    assert first.part == "C6"
    assert first.fault.size == pytest.approx(8e6, rel=0.2)


def test_what_cannot_be_told_apart_is_said(amp: Amp, bench: MeteredAmp, model: FaultModel) -> None:
    # A short across C1 is a short across R4: the same two wires.
    found = told(amp, bench, model, FAULTS["C1"])
    twin = next(each for each in found.suspicions if each.part == "R4")
    assert twin.alike
    assert "hardly tell" in found.text()


def test_what_readings_tell_apart_is_not_said_to_be_alike(amp: Amp, bench: MeteredAmp, model: FaultModel) -> None:
    """Where the shares move far from what is usual beforehand, the readings have told."""
    befall = Counter(each.kind for each in model.suspects)

    def usual(each: Suspicion) -> float:
        kind = each.fault.suspect.kind
        return kind.chance / befall[kind]

    cases = [*FAULTS.values(), *(State(factors=(("r9", by),)) for by in (1.15, 1.25, 1.4)), weak(amp, "V1B", 0.6)]
    for case in cases:
        first, *others = told(amp, bench, model, case).suspicions
        for each in others:
            if each.alike:
                assert each.share / first.share > 0.05 * usual(each) / usual(first), (first.words, each.words)


def test_a_modest_drift_is_sized_between_the_sizes_tried(amp: Amp, bench: MeteredAmp, model: FaultModel) -> None:
    first = told(amp, bench, model, State(factors=(("r51", 1.63),))).suspicions[0]
    assert (first.part, first.fault.suspect.kind.defect) == ("R51", "high")
    assert first.fault.size == pytest.approx(1.63, rel=0.1)


# Healthy --------------------------------------------------------------------------------------------------------------


def test_the_amp_as_drawn_is_healthy(amp: Amp, bench: MeteredAmp, model: FaultModel) -> None:
    found = told(amp, bench, model, State())
    assert found.healthy
    assert set(found.table["verdict"]) == {"within tolerance"}
    assert found.steps == ()


def test_a_supply_that_the_mains_explain_is_healthy(amp: Amp, bench: MeteredAmp, model: FaultModel) -> None:
    state = State(supply=0.85)
    scaled = told(amp, bench, model, state, mains="195,5 V", mains_drawn="230 V")
    assert scaled.healthy
    assert scaled.supply == pytest.approx(0.85, rel=0.01)
    assert scaled.table["at this supply [V]"].to_numpy() == pytest.approx(
        scaled.table["measured [V]"].to_numpy(), rel=0.01, abs=0.1
    )
    plain = told(amp, bench, model, state)
    assert plain.healthy
    assert "supply stands \u22121" in plain.verdict()
    assert "supply stands" not in scaled.verdict()


def test_mains_that_stand_elsewhere_are_no_fault_of_an_amp_with_a_mains_transformer() -> None:
    amp = load_amp("kitchen")
    wired = circuit_at(amp, {})
    held = MeteredAmp(amp, {}, tuple(probe(wired, name) for name in standard_probes(wired)))
    (volts,) = held.read([State(supply=0.93)])
    read = dict(zip((each.name for each in held.probes), volts.tolist(), strict=True))
    assert read["B1"] == pytest.approx(0.93 * held.read([State()])[0, 0], rel=0.02)
    found = diagnose(amp, parse_readings({"volts": read, "mains": 213.9, "mains_drawn": 230.0}, amp))
    assert found.healthy
    assert found.supply == pytest.approx(0.93, rel=0.01)


def test_the_threshold_holds_for_other_healthy_amps_of_the_linear_model(model: FaultModel, bench: MeteredAmp) -> None:
    own = model.only([each.name for each in bench.probes])
    ranking, rng = Ranking(own, Meter(supply=1e-6)), np.random.default_rng(8)
    even = rng.uniform(-1.0, 1.0, (200, own.even.size)) * 3**0.5
    volts = own.healthy + np.where(own.even, even, rng.standard_normal(even.shape)) @ own.spread
    volts = volts * (1.0 + 0.01 * rng.standard_normal(volts.shape)) + 0.01 * rng.standard_normal(volts.shape)
    alarms = sum(each.gain > ranking.threshold for each in ranking.rank_all(volts, np.ones(200)))
    # 3 % of 200 are 6; more than 15 have a chance below 1 in 1,000 (binomial).
    assert FALSE_ALARMS == 0.03
    assert alarms <= 15


def test_so_many_healthy_amps_pass_the_threshold_as_it_is_said_to_be_drawn_for(
    model: FaultModel, bench: MeteredAmp
) -> None:
    own = model.only([each.name for each in bench.probes])
    ranking, rng = Ranking(own, Meter()), np.random.default_rng(31)
    even = rng.uniform(-1.0, 1.0, (3000, own.even.size)) * 3**0.5
    volts = own.healthy + np.where(own.even, even, rng.standard_normal(even.shape)) @ own.spread
    volts += 0.02 * rng.standard_normal((len(volts), 1)) * own.per_supply
    volts = volts * (1.0 + 0.01 * rng.standard_normal(volts.shape)) + 0.01 * rng.standard_normal(volts.shape)
    gains = ranking._gains_as_drawn(volts)
    assert gains[:50] == pytest.approx([each.gain for each in ranking.rank_all(volts[:50], np.ones(50))], abs=1e-9)
    # Each of both shares is known to 0.3 of a hundred (binomial).
    assert abs(np.mean(gains > ranking.threshold) - FALSE_ALARMS) < 0.01


def test_usual_volts_are_those_at_the_supply_found(amp: Amp, bench: MeteredAmp, model: FaultModel) -> None:
    # A supply known to 5 % is known better from the readings: a rail's own spread is then far less than 5 % of it.
    table = told(amp, bench, model, State()).table.set_index("place")
    assert 0.01 < table.loc["B1", "usual +/- [V]"] / table.loc["B1", "at this supply [V]"] < 0.02


# Other amps -----------------------------------------------------------------------------------------------------------


def stage_told(amp: Amp, state: State, position: dict[str, str] | None = None) -> Diagnosis:
    """The diagnosis of a small amp, its usual places read without error."""
    at = position or {}
    wired = circuit_at(amp, at)
    held = MeteredAmp(amp, at, tuple(probe(wired, name) for name in standard_probes(wired)))
    volts = dict(zip((each.name for each in held.probes), held.read([state])[0].tolist(), strict=True))
    return diagnose(amp, parse_readings({"volts": volts}, amp, position=at), at)


def test_a_modded_amp_is_held_against_its_own_parts() -> None:
    mod = {"name": "more gain", "reason": "trial", "parts": {}, "edits": [{"replace": "R3", "with": "150k"}]}
    amp = apply_mods(load_amp("lesson-stage"), parse_mod(mod, "more gain"))
    assert stage_told(amp, State()).healthy
    found = stage_told(amp, State(factors=(("r3", 1.6),)))
    assert found.suspicions[0].words.startswith("R3 has risen to 240k (drawn 150k)")


def test_a_part_is_told_with_the_value_of_the_switch_position() -> None:
    found = stage_told(load_amp("lesson-stage"), State(values=(("r4", 1e10),)), {"cathode resistor": "820"})
    assert found.suspicions[0].words == "R4 is open"
    assert found.position == "cathode resistor 820"
    risen = stage_told(load_amp("lesson-stage"), State(factors=(("r4", 1.9),)), {"cathode resistor": "820"})
    assert "(drawn 820)" in risen.suspicions[0].words


def test_two_faults_are_not_passed_off_as_one() -> None:
    # A short across the plate load holds the plate at the rail; an open cathode resistor takes the current: no single
    # fault leaves the plate at the rail and the cathode that high.
    assert not stage_told(load_amp("lesson-stage"), State(values=(("r4", 1e10),))).unexplained
    found = stage_told(load_amp("lesson-stage"), State(values=(("r4", 1e10),), factors=(("r3", 20.0),)))
    assert found.unexplained
    assert "does not explain all of it" in found.text()


def test_what_is_plugged_in_is_never_suspected() -> None:
    for name in ("workshop-b", "rehearsal-room"):  # a guitar with its cable, a generator
        wired = circuit_at(load_amp(name), {})
        parts = {each.part for each in suspects(wired)}
        assert "R3" in parts
        assert not {each.designator for each in wired.elements if each.stage in ("guitar", "generator")} & parts


# Each law with its current in its own units, at a place where it conducts.
LAW_VALUES = {
    "space-charge triode": {"mu": 100, "perveance": 1e-3, "exponent": 1.5, "width": 0.1, "knee_volts": 1.0},
    "space-charge triode, two mu": {
        "mu": 30,
        "perveance": 1e-3,
        "exponent": 1.5,
        "width": 0.1,
        "knee_volts": 1.0,
        "slow_share": 0.2,
        "slow_mu": 0.7,
    },
    "space-charge pentode": {
        "mu": 10,
        "perveance": 1e-3,
        "exponent": 1.5,
        "width": 0.1,
        "plate_mu": 200,
        "knee_volts": 9,
    },
    "koren 1996 triode": {"mu": 100, "x": 1.4, "kP": 600, "kG1": 1060, "kVB": 300},
    "koren 1996 pentode": {"mu": 8.7, "x": 1.35, "kP": 48, "kG1": 1460, "kG2": 4500, "kVB": 12},
    "dempwolf-zoelzer 2011": {"G": 2e-3, "mu": 103, "gamma": 1.26, "C": 3.4, "Gg": 6e-4, "xi": 1.3, "Cg": 9.9},
    "cohen-helie 2012": {"mu": 96, "x": 1.3, "kP": 600, "kG": 1100, "Vct": 0.5, "kVB": 300},
    "three-halves": {"k": 1e-3, "mu": 20},
}


@pytest.mark.parametrize("name", LAWS)
def test_a_worn_valve_of_any_law_carries_its_share(name: str) -> None:
    law = LAWS[name]
    values = {each.name: float(LAW_VALUES[name].get(each.name, max(each.lowest, 0.0))) for each in law.parameters}
    valve = replace(load_valve("12AX7"), law=name, parameters=tuple(values.items()))
    at = tuple(np.array([volts]) for volts in (200.0, -1.0, 180.0))
    whole, part, none = (
        np.array(law.current(dict(each.parameters), *at)) for each in (valve, worn_valve(valve, 0.3), dead_valve(valve))
    )
    assert whole[0, 0] > 1e-5
    assert part == pytest.approx(0.3 * whole, rel=1e-9)
    assert np.abs(none).max() < 1e-8


# Weighing, in closed form ---------------------------------------------------------------------------------------------


def bare_model(readings: float) -> FaultModel:
    """One place that reads 10 V with 1 V of spread, and one fault that reads so much instead."""
    suspect = Suspect("R1", next(kind for kind in KINDS if (kind.defect, kind.part) == ("open", "resistor")))
    return FaultModel(
        "", "", "", ("A",), (("a", "0"),), 1e7, np.array([10.0]), np.array([10.0]), np.array([[1.0]]),
        np.array([False]), (suspect,), (np.array([1e10]),), (np.array([[readings]]),), (), (),
    )  # fmt: skip


def test_the_gain_is_the_ratio_of_two_normal_densities() -> None:
    # Variances: tolerance 1, supply and meter next to nothing, and 3 % of the fault's 20 V once more for the fault.
    found = Ranking(bare_model(30.0), Meter(1e-9, 1e-6, 1e-9)).rank(np.array([29.0]))
    wide = 1.0 + 0.6**2
    want = -0.5 * 1.0 / wide - 0.5 * math.log(wide) + 0.5 * 19.0**2
    assert found.gain == pytest.approx(want, rel=1e-6)
    assert found.chances == (1.0,)


def test_the_supply_is_shared_out_by_how_well_it_is_known() -> None:
    # A reading 1 V high, spread 1 V against 10 V x 10 % of supply: half each (conditional mean).
    found = Ranking(bare_model(500.0), Meter(1e-9, 1e-6, 0.1)).rank(np.array([11.0]))
    assert found.supply == pytest.approx(1.05, rel=1e-6)


# What next ------------------------------------------------------------------------------------------------------------


def test_cold_readings_come_first_and_the_caution_before_all(amp: Amp, bench: MeteredAmp, model: FaultModel) -> None:
    found = told(amp, bench, model, FAULTS["V4"])
    kinds = [step.kind for step in found.steps]
    assert {each.part for each in found.suspicions[:2]} == {"V4", "C7"}
    assert kinds == sorted(kinds, key=("cold", "swap", "live").index)
    assert "swap" in kinds
    text = found.text()
    assert text.index(CAUTION) < text.index("measure next")
    assert "does not clear a capacitor" in text


def test_a_drifted_resistor_is_told_from_a_weak_valve_by_its_ohms(
    amp: Amp, model: FaultModel, bench: MeteredAmp
) -> None:
    by_name = {(each.part, each.kind.defect): each for each in suspects(circuit_at(amp, {}))}
    pair = (SizedSuspect(by_name["R4", "high"], 2.0), SizedSuspect(by_name["V1A", "weak"], 0.5))
    names = tuple(each.name for each in bench.probes)
    steps = next_steps(amp, {}, model, names, bench.read([State()])[0], 1.0, Meter(), pair)
    # Cold, nothing but R4 lies from the cathode to ground.
    assert (steps[0].kind, steps[0].first, steps[0].second) == ("cold", "about 3 kohm", "about 1.5 kohm")


def test_nothing_is_asked_for_again(amp: Amp, bench: MeteredAmp, model: FaultModel) -> None:
    found = told(amp, bench, model, FAULTS["R9"])
    taken = {f"voltage {each.name}" for each in bench.probes}
    asked = {step.what for step in found.steps}
    assert "voltage across R10" in asked
    assert not taken & asked


# Reading files --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["165", "165 V", "165,0", "1.65e2", 165])
def test_volts_as_people_write_them(form: object, amp: Amp) -> None:
    assert parse_readings({"volts": {"V1A.plate": form}}, amp).volts == (("V1A.plate", 165.0),)


def test_a_toml_and_a_csv_file_say_the_same(amp: Amp, tmp_path: Path) -> None:
    toml, table = tmp_path / "volts.toml", tmp_path / "volts.csv"
    toml.write_text(
        'mains = "231"\nmains_drawn = "230 V"\nmeter = "1M"\naccuracy = "2 %"\n[volts]\n"V1A.plate" = "165,5 V"\n'
        '"across R16" = 1.25\n"V3.plate to B1" = -4\n',
        "utf-8",
    )
    table.write_text(
        "# at the bench\nplace;volts\nmains;231\nmains_drawn;230 V\nmeter;1M\naccuracy;2 %\n\nV1A.plate;165,5 V\n"
        "across  R16;1,25\nV3.plate to B1;-4\n",
        "utf-8",
    )
    first, second = read_readings(toml, amp), read_readings(table, amp)
    assert first.volts == second.volts == (("V1A.plate", 165.5), ("across R16", 1.25), ("V3.plate to B1", -4.0))
    assert (first.meter_ohms, first.accuracy) == (second.meter_ohms, second.accuracy) == (1e6, 0.02)
    assert first.supply == second.supply == pytest.approx(231 / 230)


@pytest.mark.parametrize(
    "data",
    [
        b"V1A.plate;165,5\nB1;310",
        b"V1A.plate,165.5\nB1,310",
        b'"V1A.plate","165,5"\r\n"B1", "310"\r\n',
        b"V1A.plate\t165,5 V\nB1\t310 V",
        b"V1A.plate | 165.5\nB1 | 310",
        b"V1A.plate 165,5\nB1 = 310 V",
        b"V1A.plate: 165.5 V\nB1: 310",
        "Stelle;Messwert [V]\r\nV1A.plate;165,5\r\nB1;310".encode("utf-16"),
        "Me\u00dfstelle;Spannung\nV1A.plate;165,5\nB1;310\nB2;\n".encode("cp1252"),
        b"place,drawing,measured,note\nV1A.plate,160,165.5,\nB1,320,310,sags\nB2,290,,\n",
        b"V1A.plate;165,500\nB1;310,000\n",
        b"% bench\n// again\nplace;drawing [V];V read\n\nV1A.plate;;165,5\nB1;320;310",
    ],
)
def test_tables_of_any_make_say_the_same(data: bytes, amp: Amp, tmp_path: Path) -> None:
    path = tmp_path / "volts.csv"
    path.write_bytes(data)
    assert read_readings(path, amp).volts == (("V1A.plate", 165.5), ("B1", 310.0))


def test_a_round_of_a_job_is_read_as_a_file_is(amp: Amp) -> None:
    volts = (("V1A.plate", 165.5), ("V3.cathode", 0.0), ("bias", -20.0))
    bare = recorded_readings(Measured("on arrival", date(2026, 5, 1), volts), amp)
    assert bare.volts == (("V1A.plate", 165.5), ("bias", -20.0))
    assert bare.grounded == ("V3.cathode",)
    assert (bare.meter_ohms, bare.supply, bare.source) == (10e6, 1.0, "voltages on arrival, 2026-05-01")
    whole = Measured("on arrival", date(2026, 5, 1), volts, 236.0, 1e6)
    alone, both = recorded_readings(whole, amp), recorded_readings(whole, amp, mains_drawn=230.0)
    assert (alone.supply, alone.supply_known) == (1.0, bare.supply_known)
    assert both.supply == pytest.approx(236 / 230)
    told = replace(whole, mains_drawn=230.0, at=(("gain", 0.3),))
    assert recorded_readings(told, amp) == both
    assert recorded_readings(replace(told, mains=None), amp).supply == 1.0
    assert both.supply_known < alone.supply_known
    assert both.meter_ohms == 1e6
    assert "is not told" in alone.about_supply


def test_a_model_of_another_meter_or_other_places_is_refused(amp: Amp, model: FaultModel) -> None:
    with pytest.raises(DescriptionError, match="meter"):
        weigh_readings(amp, parse_readings({"volts": {"B1": 310}, "meter": "1M"}, amp), {}, model)
    with pytest.raises(DescriptionError, match="not among"):
        weigh_readings(amp, parse_readings({"volts": {"V1A.plate to V1B.plate": 3}}, amp), {}, model)


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        ({"volts": {"V1A.plat": 165}}, "nearest: .*V1A.plate"),
        ({"volts": {"across R99": 1}}, "R99.*no part with two ends"),
        ({"volts": {"V3.cathode": 0}}, "only places on ground"),
        ({"volts": {"B1": 310, "V3.cathode": 3}}, "V3.cathode reads 3 V but lies on ground"),
        ({"volts": {"V1A.plate to R3.2": 0}}, "one piece of wire"),
        ({"volts": {"across R3": 165, "across  R3": 165}}, "read twice"),
        ({"volts": {"V1A.plate": "about 165"}}, "is not a voltage"),
        ({"volts": {"V1A.plate": 1e5}}, "outside"),
        ({"volts": {"V1A.plate": math.nan}}, "is not a voltage"),
        ({"volts": {}}, "0 readings"),
        ({}, "0 readings"),
        ({"volts": {"B1": 310}, "mains_drawn": 230}, "nothing without"),
        ({"volts": {"B1": 310}, "mains": 117, "mains_drawn": 230}, "within 30 %"),
        ({"volts": {"B1": 310}, "meter": "10"}, "outside"),
        ({"volts": {"B1": 310}, "meters": "10M"}, "not known.*meter"),
        ({"volts": {f"P{n}": 1 for n in range(201)}}, "201 readings"),
    ],
)
def test_what_cannot_be_is_refused_with_its_entry(tables: dict[str, object], words: str, amp: Amp) -> None:
    with pytest.raises(DescriptionError, match=words):
        parse_readings(tables, amp, "bench.toml")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("V1A.plate,165,5\n", "line 1.*semicolons"),
        ('V1A.plate,165.5\n"V1A.cathode","1,310"\n', "volts.*V1A.cathode.*'1,310' can be read as 1310 or as 1.31"),
        ("B1;310\nV1A.cathode;1,310\n", "V1A.cathode.*1310 or as 1.31"),
        ("B1;310,1\nV1A.cathode;1.310\n", "V1A.cathode.*'1.310' may part thousands.*write 1310 or 1,3100"),
        ("B1;３１０\nV1A.plate;165\n", "line 1: .* is not a number that is read; write 0 to 9"),
        ("B1;310\nV1A.plate;١٦٥\n", "line 2: .* is not a number that is read"),
        ("V1A.plate\n", "line 1.*not a place and a value"),
        ("B1;310\nB1;311\n", "line 2.*already"),
        ("place;one;other\nB1;310;311\n", "line 1: 3 columns.*measured"),
        ("B1;310;311\n", "line 1.*not a place and a value"),
        (";".join("B1" for _ in range(40)), "line 1: 40 columns"),
        ("B1;310\n" + "x" * 400, "line 2: 400 characters"),
        ("\n".join(f"P{n};1" for n in range(300)), "line 201: more than 200"),
    ],
)
def test_a_csv_file_is_refused_with_its_line(text: str, words: str, amp: Amp, tmp_path: Path) -> None:
    path = tmp_path / "volts.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(DescriptionError, match=words):
        read_readings(path, amp)


# Beside the test sheet, and as a picture ------------------------------------------------------------------------------


def test_the_test_sheet_stands_at_the_mains_measured() -> None:
    amp = load_amp("lesson-stage")
    rows = {row.place: row for row in proof_sheet(amp, {"B1": 306.0}, mains=234.6, mains_drawn=230.0, count=10).rows}
    assert rows["B1"].expected == pytest.approx(1.02 * 300.0, rel=1e-6)
    # What the supply's own regulation leaves open is in the limits: 6 % and the meter's 1 %.
    assert rows["B1"].high - rows["B1"].expected == pytest.approx(0.07 * 306.0 + 0.02, rel=1e-3)
    alone = proof_sheet(amp, {"B1": 330.0}, mains=234.6, count=10)
    assert alone.supply == pytest.approx(1.1, rel=1e-3)
    assert "those of the drawing are not told" in alone.text()
    for wrong in ({"mains": 20.0}, {"mains": 230.0, "mains_drawn": 117.0}, {"mains": math.nan}):
        with pytest.raises(DescriptionError, match="mains"):
            proof_sheet(amp, **wrong)


def test_the_picture_shows_every_reading_where_it_lies(amp: Amp, bench: MeteredAmp, model: FaultModel) -> None:
    table = told(amp, bench, model, FAULTS["R4"]).table
    picture = volts_picture(table, "on the bench")
    marks = {str(line.get_gid()): line for line in picture.findobj(Line2D) if line.get_gid()}
    out = (table["difference [V]"] / table["usual +/- [V]"]).clip(-6.0, 6.0)
    assert [float(marks[f"reading-{place}"].get_xdata()[0]) for place in range(len(table))] == pytest.approx(
        out.tolist()
    )
    assert (abs(out) == 6.0).any()
    texts = {text.get_text() for text in picture.findobj(Text)}
    assert {"V1A.cathode", "within"} <= texts
    words = describe_volts(table)
    assert all(f"{place}: measured" in words for place in table["place"])
    with pytest.raises(DescriptionError):
        volts_picture(table.iloc[:0], "nothing")


WORDS = st.one_of(
    st.text(max_size=30), st.integers(), st.floats(), st.booleans(), st.none(),
    st.sampled_from(["V1A.plate", "B1", "across R3", "1,2", "165 V", "V1A.plate to B1"]),
)  # fmt: skip
NAMES = st.one_of(st.text(max_size=30), st.sampled_from(["V1A.plate", "B1", "across R3", "V3.plate to B1"]))


ENTRIES = st.sampled_from(["volts", "mains", "mains_drawn", "meter", "digit", "x"])


@given(st.dictionaries(ENTRIES, WORDS | st.dictionaries(NAMES, WORDS, max_size=4), max_size=5))
@settings(max_examples=150)
def test_any_table_is_read_or_refused(amp: Amp, tables: dict[str, object]) -> None:
    try:
        found = parse_readings(tables, amp)
    except DescriptionError as refused:
        problem: DescriptionError = refused
    else:
        assert all(math.isfinite(volts) for _, volts in found.volts)
        return
    assert str(problem).isprintable()


@given(st.binary(max_size=200) | st.text(alphabet='B1;,.\t"\n#|=: V2A plate0', max_size=80).map(str.encode))
@settings(max_examples=150)
def test_any_bytes_are_read_or_refused(amp: Amp, tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(data)
    try:
        read_readings(path, amp)
    except DescriptionError as refused:
        problem: DescriptionError = refused
    else:
        return
    assert str(problem).isprintable()
