"""What the plan says of work that went wrong is what an amp wired wrong reads: cold, under power, and at the bias."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim import apply_mods, load_amp, load_mod, parse_mod
from ampsim.base.quantities import OHM, parse_value
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import circuit_at
from ampsim.circuit.output_stage import output_valves
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.response import simulate
from ampsim.simulation.unpowered import dead_amp
from ampsim.work.steps.bias import bias_steps
from ampsim.work.steps.cold_readings import knobs_down
from ampsim.work.steps.cold_signs import lugs_beside
from ampsim.work.steps.first_power import power_steps
from ampsim.work.steps.soldering import iron_steps
from ampsim.work.steps.step import Step
from ampsim.work.wiring.readback import wiring

STOCK = load_amp("workshop-a")
Edits = list[dict[str, Any]]


def modded(edits: Edits, stock: Amp = STOCK, **more: Any) -> Amp:
    return apply_mods(stock, parse_mod({"name": "trial", "reason": "A trial.", "edits": edits} | more))


def ohms_of(words: str) -> float:
    known = {"open": math.inf, "0 ohm": 0.0}
    return known[words] if words in known else parse_value(words, OHM)


def told(steps: list[Step], words: str) -> dict[str, tuple[str, float]]:
    """To each slip of a step its place and what is read there [ohm]."""
    step = next(each for each in steps if words in each.do)
    found = {}
    for sentence in step.wrong:
        match = re.fullmatch(r"(.*?): (\S+ to \S+) reads (.*)\.", sentence)
        assert match is not None, sentence
        found[match[1]] = (match[2], ohms_of(match[3]))
    return found


# Cold -----------------------------------------------------------------------------------------------------------------


PLACES = [("P1.top", "P1.bottom"), ("P1.wiper", "ground"), ("V1B.cathode", "ground"), ("V2A.plate", "V2A.grid"),
          ("R7.1", "R7.2"), ("P2.top", "V1A.cathode")]  # fmt: skip


@settings(max_examples=15)
@given(place=st.sampled_from(PLACES), value=st.sampled_from(["1k", "10k", "68k", "470k"]))
def test_every_slip_with_a_resistor_reads_as_an_amp_that_was_wired_so(place: tuple[str, str], value: str) -> None:
    def wired(first: str, second: str, ohms: float) -> Amp:
        return modded([{"fit": "R161", "between": [first, second]}], parts={"R161": ohms})

    ohms = parse_value(value, OHM)
    right = wired(*place, ohms)
    leads = {wire.end: wire.start for wire in wiring(right).wires}
    for slip, (what, read) in told(list(iron_steps(STOCK, right)), "Fit R161").items():
        away = re.fullmatch(r"R161 at (\S+) instead of (\S+)", slip)
        if away is not None:
            pin = int(leads[away[2]][-1]) - 1
            amp = wired(*(away[1] if number == pin else each for number, each in enumerate(place)), ohms)
        elif "value" in slip:
            amp = wired(*place, ohms * (10.0 if "ten times" in slip else 0.1))
        else:
            amp = STOCK if "missing" in slip else modded([{"bridge": list(place)}])
            what = what.replace("R161.1", place[0]).replace("R161.2", place[1])
        there = dead_amp(amp, knobs_down(amp)).ohms(*what.split(" to "))
        assert there == pytest.approx(read, rel=6e-3, abs=0.2), slip


def test_slips_to_the_next_lug_are_told_where_they_show() -> None:
    right = modded([{"fit": "R161", "between": ["P1.top", "ground"]}], parts={"R161": "100k"})
    assert "R161 at P1.wiper instead of P1.top" in told(list(iron_steps(STOCK, right)), "Fit R161")


@pytest.mark.parametrize(
    ("place", "beside"),
    [
        ("P1.wiper", {"P1.top", "P1.bottom"}),
        ("P1.top", {"P1.wiper"}),
        ("V1A.grid", {"V1A.plate", "V1A.cathode"}),
        ("V1B.plate", {"V1B.grid"}),
        ("R4.1", set()),
    ],
)
def test_lugs_beside_follow_track_and_base(place: str, beside: set[str]) -> None:
    assert beside <= set(lugs_beside(STOCK, place)) <= beside | {"V1A.heater middle", "V1B.heater middle"}


def test_a_switch_that_does_not_move_reads_as_its_other_positions() -> None:
    amp = apply_mods(STOCK, load_mod("cathode-switch"))
    known = {step.do: step.wrong for step in iron_steps(STOCK, amp) if step.do.startswith("Set ")}
    switch = amp.all_switches[0]
    found = 0
    for label in switch.labels:
        for sentence in known[f"Set {switch.control} to {label} and read, cold."]:
            match = re.fullmatch(r"Contacts as in (.*): one .* exchanged: (\S+) to (\S+) reads (.*)\.", sentence)
            assert match is not None, sentence
            there = dead_amp(amp, knobs_down(amp) | {switch.control: match[1]}).ohms(match[2], match[3])
            assert ohms_of(match[4]) == pytest.approx(there, rel=6e-3, abs=0.2)
            assert match[1] != label
            found += 1
    assert found >= 2


# Under power ----------------------------------------------------------------------------------------------------------


def test_volts_of_a_fault_are_what_a_meter_shows_in_an_amp_that_has_it() -> None:
    """A meter of 10 Mohm: what is cut off stands where that little current leaves it, not where none would."""
    right = [{"replace": "R3", "with": "150k"}, {"replace": "R7", "with": "1k2"}, {"fit": "C161", "across": "R7"}]
    parts = {"C161": "22u"}
    steps = list(power_steps(STOCK, modded(right, parts=parts), {}))
    signs = {words.partition(": ")[0]: words for step in steps for words in step.wrong}
    plate, cathode, bypass = right
    faulty: dict[str, Edits] = {
        "R3 open or its joint dry": [cathode, bypass, {"replace": "R3", "with": 1e10}],
        "R7 open or its joint dry": [plate, {"replace": "R7", "with": 1e10}, bypass],
        "R3 is shorted": [cathode, bypass, {"bridge": "R3"}],
        "C161 shorted, as one the wrong way round soon is": [plate, {"bridge": "R7"}],
    }
    sure = ["R3", "R7"]
    for name, edits in faulty.items():
        shown = re.findall(r"(\S+) (-?[\d.e+-]+) V instead", signs[name])
        for place, volts in shown:
            meter = {"fit": "R162", "between": [place, "ground"]}
            fitted = {"R162": "10M"} | (parts if bypass in edits else {})
            amp = modded([*edits, meter], parts=fitted, sure=sure)
            there = float(simulate(amp, OperatingPoint(), nodes=[place])["voltage"].values[0, 0, 0])
            assert float(volts) == pytest.approx(there, rel=0.02, abs=0.3), (name, place)
        assert shown
    assert any("does not conduct" in name for name in signs)


def test_a_fault_names_no_piece_of_wire_twice() -> None:
    amp = load_amp("glasshouse")
    (step,) = bias_steps(amp, {})
    net = circuit_at(amp, {}).net_by_place
    named = [re.findall(r"(\S+) -?[\d.e+-]+ V instead", words) for words in step.wrong]
    assert any(named)
    assert all(len({net[place] for place in places}) == len(places) for places in named)


def test_half_the_mains_asks_for_volts_between_warm_and_cold() -> None:
    step = next(each for each in power_steps(STOCK, modded([{"replace": "R3", "with": "150k"}]), {})
                if "half the mains" in each.do)  # fmt: skip
    half = {check.place: check for check in step.checks}
    source = next(rail for rail in STOCK.rails if rail.volts is not None)
    assert half[source.name].value == pytest.approx(0.5 * (source.volts or 0.0), rel=0.02)
    assert all(check.low < check.value < check.high for check in step.checks)


# Bias -----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["ballroom", "kitchen", "workshop-a", "glasshouse"])
def test_the_bias_step_says_the_current_that_its_drop_makes(name: str) -> None:
    amp = load_amp(name)
    (step,) = bias_steps(amp, {})
    wired = circuit_at(amp, {})
    (transformer,) = (each.designator for each in wired.elements if each.designator == "T1")
    ohms = getattr(wired.parts[transformer], "primary_resistance", 0.0)
    valves = output_valves(wired)
    halves = (sum(each.kind == "transformer" and "centre" in dict(each.pins) for each in wired.elements) and 0.5) or 1.0
    on_each = len(valves) / (2 if halves == 0.5 else 1)
    for valve in valves:
        milliamps = float(re.search(rf"{valve}: ([\d.]+) mA", " ".join(step.how))[1])  # type: ignore[index]
        drop = [check.value for check in step.checks if check.against == f"{valve}.plate"]
        assert len(drop) == (ohms > 0.0)
        for volts in drop:
            assert volts == pytest.approx(1e-3 * milliamps * on_each * halves * ohms, rel=0.02)


def test_the_knob_that_sets_the_bias_is_found_by_what_it_moves() -> None:
    assert "What sets it: bias;" in next(bias_steps(load_amp("ballroom"), {})).do
    assert "sets it" not in next(bias_steps(load_amp("workshop-a"), {})).do
    assert list(bias_steps(load_amp("lesson-stage"), {})) == []
