"""Valve stages and phase inverters beyond the usual ones, each alone, against its closed form."""

import numpy as np
import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.valves.evaluation import currents
from tests.tools.stage_alone import alone, gain, resting, resting_volts, stage, valve_of


def test_grid_leak_bias_is_what_the_grid_current_drops_in_the_leak():
    parts = {"V1": "12AX7", "C1": "100n", "R1": "10M", "R2": "100k"}
    roles = {"valve": "V1", "supply": "B1", "coupling": "C1", "grid_leak": "R1", "plate_load": "R2"}
    amp = alone(parts, stage("grid-leak stage", **roles))
    plate, grid = resting_volts(amp, "V1", "plate", "grid")
    drawn = float(currents(valve_of(amp, "V1"), plate, grid).grid)
    assert grid == pytest.approx(-1e7 * drawn, rel=1e-3)
    assert -1.0 < grid < -0.2
    at = resting(amp, "V1")
    assert abs(gain(amp, "V1.plate")) == pytest.approx(at.mu * 100e3 / (100e3 + at.rp), rel=2e-3)


def test_parallel_triodes_are_one_of_half_the_plate_resistance():
    parts = {"V1A": "12AX7", "V1B": "12AX7", "R1": "1M", "R2": "47k", "R3": "820", "C1": "1000u"}
    roles = {"valve_a": "V1A", "valve_b": "V1B", "supply": "B1", "grid_leak": "R1", "plate_load": "R2"}
    amp = alone(parts, stage("parallel triodes", **roles, cathode_resistor="R3", cathode_bypass="C1"))
    at = resting(amp, "V1A")
    assert abs(gain(amp, "V1B.plate")) == pytest.approx(at.mu * 47e3 / (47e3 + at.rp / 2), rel=2e-3)


def test_parallel_triodes_may_have_a_cathode_each():
    parts = {"V1A": "12AX7", "V1B": "12AX7", "R1": "1M", "R2": "47k", "R3": "1k5", "R4": "1k5"}
    roles = {"valve_a": "V1A", "valve_b": "V1B", "supply": "B1", "grid_leak": "R1", "plate_load": "R2"}
    amp = alone(parts, stage("parallel triodes", **roles, cathode_resistor="R3", cathode_resistor_b="R4"))
    at = resting(amp, "V1B")
    expected = at.mu * 47e3 / (47e3 + (at.rp + (at.mu + 1) * 1500) / 2)
    assert abs(gain(amp, "V1A.plate")) == pytest.approx(expected, rel=2e-3)


def test_cascode_has_the_gain_of_its_closed_form():
    # mu1 (mu2 + 1) R / (R + rp2 + (mu2 + 1) rp1), any valve textbook.
    parts = {"V1A": "12AT7", "V1B": "12AT7", "R1": "1M", "R2": "100k", "R3": "1k", "C1": "1000u"}
    parts |= {"R4": "470k", "R5": "220k", "C2": "10u"}
    roles = {"valve_a": "V1A", "valve_b": "V1B", "supply": "B1", "grid_leak": "R1", "plate_load": "R2"}
    roles |= {"cathode_resistor": "R3", "cathode_bypass": "C1"}
    roles |= {"divider_top": "R4", "divider_bottom": "R5", "divider_capacitor": "C2"}
    amp = alone(parts, stage("cascode", **roles))
    low, high = resting(amp, "V1A"), resting(amp, "V1B")
    expected = low.mu * (high.mu + 1) * 100e3 / (100e3 + high.rp + (high.mu + 1) * low.rp)
    assert abs(gain(amp, "V1B.plate")) == pytest.approx(expected, rel=5e-3)


PENTODE = {"V1": "EF86", "R1": "1M", "R2": "100k", "R3": "1k", "C1": "1000u", "R4": "390k", "C2": "10u"}
PENTODE_ROLES = {"valve": "V1", "supply": "B1", "grid_leak": "R1", "plate_load": "R2", "cathode_resistor": "R3"}
PENTODE_ROLES |= {"screen_resistor": "R4"}


def test_pentode_stage_with_everything_bypassed_has_gm_times_its_load():
    amp = alone(PENTODE, stage("pentode stage", **PENTODE_ROLES, cathode_bypass="C1", screen_bypass="C2"))
    at = resting(amp, "V1")
    assert abs(gain(amp, "V1.plate")) == pytest.approx(at.gm / (1 / 100e3 + 1 / at.rp), rel=2e-3)


def test_a_screen_without_its_capacitor_follows_the_plate_current_down():
    # The screen's own share of the current moves it against the grid: less gain, by the screen's mu and its share.
    bare = {name: value for name, value in PENTODE.items() if name != "C2"}
    amp = alone(bare, stage("pentode stage", **PENTODE_ROLES, cathode_bypass="C1"))
    at = resting(amp, "V1")
    moved = gain(amp, "V1.screen")
    expected = at.gm * (1 + moved / at.screen_mu) / (1 / 100e3 + 1 / at.rp)
    assert moved.real < -5
    assert abs(gain(amp, "V1.plate")) == pytest.approx(abs(expected), rel=5e-3)


def test_a_pentode_stage_may_be_wired_as_a_triode_and_the_screen_capacitor_go_to_the_cathode():
    parts = {name: value for name, value in PENTODE.items() if name not in ("R4", "C2")}
    roles = {role: part for role, part in PENTODE_ROLES.items() if role != "screen_resistor"}
    amp = alone(parts, stage("pentode stage", **roles, cathode_bypass="C1", triode_connected="yes"))
    plate, screen = resting_volts(amp, "V1", "plate", "screen")
    assert plate == screen
    to_cathode = stage("pentode stage", **PENTODE_ROLES, screen_bypass="C2", screen_bypass_to_cathode="yes")
    held = alone({name: value for name, value in PENTODE.items() if name != "C1"}, to_cathode)
    assert gain(held, "V1.screen") == pytest.approx(gain(held, "V1.cathode"), rel=0.01)


def test_self_biased_follower_has_the_gain_of_its_three_equations():
    parts = {"V1": "12AX7", "C1": "10u", "R1": "1M", "R2": "1k5", "R3": "47k"}
    roles = {"valve": "V1", "supply": "B1", "coupling": "C1", "grid_leak": "R1", "bias_resistor": "R2"}
    amp = alone(parts, stage("self-biased follower", **roles, cathode_resistor="R3"))
    at = resting(amp, "V1")
    # The cathode's node and that of the foot, for 1 V at the grid.
    nodes = [[at.gm + 1 / at.rp + 1 / 1500, -1 / 1500], [-1 / 1500, 1 / 1500 + 1 / 47e3 + 1e-6]]
    expected = np.linalg.solve(nodes, [at.gm, 1e-6])[0]
    assert abs(gain(amp, "V1.cathode")) == pytest.approx(expected, rel=2e-3)
    grid, cathode = resting_volts(amp, "V1", "grid", "cathode")
    assert cathode - grid == pytest.approx(1500 * cathode / 48.5e3, rel=5e-3)


FIXED = {"V1": "12AX7", "C1": "1u", "R1": "1M", "R2": "56k", "R3": "56k"}
FIXED_ROLES = {"valve": "V1", "supply": "B1", "coupling": "C1", "grid_leak": "R1", "plate_load": "R2"}
FIXED_ROLES |= {"cathode_load": "R3"}


def test_fixed_bias_split_load_inverter_sits_on_its_divider_and_is_balanced():
    parts = FIXED | {"R4": "1M", "R5": "330k", "C2": "1u"}
    divider = {"divider_top": "R4", "divider_bottom": "R5", "divider_capacitor": "C2"}
    amp = alone(parts, stage("fixed-bias split-load inverter", **FIXED_ROLES, **divider))
    assert resting_volts(amp, "V1", "grid")[0] == pytest.approx(300 * 330 / 1330, rel=2e-3)
    at = resting(amp, "V1")
    plate, cathode = gain(amp, "V1.plate"), gain(amp, "V1.cathode")
    assert abs(plate + cathode) < 0.005 * abs(plate)
    assert abs(plate) == pytest.approx(at.mu * 56e3 / (at.rp + (at.mu + 2) * 56e3), rel=2e-3)


def test_fixed_bias_without_direct_volts_is_refused():
    with pytest.raises(DescriptionError, match="divider_top and divider_bottom, or a rail as bias"):
        alone(FIXED, stage("fixed-bias split-load inverter", **FIXED_ROLES))


TWO = {"V1A": "12AX7", "V1B": "12AX7", "R1": "1M", "R2": "100k", "R3": "100k", "C1": "1u", "C2": "1u"}
TWO_ROLES = {"valve_a": "V1A", "valve_b": "V1B", "supply": "B1", "grid_leak": "R1"}
TWO_ROLES |= {"plate_load_a": "R2", "plate_load_b": "R3", "coupling_a": "C1", "coupling_b": "C2"}


def test_paraphase_gives_its_second_line_by_the_divider_and_the_second_valve():
    parts = TWO | {"R4": "1k5", "C3": "1000u", "R5": "470k", "R6": "10k", "R7": "470k"}
    roles = TWO_ROLES | {"cathode_resistor": "R4", "cathode_bypass": "C3"}
    roles |= {"divider_top": "R5", "divider_bottom": "R6", "output_leak_b": "R7"}
    amp = alone(parts, stage("paraphase inverter", **roles))
    at = resting(amp, "V1B")
    load = 1 / (1 / 100e3 + 1 / 470e3)
    second = at.mu * load / (load + at.rp)
    ratio = gain(amp, "paraphase inverter (2)") / gain(amp, "paraphase inverter")
    assert ratio.real == pytest.approx(-second * 10 / 480, rel=5e-3)
    assert 0.9 < -ratio.real < 1.1


def test_floating_paraphase_balances_itself_by_the_gain_of_its_second_valve():
    parts = TWO | {"R4": "1k5", "C3": "1000u", "R5": "470k", "R6": "470k", "R7": "220k"}
    roles = TWO_ROLES | {"cathode_resistor": "R4", "cathode_bypass": "C3"}
    roles |= {"output_leak_a": "R5", "output_leak_b": "R6", "common_leak": "R7"}
    amp = alone(parts, stage("floating paraphase inverter", **roles))
    at = resting(amp, "V1B")
    load = 1 / (1 / 100e3 + 1 / 470e3)
    second = at.mu * load / (load + at.rp)
    ratio = gain(amp, "floating paraphase inverter (2)") / gain(amp, "floating paraphase inverter")
    leaks = 2 / 470 + 1 / 220
    assert ratio.real == pytest.approx(-(second / 470) / (leaks + second / 470), rel=5e-3)


def test_direct_coupled_pair_differs_by_the_current_of_its_tail():
    # The tail takes the difference of both currents: i1/i2 = 1 + (rp + R) / ((mu + 1) Rt), nodal algebra.
    parts = {"V1": "12AX7", "R1": "1M", "R2": "100k", "R3": "1k5", "V2A": "12AX7", "V2B": "12AX7"}
    parts |= {"R4": "100k", "R5": "100k", "R6": "1M", "C1": "10u", "R7": "82k"}
    first = stage("triode stage", valve="V1", supply="B1", grid_leak="R1", plate_load="R2", cathode_resistor="R3")
    roles = {"valve_a": "V2A", "valve_b": "V2B", "supply": "B2", "plate_load_a": "R4", "plate_load_b": "R5"}
    roles |= {"grid_b_resistor": "R6", "grid_b_capacitor": "C1", "tail_resistor": "R7"}
    rails = [{"name": "B1", "volts": 200}, {"name": "B2", "volts": 400}]
    amp = alone(parts, first, stage("direct-coupled long-tailed pair", **roles), rails=rails)
    plate, grid = resting_volts(amp, "V1", "plate")[0], resting_volts(amp, "V2B", "grid")[0]
    assert plate == pytest.approx(grid, rel=1e-3)
    at = resting(amp, "V2A")
    ratio = gain(amp, "V2A.plate") / gain(amp, "V2B.plate")
    assert ratio.real == pytest.approx(-(1 + (at.rp + 100e3) / ((at.mu + 1) * 82e3)), rel=5e-3)


def test_feedback_may_come_in_under_a_cathode_resistor():
    parts = {"V1A": "12AX7", "R1": "1M", "R2": "100k", "R3": "1k5", "V2": "EL84", "C1": "100n", "R4": "470k"}
    parts |= {"R5": "130", "C2": "1000u", "T1": {"primary": "5k", "taps": ["8"]}, "R6": "8", "R8": "100"}
    first = {"valve": "V1A", "supply": "B1", "grid_leak": "R1", "plate_load": "R2", "cathode_resistor": "R3"}
    out = {"valve": "V2", "supply": "B1", "coupling": "C1", "grid_leak": "R4", "cathode_resistor": "R5"}
    out |= {"cathode_bypass": "C2", "transformer": "T1"}
    line = stage("feedback", into="triode stage", resistor="R7", shunt_resistor="R8", **{"from": "T1.tap8"})
    stages = (stage("triode stage", **first, feedback_input="yes"), stage("single-ended output", **out), line)

    def whole(ohms: str, **transformer: str) -> complex:
        turned = parts | {"R7": ohms, "T1": {"primary": "5k", "taps": ["8"]} | transformer}
        return gain(alone(turned, *stages, stage("load", load="R6")), "speaker")

    opened, closed = whole("1G"), whole("22k", secondary="reversed")
    rising = whole("22k")
    share = 100 / 22.1e3
    loop = min(abs(opened / closed), abs(opened / rising)), max(abs(opened / closed), abs(opened / rising))
    assert loop[0] < 1 < loop[1]
    assert loop[1] == pytest.approx(1 + abs(opened) * share, rel=0.1)
