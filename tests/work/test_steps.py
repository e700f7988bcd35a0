"""Work steps: the safe order, cold readings that catch mistakes and pass good work, volts, and the way back."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from ampsim import DescriptionError, apply_mods, load_amp, load_mod, parse_mod
from ampsim.circuit.amp import Amp, Part
from ampsim.circuit.mods import diff
from ampsim.library.files import models
from ampsim.simulation.unpowered import DeadAmp, dead_amp
from ampsim.work.cautions.sheet import caution_sheet
from ampsim.work.steps.bias import bias_steps
from ampsim.work.steps.checks import PART_LIMITS, Check, ground_checks
from ampsim.work.steps.cold_readings import knobs_down
from ampsim.work.steps.making_safe import safety_steps
from ampsim.work.steps.step import Step
from ampsim.work.steps.work_plan import WorkPlan, work_steps
from ampsim.work.steps.working_order import partly_modded, working_order
from ampsim.work.wiring.readback import wiring

PHASES = ["make safe", "open and discharge", "photograph", "before the iron", "remove", "prepare", "drill", "fit",
          "wire", "cold check", "first power", "bias", "proof", "close"]  # fmt: skip
MODS = ("cathode-switch", "depth", "larger-plate-load", "partial-bypass")


def modded(edits: list[dict[str, object]], **more: object) -> Amp:
    return apply_mods(load_amp("workshop-a"), parse_mod({"name": "trial", "reason": "A trial.", "edits": edits} | more))


@lru_cache(maxsize=1)
def amp() -> Amp:
    return apply_mods(load_amp("workshop-a"), *map(load_mod, MODS))


@lru_cache(maxsize=1)
def plan() -> WorkPlan:
    return work_steps(load_amp("workshop-a"), amp())


def phases(steps: tuple[Step, ...]) -> list[str]:
    return list(dict.fromkeys(step.phase for step in steps))


def cold(steps: tuple[Step, ...], *wanted: str) -> Iterator[Check]:
    for step in steps:
        if step.phase in wanted and "fully up" not in step.do:
            yield from (check for check in step.checks if check.unit == "ohm" and check.place)


def fails(steps: tuple[Step, ...], real: Amp) -> list[str]:
    """What the last cold readings say of an amp as it was really built."""
    dead = dead_amp(real, knobs_down(real))
    return [c.what for c in cold(steps, "cold check") if not c.passes(dead.ohms(c.place, c.against))]


# Order ----------------------------------------------------------------------------------------------------------------


def test_phases_come_in_the_safe_order() -> None:
    assert phases(plan().steps) == PHASES
    order = [PHASES.index(step.phase) for step in plan().steps]
    assert order == sorted(order)


def test_the_plug_is_out_and_the_meter_has_read_before_the_iron() -> None:
    words = [step.do for step in plan().steps]
    plug, empty = (next(i for i, each in enumerate(words) if text in each) for text in ("mains plug", "Discharge C50"))
    assert plug < empty < next(i for i, step in enumerate(plan().steps) if step.phase == "before the iron")
    verified = plan().steps[empty + 1]
    assert [each.what for each in verified.checks] == ["across C50", "across C51", "across C52", "across C53"]
    assert not verified.checks[0].passes(12.0)
    assert verified.checks[0].passes(0.3)


def test_undoing_starts_and_ends_the_same_way() -> None:
    found = phases(plan().undo)
    assert found[0] == "make safe"
    assert found == sorted(found, key=PHASES.index)
    assert found[-5:] == ["cold check", "first power", "bias", "proof", "close"]


def test_a_supply_without_reservoir_is_discharged_too() -> None:
    stock = load_amp("lesson-stage")
    found = work_steps(stock, apply_mods(stock, parse_mod(
        {"name": "trial", "reason": "A trial.", "edits": [{"fit": "C160", "across": _cathode(stock)}],
         "parts": {"C160": "22u"}})))  # fmt: skip
    assert any(check.what == "rail B1 to chassis" for step in found.steps for check in step.checks)


def _cathode(stock: Amp) -> str:
    roles = dict(next(stage.roles for stage in stock.stages if stage.template == "triode stage"))
    return str(roles["cathode_resistor"])


@pytest.mark.parametrize("name", ["ballroom", "boathouse"])
def test_the_lead_stays_on_what_holds_most(name: str) -> None:
    """It is left on the first that is named: on a coupling capacitor it would keep no reservoir empty."""
    stock = load_amp(name)
    sheet = caution_sheet(stock)
    (step,) = (each for each in safety_steps(stock, sheet) if "leave the lead on the first" in each.do)
    first = step.do.removeprefix("Discharge ").partition(",")[0]
    assert first == max(sheet.charges, key=lambda each: max(each.joules)).part


def test_a_bias_pot_turned_down_for_the_cold_readings_is_turned_back_before_power() -> None:
    """Fully down, the ballroom amp draws 77 mA in each output valve instead of 38 mA, beyond what its plates stand."""
    stock = load_amp("ballroom")
    fitted = apply_mods(stock, parse_mod({"name": "n", "reason": "r", "edits": [{"replace": "R4", "with": "1k8"}]}))
    said = [(step.phase, step.do) for step in work_steps(stock, fitted).steps]
    lamp = next(do for phase, do in said if phase == "first power")
    assert "bias at 5 again" in lamp
    assert "again" not in next(step.do for step in plan().steps if step.phase == "first power")


@pytest.mark.parametrize(
    ("stage", "told"),
    [
        ("push-pull-output.quad", ["(V4 and V5 together, V6 and V7 together)", "in it (V4, V5, V6 and V7 together)"]),
        ("push-pull-output", ["part of the primary", "its cathode resistor", "in it (V4 and V5 together)"]),
        ("single-ended-output", ["part of the primary", "its cathode resistor"]),
    ],
)
def test_currents_that_are_read_together_are_said_to_be(stage: str, told: list[str]) -> None:
    """A current read over what valves share is the sum of theirs, and no single valve's."""
    (step,) = bias_steps(load_amp(models() / "stages" / f"{stage}.toml"), {})
    assert all(each in step.how[0] for each in told), step.how[0]
    assert step.how[0].count("together") == sum(each.count("together") for each in told)


def test_a_valve_goes_into_its_socket_without_an_iron_unless_its_pins_are_others() -> None:
    stock = load_amp("ballroom")
    edits = [
        {"replace": "V1", "with": "12AY7"},
        {"replace": "V3", "with": "6DJ8"},
        {"fit": "R950", "in_series_at": "V5.grid"},
    ]
    mod = parse_mod({"name": "n", "reason": "r", "edits": edits, "parts": {"R950": "1k"}})
    said = {step.do.partition(" (")[0]: step for step in work_steps(stock, apply_mods(stock, mod)).steps}
    assert said["Fit V1"].tool == "none"
    assert "pushed straight down" in said["Fit V1"].how[-1]
    assert "The pins are the same" in said["Fit V1"].do
    assert "soldering iron" in said["Fit V3"].tool
    assert "is wired anew" in said["Fit V3"].do
    (off,) = (step for step in said.values() if step.do.startswith("Take the wire off V5.grid"))
    assert "lug of the socket" in " ".join(off.how)
    assert "pulled" not in " ".join(off.how)  # the valve's socket loses a wire, the valve stays what it is
    plain = replace(stock, mounting=())
    steps = work_steps(plain, apply_mods(plain, mod)).steps
    (out,) = (step for step in steps if step.do.startswith("Take out V1 "))
    assert "Nearly all valves are in a socket" in out.how[0]
    assert "iron" not in out.tool


def test_another_bias_is_measured_at_first_power_before_the_output_valves_are_in() -> None:
    """Nothing is measured under power while the chassis is still at the iron; on the way back neither."""
    stock = load_amp("boathouse")
    edits = [{"rail": "bias", "volts": -40}, {"rail": "B1", "volts": 410}]
    found = work_steps(stock, apply_mods(stock, parse_mod({"name": "n", "reason": "r", "edits": edits})))
    for steps, volts in ((found.steps, -40.0), (found.undo, -36.0)):
        assert not any("measure it" in step.do or "output valves out" in step.do.lower()
                       for step in steps if step.phase in ("fit", "wire"))  # fmt: skip
        powered = [step for step in steps if step.phase == "first power"]
        (alone,) = (number for number, step in enumerate(powered) if "With the output valves out" in step.do)
        assert [(check.what, check.value) for check in powered[alone].checks] == [("bias to ground", volts)]
        assert alone < next(number for number, step in enumerate(powered) if "Switch on" in step.do)


def test_nothing_to_do_is_refused() -> None:
    stock = load_amp("workshop-a")
    with pytest.raises(DescriptionError, match="nothing to do"):
        work_steps(stock, stock)
    with pytest.raises(DescriptionError, match="same drawing"):
        work_steps(load_amp("workshop-b"), amp())


def test_every_change_has_its_step_and_its_way_back() -> None:
    said = "\n".join(step.do for step in plan().steps)
    back = "\n".join(step.do for step in plan().undo)
    for change in diff(load_amp("workshop-a"), amp()):
        part = change.after.split()[0] if change.before == "-" else change.place
        assert part in said
        assert change.when != "always" or part in back
    assert "S102" in said
    assert "S102" in back
    assert "fit R3 (100k) again" in back


def test_edits_that_lean_on_new_parts_come_after_them() -> None:
    names = [each.edit.part for each in working_order([load_mod("partial-bypass"), load_mod("depth")])]
    assert names.index("C108") < names.index("R108")
    assert names.index("P104") < names.index("C104")


def test_all_edits_done_is_the_modded_amp_without_switches() -> None:
    stock = load_amp("workshop-a")
    depth = apply_mods(stock, load_mod("depth"))
    assert partly_modded(stock, depth, working_order(depth.mods)).mods == depth.mods
    assert partly_modded(stock, depth, []).mods[0].edits == ()


# Cold readings --------------------------------------------------------------------------------------------------------


def test_cold_readings_by_hand() -> None:
    found = {check.what: check for check in cold(plan().steps, "wire")}
    assert found["R102.1 to ground"].value == pytest.approx(8.2e3 * 6.8e3 / 15e3, rel=1e-3)
    assert found["R103.1 to ground"].value == pytest.approx(8.2e3 * 2.7e3 / 10.9e3, rel=1e-3)
    before = {check.what: check for check in cold(plan().steps, "before the iron")}
    assert math.isinf(before["B1 to ground"].value)
    assert not before["B1 to ground"].passes(47.0)


def test_supplies_of_which_only_the_volts_are_known_are_not_read_cold() -> None:
    stock = load_amp("workshop-b")
    dead = dead_amp(stock, knobs_down(stock))
    assert dead.wired.net("V3.grid") in dead.unsure
    assert dead.wired.net("B1") not in dead.unsure
    grid = parse_mod({"name": "trial", "reason": "A trial.", "edits": [{"replace": "R12", "with": "100k"}]})
    read = {
        check.place for check in cold(work_steps(stock, apply_mods(stock, grid)).steps, "cold check", "before the iron")
    }
    assert "bias" not in read
    assert "B1" in read


def test_rails_behind_a_rectifier_valve_are_read_cold() -> None:
    """It conducts only when it is hot: what a meter reads to ground is known, and a short of the supply shows."""
    for name, ohms in (("kitchen", math.inf), ("ballroom", math.inf)):
        dead = dead_amp(load_amp(name))
        assert dead.ohms("B1") == ohms
        assert dead.wired.net("B1") not in dead.unsure
        assert dead.wired.net("B2") not in dead.unsure


def test_rails_behind_diodes_are_read_with_the_plus_where_they_block() -> None:
    """So a short of a supply without a rectifier valve shows too; of the bias supply 33k and half of 25k are read."""
    amp = load_amp(models() / "stages" / "bias-supply.toml")
    dead = dead_amp(amp)
    found = {check.what: check.value for check in ground_checks(dead, [rail.name for rail in amp.rails])}
    assert found == {
        "B1 to ground (plus on B1)": math.inf,
        "B2 to ground (plus on B2)": math.inf,
        "bias to ground (plus on ground)": pytest.approx(45.5e3),
    }
    before_diodes = {dead.wired.net(place) for place in ("PT1.ht_a", "PT1.ht_b", "PT1.bias_a", "D1.cathode")}
    assert not before_diodes & dead.behind_diodes.keys()
    assert not dead_amp(load_amp("switchyard")).behind_diodes  # its rails reach amplifiers that a meter may turn on


def test_the_amp_itself_passes_before_and_after() -> None:
    assert fails(plan().steps, amp()) == []
    assert fails(plan().undo, load_amp("workshop-a")) == []


def scattered(real: Amp, generator: np.random.Generator) -> DeadAmp:
    """A dead amp whose parts lie anywhere within their limits."""
    dead = dead_amp(real, knobs_down(real))
    shares = {
        name: 1.0 + generator.choice([-1.0, 1.0, generator.uniform(-1.0, 1.0)]) * PART_LIMITS.get(part.kind, 0.25)
        for name, part in dead.wired.parts.items()
    }
    paths = tuple((name, (one, two, ohm * shares[name])) for name, (one, two, ohm) in dead.paths)
    return DeadAmp(dead.wired, paths)


def test_good_parts_never_fail_a_cold_reading() -> None:
    generator = np.random.default_rng(7)
    checks = list(cold(plan().steps, "cold check"))
    finite = [check for check in checks if math.isfinite(check.value)]
    assert len(finite) >= 3
    for _ in range(40):
        dead = scattered(amp(), generator)
        assert all(check.passes(dead.ohms(check.place, check.against)) for check in checks)


MISTAKES = {
    "a bypass resistor in place of its neighbour": [{"fit": "R160", "across": "R7"}],
    "the decimal point of a value": [{"replace": "R7", "with": "820"}],
    "a rail bridged to ground": [{"bridge": ["B2", "ground"]}],
    "a cathode left open": [{"lift": "R11"}],
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_mistakes_are_caught_cold(mistake: str) -> None:
    parts = {"R160": "2k7"} if "R160" in str(MISTAKES[mistake]) else {}
    asked = [{"replace": name, "with": value} for name, value in (("R10", "120k"), ("R5", "68k"))]
    asked += [{"fit": "C161", "across": "R11"}, {"fit": "C162", "across": "R7"}, {"fit": "C163", "across": "R20"}]
    new = {"C161": "1u", "C162": "1u", "C163": "1n"}
    right = modded(asked, parts=new)
    slip = parse_mod({"name": "slip", "reason": "A mistake.", "edits": MISTAKES[mistake], "parts": parts})
    found = work_steps(load_amp("workshop-a"), right).steps
    assert fails(found, right) == []
    assert fails(found, apply_mods(right, slip)) != []


def test_a_part_that_no_reading_in_circuit_would_miss_is_buzzed() -> None:
    """Beside 4k7 to ground through the winding, 68k hardly shows; a plate load shows, a capacitor never does."""
    found = work_steps(load_amp("workshop-a"), modded(
        [{"replace": "R20", "with": "150k"}, {"replace": "R3", "with": "150k"}, {"fit": "C160", "across": "R11"}],
        parts={"C160": "1u"})).steps  # fmt: skip
    buzzed = {name: "buzz each joint" in step.do for step in found for name in ("R20", "R3 (150k)", "C160")
              if step.phase == "fit" and f"Fit {name}" in step.do}  # fmt: skip
    assert buzzed == {"R20": True, "R3 (150k)": False, "C160": True}


def test_a_part_is_read_before_it_goes_in_and_after_it_came_out() -> None:
    loose = [check for step in plan().steps for check in step.checks if "loose" in check.what]
    assert any(check.what.startswith("R3, taken out,") and check.passes(104e3) for check in loose)
    (new,) = [check for check in loose if check.what.startswith("R3 (150k)")]
    assert not new.passes(22e3)
    assert new.passes(146e3)
    assert new.words == "R3 (150k) loose: 150 kohm (135 kohm to 165 kohm)"


def test_a_new_knob_is_read_at_both_ends() -> None:
    (up,) = [step for step in plan().steps if "Turn depth fully up" in step.do]
    across = up.checks[0]
    feedback = 68e3 + 4.7e3  # R20 and R21 lie across the track through ground and the winding
    assert across.value == pytest.approx(500e3 * feedback / (500e3 + feedback), rel=0.02)


def test_electrolytics_say_which_end_is_plus() -> None:
    words = next(step.do for step in plan().steps if step.do.startswith("Wire S102"))
    assert "Plus to C103.1 (at V1B.cathode)" in words


# Power ----------------------------------------------------------------------------------------------------------------


def test_power_comes_on_a_limiter_first_with_the_load_on() -> None:
    power = [step for step in plan().steps if step.phase == "first power"]
    assert "Load on the output" in power[0].do
    assert "current limiter" in power[0].do
    assert "switch off at once" in power[1].do
    assert [bool(step.checks) for step in power[:5]] == [False, True, True, False, True]
    assert "half the mains" in power[2].do
    assert "while dead" in power[4].do


def test_volts_that_the_work_moves_come_before_those_it_should_not() -> None:
    power = [step for step in plan().steps if step.phase == "first power"]
    moved = next(step for step in power if "moves by more than 5 %" in step.do)
    still = next(step for step in power if "leave as they were" in step.do)
    assert {check.place for check in moved.checks} >= {"V1A.plate", "V1A.cathode"}
    assert "V4.cathode" in {check.place for check in still.checks}
    for check in (*moved.checks, *still.checks):
        assert check.unit == "V"
        assert check.low < check.value < check.high
        assert check.passes(0.9 * check.value)
        assert not check.passes(1.3 * check.value)


def test_switch_positions_that_move_volts_are_read_too() -> None:
    step = next(each for each in plan().steps if each.do.startswith("Set cathode to 6k8 while dead"))
    assert {check.place for check in step.checks} == {"V1B.plate", "V1B.cathode"}


def test_negative_rails_have_their_limits_the_right_way_round() -> None:
    stock = load_amp("workshop-b")
    steps = work_steps(stock, apply_mods(stock, load_mod("feedback-with-presence"))).steps
    lamp, half, whole = (
        check for step in steps for check in step.checks if check.place == "bias" and check.unit == "V"
    )
    assert whole.low < -20.0 < whole.high
    assert half.low < -10.0 < half.high
    assert whole.low < lamp.high < half.high < 0.0


def test_lifted_bridged_and_swapped_parts_are_told_apart() -> None:
    edits: list[dict[str, object]] = [{"lift": "C4"}, {"bridge": "R8"}, {"replace": "V1A", "with": "12AY7"}]
    found = work_steps(load_amp("workshop-a"), modded(edits))
    said, back = ("\n".join(step.do for step in steps) for steps in (found.steps, found.undo))
    for words in (
        "Take out C4 (220p)",
        "Bridge R8.1 and R8.2 with wire; R8 stays",
        "Take out V1A (12AX7)",
        "Fit V1A (12AY7) where V1A was",
    ):
        assert words in said
    for words in ("Fit C4 (220p) again", "Take out the bridge at R8.1 - R8.2; R8 stays", "fit V1A (12AX7) again"):
        assert words in back


def test_a_switch_that_takes_parts_off_gives_them_back() -> None:
    positions = {"stock": [], "hot": [{"replace": "R16", "with": "470k"}, {"fit": "R161", "in_series_at": "R5.1"}]}
    switch = {"designator": "S160", "control": "trial", "drawn": "stock", "positions": positions}
    back = "\n".join(step.do for step in work_steps(load_amp("workshop-a"), modded(
        [], parts={"R161": "1M"}, switches=[switch])).undo)  # fmt: skip
    assert "Solder R16 back" in back
    assert "Put the wire back on R5.1" in back


def test_the_old_pot_comes_out_for_one_with_a_switch_on_its_shaft() -> None:
    positions = {"in": [], "out": [{"fit": "C161", "between": ["P1.top", "P1.wiper"]}]}
    switch = {"designator": "S160", "control": "pull", "drawn": "in", "positions": positions, "shaft": "P1"}
    found = work_steps(load_amp("workshop-a"), modded([], parts={"C161": "120p"}, switches=[switch]))
    said, back = ("\n".join(step.do for step in steps) for steps in (found.steps, found.undo))
    out = said.index("Take out P1 (1M audio 15 %), each wire on it marked by its lug")
    into = said.index("Fit P1 (1M audio 15 %, with push-pull switch S160 on its shaft) where P1 was")
    assert out < into < said.index("Wire S160: pole A")
    assert "Fit S160" not in said
    assert back.index("on the switch of P1") < back.index("fit P1 (1M audio 15 %) again")


def test_readings_are_taken_at_the_part_that_the_switch_has_put_in() -> None:
    """R7 itself hangs on an open contact then: a meter across it would read its own value, not the one expected."""
    for drawn in ("drawn", "warm"):
        positions = {
            "warm": [{"replace": "R7", "with": "3k9"}],
            "drawn": [],
            "cold": [{"replace": "R7", "with": "12k"}],
        }
        switch = {"designator": "S160", "control": "voice", "drawn": drawn, "positions": positions}
        fitted = modded([], switches=[switch])
        found = work_steps(load_amp("workshop-a"), fitted)
        said = {step.do: [check.what for check in step.checks] for step in found.steps}
        names = {part.value: name for name, part in wiring(fitted).parts.items() if name.startswith("R7")}
        assert names[8.2e3] == "R7"
        for label, value in (("warm", 3.9e3), ("drawn", 8.2e3), ("cold", 12e3)):
            read = said[f"Set voice to {label} and read, cold."]
            assert f"{names[value]}.1 to ground" in read
        loose = [what for whats in said.values() for what in whats if "loose" in what]
        assert sorted(loose) == sorted(
            f"{names[value]} ({text}) loose" for value, text in ((3.9e3, "3k9"), (12e3, "12k"))
        )


def test_steps_name_the_lugs_of_the_from_to_list() -> None:
    parts = {"C161": "1n", "P161": {"track": "100k", "taper": "linear", "control": "less", "rotation": 0.5}}
    edits: list[dict[str, object]] = [
        {"fit": "C161", "between": ["V2A.plate", "ground"]}, {"fit": "P161", "in_series_at": "R20.1"},
    ]  # fmt: skip
    said = "\n".join(step.do for step in work_steps(load_amp("workshop-a"), modded(edits, parts=parts)).steps)
    assert "C161.1 to V2A.plate, C161.2 to R11.2" in said
    assert "P161.wiper and top strapped" in said
    assert "P161.bottom to R20.1" in said
    assert "P161.wiper to T1.tap8" in said


# Text and table -------------------------------------------------------------------------------------------------------


def test_text_and_table_hold_every_check() -> None:
    text = plan().text()
    checks = [check for step in plan().steps for check in step.checks]
    assert len(plan().table) == len(checks)
    assert text.count("[ ]") == len(checks) + sum(len(step.checks) for step in plan().undo)
    for words in ("MAKE SAFE", "How to undo it", "lethal voltages", "no source", "licensed practice"):
        assert words in text


def test_signs_of_other_files_do_not_break_lines() -> None:
    shown = replace(plan(), amp="a\nb\x1b[31m", steps=(Step("fit", "one\ntwo"),), undo=()).text()
    assert "\x1b" not in shown
    assert "one two" in shown


def test_values_of_parts_stay_what_the_amp_says() -> None:
    part = amp().part_by_designator["R7"]
    assert isinstance(part, Part)
    assert part.value == 8.2e3


@pytest.mark.parametrize("wished", [False, True])
def test_the_proof_asks_for_no_pop_only_where_it_was_wished(wished: bool) -> None:
    stock = load_amp("workshop-a")
    modded = apply_mods(stock, load_mod("cathode-switch"))
    said = "\n".join(step.do for step in work_steps(stock, modded, quiet_switches=wished).steps)
    assert ("no switch pops" in said) == wished
    assert ("may pop" in said) != wished
    plain = "\n".join(step.do for step in work_steps(stock, apply_mods(stock, load_mod("smaller-coupling"))).steps)
    assert "pop" not in plain


def test_the_coil_of_a_relay_is_read_and_its_contacts_are_no_leads_of_it() -> None:
    """Its netlist name begins with that of a resistor: cold readings, faults under power and the list know it."""
    coil = {"resistance": "100k", "volts": 200, "between": ["B4", "ground"], "driver": "S160"}
    positions = {"at rest": [], "pulled in": [{"lift": "C1"}]}
    switch = {"designator": "K160", "control": "lead", "type": "relay", "coil": coil, "positions": positions}
    stock, fitted = load_amp("workshop-a"), modded([], switches=[switch])
    dead = dead_amp(fitted, knobs_down(fitted) | {"lead": "pulled in"})
    assert dead.ohms("K160.1", "K160.2") == pytest.approx(100e3)  # nothing else leads from that rail to ground
    found = work_steps(stock, fitted)
    (moved,) = (step for step in found.steps if step.do.startswith("Set lead to pulled in while dead"))
    assert any(words.startswith("K160 open") for words in moved.wrong)
    leads = {(wire.start, wire.end) for wire in wiring(fitted).wires if wire.what == "lead of K160"}
    assert {start for start, _ in leads} == {"K160.1", "K160.2"}
    resting, coil, held = (step for step in found.steps if step.phase == "wire" and step.do.endswith("cold."))
    assert resting.do == "Set lead to at rest and read, cold."
    assert "without power K160 stays at rest" in coil.do
    assert [check.value for check in coil.checks] == [pytest.approx(100e3)]
    assert held.do.startswith("Set lead to at rest again, pull K160 in with 200 V from a supply of its own")
    assert held.checks
    assert not any("K160" in check.what for check in held.checks)  # its own supply lies across it
    assert any("Take out switch K160 and S160 " in step.do for step in found.undo)


def test_a_relay_that_is_drawn_pulled_in_has_let_go_where_an_amp_is_read_cold() -> None:
    """A resistor that its contacts lay beside another is not there without power, whatever the lever says."""
    coil = {"resistance": "100k", "volts": 200, "between": ["B4", "ground"], "driver": "S160"}
    positions = {"let go": [], "pulled in": [{"fit": "R160", "across": "R4"}]}
    switch = {"designator": "K160", "control": "lead", "type": "relay", "coil": coil, "positions": positions}
    fitted = modded([], switches=[switch | {"drawn": "pulled in"}], parts={"R160": "1k5"})
    (step,) = (
        step for step in work_steps(load_amp("workshop-a"), fitted).steps if step.do.startswith("All knobs down")
    )
    assert "switches as drawn, lead at let go (without power a relay lets go)" in step.do
    alone = amp().part_by_designator["R4"]
    assert isinstance(alone, Part)
    assert any(check.value == pytest.approx(alone.value) for check in step.checks)
