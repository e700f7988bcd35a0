"""Every stage template runs alone between a test source and a load, and does what its closed form says."""

import math
from pathlib import Path

import numpy as np
import pytest

from ampsim.circuit.active_parts import ACTIVE
from ampsim.circuit.loudspeaker import coil_sections
from ampsim.circuit.reverb_tank import coil
from ampsim.circuit.stages import TEMPLATES, Kind
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.response import simulate
from ampsim.simulation.timestep.oscillation import oscillations
from tests.tools.stage_alone import RAIL, alone, gain, resting, stage

TRIODE = {"V1": "12AX7", "R1": "1M", "R2": "100k", "R3": "1k5", "C1": "100u"}
TRIODE_ROLES = {
    "valve": "V1",
    "supply": "B1",
    "grid_leak": "R1",
    "plate_load": "R2",
    "cathode_resistor": "R3",
}


def test_generator_with_source_resistance_and_load_is_a_divider():
    amp = alone({"R1": "10k", "R2": "30k"}, stage("generator", resistance="R1"), stage("load", load="R2"), rails=[])
    assert gain(amp, "speaker") == pytest.approx(0.75, rel=1e-6)


def test_guitar_pickup_resonates_where_its_coil_and_capacitances_say():
    # 2.5 H with 150 pF and 500 pF of cable: 3.95 kHz (pickup and cable article, values as printed there).
    parts = {"L1": "2.5", "R1": "6k", "C1": "150p", "C2": "500p", "R2": "10M"}
    amp = alone(
        parts,
        stage(
            "guitar",
            pickup_inductance="L1",
            pickup_resistance="R1",
            pickup_capacitance="C1",
            cable_capacitance="C2",
        ),
        stage("load", load="R2"),
        rails=[],
    )
    response = simulate(amp, FrequencySweep(1000, 10000, 1000), nodes=["speaker"])
    peak = float(abs(response["voltage"]).idxmax("frequency").squeeze())
    assert peak == pytest.approx(1 / (2 * math.pi * math.sqrt(2.5 * 650e-12)), rel=0.005)


def test_bypassed_triode_stage_has_the_textbook_gain():
    amp = alone(TRIODE, stage("triode stage", **TRIODE_ROLES, cathode_bypass="C1"))
    at = resting(amp, "V1")
    expected = at.mu * 100e3 / (100e3 + at.rp)
    assert abs(gain(amp, "V1.plate")) == pytest.approx(expected, rel=2e-3)


def test_unbypassed_triode_stage_has_the_textbook_gain():
    # mu RL / (rp + RL + (mu + 1) Rk), any valve textbook.
    amp = alone({name: value for name, value in TRIODE.items() if name != "C1"}, stage("triode stage", **TRIODE_ROLES))
    at = resting(amp, "V1")
    expected = at.mu * 100e3 / (100e3 + at.rp + (at.mu + 1) * 1500)
    assert abs(gain(amp, "V1.plate")) == pytest.approx(expected, rel=2e-3)


def test_roll_off_capacitors_take_treble_away():
    parts = TRIODE | {"C2": "1n", "C3": "100p"}
    plain = alone(TRIODE, stage("triode stage", **TRIODE_ROLES, cathode_bypass="C1"))
    load = alone(
        {k: v for k, v in parts.items() if k != "C3"},
        stage("triode stage", **TRIODE_ROLES, cathode_bypass="C1", plate_load_capacitor="C2"),
    )
    at = resting(plain, "V1")
    corner = 1 / (2 * math.pi * 1e-9 * (100e3 * at.rp / (100e3 + at.rp)))
    assert abs(gain(load, "V1.plate", corner) / gain(plain, "V1.plate", corner)) == pytest.approx(2**-0.5, rel=0.01)
    miller = alone(
        {k: v for k, v in (parts | {"R4": "100k"}).items() if k != "C2"},
        stage("triode stage", **TRIODE_ROLES, cathode_bypass="C1", plate_grid_capacitor="C3", grid_stopper="R4"),
    )
    assert abs(gain(miller, "V1.plate", 10000.0)) < 0.2 * abs(gain(plain, "V1.plate", 10000.0))


def test_cathode_follower_has_a_gain_just_under_one():
    amp = alone(
        {"V1": "12AX7", "R1": "1M", "R2": "47k", "R3": "1k"},
        stage("generator", resistance="R3"),
        stage("cathode follower", valve="V1", supply="B1", grid_leak="R1", bias="bias", cathode_resistor="R2"),
        rails=[RAIL, {"name": "bias", "volts": 120}],
    )
    at = resting(amp, "V1")
    expected = at.mu * 47e3 / (at.rp + (at.mu + 1) * 47e3)
    # Grid current in the 1k source is left out of the closed form, hence 0.5 %.
    assert abs(gain(amp, "V1.cathode")) == pytest.approx(expected * 1e6 / 1.001e6, rel=5e-3)


def test_coupling_network_is_its_divider_and_corner():
    parts = {"C1": "10n", "R1": "470k", "R2": "330k"}
    amp = alone(parts, stage("coupling", capacitor="C1", series_resistor="R1", shunt_resistor="R2"), rails=[])
    corner = 1 / (2 * math.pi * 10e-9 * 800e3)
    assert abs(gain(amp, "R2.1", 100 * corner)) == pytest.approx(330 / 800, rel=1e-3)
    assert abs(gain(amp, "R2.1", corner)) == pytest.approx(330 / 800 / math.sqrt(2), rel=1e-4)


@pytest.mark.parametrize("template", ["volume", "master volume"])
def test_volume_pot_divides_and_its_bright_capacitor_passes_treble(template):
    parts = {"P1": {"track": "1M", "control": "volume"}, "C1": "1n", "R1": "1G"}
    amp = alone(parts, stage(template, pot="P1", bright_capacitor="C1"), stage("load", load="R1"), rails=[])
    low = simulate(amp, FrequencySweep(1, 10, 1), [{"volume": 0.1}], ["speaker"])["voltage"].values[0, 0, 0, 0]
    high = simulate(amp, FrequencySweep(1e5, 1e6, 1), [{"volume": 0.1}], ["speaker"])["voltage"].values[0, 0, 0, 0]
    assert abs(low) == pytest.approx(0.1, rel=1e-3)
    assert abs(high) == pytest.approx(1.0, rel=1e-3)


def test_tone_stack_with_a_fixed_middle_resistor_equals_one_with_its_pot_fully_up():
    parts = {
        "C1": "250p",
        "C2": "20n",
        "C3": "20n",
        "R1": "56k",
        "P1": {"track": "250k", "control": "treble"},
        "P2": {"track": "1M", "control": "bass"},
    }
    roles = {
        "treble_capacitor": "C1",
        "bass_capacitor": "C2",
        "middle_capacitor": "C3",
        "slope_resistor": "R1",
        "treble": "P1",
        "bass": "P2",
    }
    fixed = alone(parts | {"R2": "25k"}, stage("tone stack", **roles, middle="R2"), rails=[])
    pot = alone(
        parts | {"P3": {"track": "25k", "control": "middle", "rotation": 1.0}},
        stage("tone stack", **roles, middle="P3"),
        rails=[],
    )
    for frequency in (100.0, 1000.0, 5000.0):
        assert gain(fixed, "P1.wiper", frequency) == pytest.approx(gain(pot, "P1.wiper", frequency), rel=1e-3)


def test_split_load_inverter_gives_two_equal_outputs_of_opposite_sign():
    parts = {"V1": "12AX7", "R1": "1M", "R2": "56k", "R3": "1k5", "R4": "56k", "C1": "100n"}
    amp = alone(
        parts,
        stage(
            "split-load inverter",
            valve="V1",
            supply="B1",
            coupling="C1",
            grid_leak="R1",
            plate_load="R2",
            bias_resistor="R3",
            cathode_load="R4",
        ),
    )
    plate, cathode = gain(amp, "V1.plate"), gain(amp, "V1.cathode")
    assert abs(plate) == pytest.approx(abs(cathode) * 56 / 57.5, rel=0.01)
    assert np.angle(plate / cathode) == pytest.approx(math.pi, abs=0.02) or np.angle(plate / cathode) == pytest.approx(
        -math.pi, abs=0.02
    )


PAIR = {
    "V1A": "12AX7",
    "V1B": "12AX7",
    "R1": "100k",
    "R2": "100k",
    "R3": "1M",
    "R4": "1M",
    "R5": "470",
    "R6": "22k",
    "C1": "100n",
    "C2": "100n",
}
PAIR_ROLES = {
    "valve_a": "V1A",
    "valve_b": "V1B",
    "supply": "B1",
    "coupling": "C1",
    "plate_load_a": "R1",
    "plate_load_b": "R2",
    "grid_leak_a": "R3",
    "grid_leak_b": "R4",
    "bias_resistor": "R5",
    "tail_resistor": "R6",
    "grid_b_capacitor": "C2",
}


def test_long_tailed_pair_halves_the_gain_and_favours_the_first_plate():
    # Half the common-cathode gain to each plate, imbalance falling with tail resistance: handbook rule, from memory.
    amp = alone(PAIR, stage("long-tailed pair", **PAIR_ROLES))
    at = resting(amp, "V1A")
    first, second = abs(gain(amp, "V1A.plate")), abs(gain(amp, "V1B.plate"))
    whole = at.mu * 100e3 / (100e3 + at.rp)
    assert first == pytest.approx(whole / 2, rel=0.1)
    assert 1.02 < first / second < 1.2


OUTPUT = {
    "V2": "EL84",
    "V3": "EL84",
    "R7": "470k",
    "R8": "470k",
    "R9": "130",
    "C3": "100u",
    "T1": {"primary": "8k", "taps": ["8"]},
    "R10": "8",
}
OUTPUT_ROLES = {
    "valve_a": "V2",
    "valve_b": "V3",
    "grid_leak_a": "R7",
    "grid_leak_b": "R8",
    "transformer": "T1",
    "supply": "B1",
    "cathode_resistor": "R9",
    "cathode_bypass": "C3",
}
COUPLED = {"coupling_a": "C4", "coupling_b": "C5"}


def power_amp(*more, feedback=(), **extra):
    parts = PAIR | OUTPUT | {"C4": "100n", "C5": "100n"} | dict(more)
    pair = stage("long-tailed pair", **PAIR_ROLES) | ({"feedback_input": "yes"} if feedback else {})
    out = stage("push-pull output", **(OUTPUT_ROLES | COUPLED | extra))
    return alone(parts, pair, out, *feedback, stage("load", load="R10"))


def test_push_pull_output_with_a_feedback_line_has_less_gain_by_one_plus_ab():
    feedback = stage("feedback", **{"from": "T1.tap8"}, into="long-tailed pair", resistor="R11", shunt_resistor="R12")
    closed = power_amp(("R11", "22k"), ("R12", "4k7"), feedback=[feedback])
    opened = power_amp(("R11", "1G"), ("R12", "4k7"), feedback=[feedback])
    ratio = abs(gain(opened, "speaker") / gain(closed, "speaker"))
    # The foot takes the divider's share of the output straight to the pair's second grid, so 1 + A B as a check.
    assert ratio == pytest.approx(1 + abs(gain(opened, "speaker")) * 4.7 / 26.7, rel=0.15)


def test_presence_and_depth_give_gain_back_at_their_own_end():
    line = stage(
        "feedback",
        **{"from": "T1.tap8"},
        into="long-tailed pair",
        resistor="R11",
        shunt_resistor="R12",
        depth="P1",
        depth_capacitor="C6",
        presence="P2",
        presence_capacitor="C7",
    )
    more = [
        ("R11", "22k"),
        ("R12", "4k7"),
        ("P1", {"track": "500k", "control": "depth", "rotation": 0}),
        ("C6", "4n7"),
        ("P2", {"track": "25k", "control": "presence", "rotation": 0}),
        ("C7", "100n"),
    ]
    amp = power_amp(*more, feedback=[line])
    sweep = FrequencySweep(50, 5000, 1)
    volts = abs(simulate(amp, sweep, [{}, {"depth": 1.0}, {"presence": 1.0}], ["speaker"])["voltage"].values[0, :, 0])
    change = 20 * np.log10(volts[1:] / volts[0])
    assert change[0, 0] > 3
    assert abs(change[0, -1]) < 1
    assert change[1, -1] > 3
    assert abs(change[1, 0]) < 0.5


def test_fixed_bias_reaches_the_grids_and_own_cathode_resistors_carry_one_valve_each():
    parts = {name: part for name, part in OUTPUT.items() if name not in ("R9", "C3")} | {
        "R13": "10",
        "R14": "10",
    }
    roles = {role: part for role, part in OUTPUT_ROLES.items() if not role.startswith("cathode")}
    both = PAIR | parts | {"C4": "100n", "C5": "100n"}
    out = stage(
        "push-pull output",
        **roles,
        **COUPLED,
        bias="bias",
        cathode_resistor_a="R13",
        cathode_resistor_b="R14",
    )
    amp = alone(
        both,
        stage("long-tailed pair", **PAIR_ROLES),
        out,
        stage("load", load="R10"),
        rails=[RAIL, {"name": "bias", "volts": -12}],
    )
    rest = simulate(amp, OperatingPoint()).squeeze()
    assert float(rest["voltage"].sel(node="V2.grid")) == pytest.approx(-12, abs=0.1)
    current = sum(float(rest["current"].sel(branch=f"V2.{pin}")) for pin in ("plate", "screen", "grid"))
    assert float(rest["voltage"].sel(node="V2.cathode")) == pytest.approx(10 * current, rel=1e-6)


def test_single_ended_output_drives_its_load_through_the_turns_ratio():
    parts = {
        "V1": "EL84",
        "R1": "470k",
        "R2": "130",
        "C1": "1000u",
        "R3": "8",
        "T1": {
            "primary": "5k",
            "taps": ["8"],
            "core_loss": "100M",
            "primary_resistance": "1",
            "leakage": "1u",
            "secondary_resistance": "R01",
            "capacitance": "1p",
            "inductance": "1000",
        },
    }
    amp = alone(
        parts,
        stage(
            "single-ended output",
            valve="V1",
            supply="B1",
            grid_leak="R1",
            cathode_resistor="R2",
            cathode_bypass="C1",
            transformer="T1",
        ),
        stage("load", load="R3"),
    )
    assert abs(gain(amp, "V1.plate") / gain(amp, "speaker")) == pytest.approx(math.sqrt(5000 / 8), rel=0.01)


def test_free_wiring_takes_any_network():
    amp = alone(
        {"R1": "10k", "C1": "10n"},
        {
            "name": "low pass",
            "template": "free wiring",
            "wires": {"R1": ["in", "out"], "C1": ["out", "ground"]},
        },
        rails=[],
    )
    corner = 1 / (2 * math.pi * 10e3 * 10e-9)
    assert abs(gain(amp, "C1.1", corner)) == pytest.approx(2**-0.5, rel=1e-4)


@pytest.mark.parametrize("exponent", [0.65, 0.7, 0.8, 0.9])
def test_a_coil_rises_as_its_power_law(exponent):
    frequency = np.logspace(2, math.log10(20e3), 60)
    impedance = sum(
        1 / (1 / ohms + 1 / (2j * math.pi * frequency * henries)) for ohms, henries in coil_sections(5.0, exponent)
    )
    np.testing.assert_allclose(abs(impedance), 5.0 * (frequency / 1000) ** exponent, rtol=0.03)


def test_a_loudspeaker_peaks_at_its_resonance_with_its_stated_impedance():
    parts = {
        "R1": "1M",
        "LS1": {"resistance": "6.4", "resonance": "82", "peak": "45", "q": 5, "reactance": "5"},
    }
    amp = alone(parts, stage("generator", resistance="R1"), stage("load", load="LS1"), rails=[])
    response = simulate(amp, FrequencySweep(40, 160, 500), nodes=["speaker"])
    ohms = abs(response["voltage"]).squeeze() * 1e6
    assert float(ohms.idxmax()) == pytest.approx(82, rel=0.02)
    assert float(ohms.max()) == pytest.approx(51.4, rel=0.02)


def test_a_supply_chain_sags_by_its_own_currents():
    parts = TRIODE | {"R8": "1k", "R9": "10k", "C8": "47u", "C9": "22u"}
    rails = [
        {"name": "B0", "volts": 320, "through": "R8", "reservoir": "C8"},
        {"name": "B1", "from": "B0", "through": "R9", "reservoir": "C9"},
    ]
    amp = alone(parts, stage("triode stage", **TRIODE_ROLES, cathode_bypass="C1"), rails=rails)
    rest = simulate(amp, OperatingPoint()).squeeze()
    current = float(rest["current"].sel(branch="V1.plate"))
    assert float(rest["voltage"].sel(node="B1")) == pytest.approx(320 - 11e3 * current, abs=0.01)


REVERB = {
    "V1": "12AT7", "V2": "12AX7", "R1": "1M", "R2": "2k2", "C1": "25u", "T2": {"primary": "25k", "taps": ["8"]},
    "TANK1": {"input": "8", "output": "2k25"}, "R3": "220k", "R4": "100k", "C2": "100n", "R5": "1G", "R6": "1M",
    "R7": "1G", "R8": "1k5", "C3": "100u",
}  # fmt: skip
REVERB_ROLES = {
    "driver": "V1", "supply": "B1", "grid_leak": "R1", "cathode_resistor": "R2", "cathode_bypass": "C1",
    "transformer": "T2", "tank": "TANK1", "recovery": "V2", "recovery_grid_leak": "R3", "recovery_plate_load": "R4",
    "recovery_coupling": "C2", "wet_resistor": "R5", "dry_resistor": "R6", "mix_leak": "R7",
    "recovery_cathode_resistor": "R8", "recovery_cathode_bypass": "C3",
}  # fmt: skip


def test_a_reverb_has_the_impedances_and_the_strength_of_its_tank():
    amp = alone(REVERB, stage("reverb", **REVERB_ROLES))
    tank = amp.part_by_designator["TANK1"]
    henries, loss = coil(tank.input_impedance, tank.input_resistance)
    hertz = 1000.0
    inner = 2j * math.pi * hertz * henries * loss / (loss + 2j * math.pi * hertz * henries)
    assert abs(tank.input_resistance + inner) == pytest.approx(8.0, rel=1e-9)
    # Current in, electromotive force out behind the coil, all passes together; the recovery's grid takes next to none.
    into, out = gain(amp, "TANK1.in", hertz), gain(amp, "TANK1.out", hertz)
    above = hertz / tank.high
    band = 1.0 / ((1.0 - 1j * tank.low / hertz) * (1.0 + 1j * math.sqrt(2) * above - above**2))
    expected = into / (tank.input_resistance + inner) * tank.steady * band
    assert out == pytest.approx(expected, rel=0.02)
    at = resting(amp, "V2")
    assert abs(gain(amp, "V2.plate", hertz) / out) == pytest.approx(at.mu * 100e3 / (100e3 + at.rp), rel=0.02)


LADDER = {"V1": "12AX7", "R2": "220k", "R3": "2k2", "C1": "25u", "C2": "10n", "C3": "10n", "C4": "10n", "R4": "1M",
          "R5": "1M", "R6": "1M", "C5": "100n", "R7": "220k", "R8": "220k"}  # fmt: skip
LADDER_ROLES = {
    "valve": "V1", "supply": "B1", "plate_load": "R2", "cathode_resistor": "R3", "cathode_bypass": "C1",
    "shift_capacitor_a": "C2", "shift_resistor_a": "R4", "shift_capacitor_b": "C3", "shift_resistor_b": "R5",
    "shift_capacitor_c": "C4", "grid_leak": "R6", "coupling": "C5", "series_resistor": "R7", "into": "R8.1",
}  # fmt: skip


def ladder_wires():
    """The same as free wiring."""
    return {
        "V1": {"plate": "plate", "grid": "grid", "cathode": "cathode"}, "R2": ["B1", "plate"],
        "R3": ["cathode", "ground"], "C1": ["cathode", "ground"], "C2": ["plate", "first"], "R4": ["first", "ground"],
        "C3": ["first", "second"], "R5": ["second", "ground"], "C4": ["second", "grid"], "R6": ["grid", "ground"],
        "C5": ["plate", "far"], "R7": ["far", "R8.1"],
    }  # fmt: skip


def test_an_oscillator_is_the_same_by_its_template_and_by_any_wiring_and_stands_still_in_sweeps():
    load = stage("load", load="R8")
    first = alone(LADDER, load, stage("tremolo oscillator", **LADDER_ROLES))
    second = alone(LADDER, load, stage("oscillator of any wiring", wires=ladder_wires()))
    ours, theirs = (oscillations(each)[0] for each in (first, second))
    # To as much as one step counts that the solver halves where grid current sets in: nets in another order decide it.
    assert ours.hertz == pytest.approx(theirs.hertz, rel=1e-4)
    assert 4.0 < ours.hertz < 8.0
    # Its grid is held still: what reaches the load from the input is as if the valve had no gain.
    assert abs(gain(first, "V1.grid", 5.0)) < 1e-6


def fed(parts, *stages, rails):
    """A resistor divider as the amp, R7 on a rail as its load."""
    wires = {"R7": ["B1", "ground"], "R8": ["in", "out"], "R9": ["out", "ground"]}
    load = {"name": "load", "template": "free wiring", "wires": wires}
    return alone({"R8": "1M", "R9": "1M"} | parts, load, *stages, rails=rails)


PT = {
    "mains": 230,
    "windings": {"ht": {"volts": "300-0-300", "resistance": 20}, "bias": {"volts": 50, "resistance": 5}},
}


def test_power_supply_with_a_choke_gives_the_mean_of_the_rectified_sine():
    # Above the critical current 2 Vm / pi, less what winding, diode and choke take: E. g. S. Seely, 1958 (textbook).
    parts = {"PT1": PT, "D1": "1N4007", "D2": "1N4007", "CH1": {"inductance": 20, "resistance": 100}, "C1": "100u",
             "R7": "2k"}  # fmt: skip
    supply = stage("power supply", transformer="PT1", diode_a="D1", diode_b="D2")
    amp = fed(parts, supply, rails=[{"name": "B1", "from": "power supply", "through": "CH1", "reservoir": "C1"}])
    volts = float(simulate(amp, OperatingPoint(), nodes=["B1"])["voltage"].squeeze())
    assert volts == pytest.approx((2.0 * math.sqrt(2.0) * 300.0 / math.pi - 0.9) * 2000.0 / 2110.0, rel=3e-3)


def test_voltage_doubler_gives_twice_the_peak_less_what_its_load_takes():
    """Twice the peak; under a load less by what both capacitors lose in a period, for little ripple (closed form)."""
    ohms, volts = 200e3, 2.0 * (math.sqrt(2.0) * 300.0 * 1.0 - 0.7)
    parts = {"PT1": {"mains": 230, "windings": {"ht": {"volts": "300", "resistance": 1e-3}}}, "D1": "1N4007",
             "D2": "1N4007", "C1": "47u", "C2": "47u", "R7": ohms}  # fmt: skip
    doubler = stage("voltage doubler", transformer="PT1", upper_diode="D1", lower_diode="D2", upper_capacitor="C1",
                    lower_capacitor="C2")  # fmt: skip
    amp = fed(parts, doubler, rails=[{"name": "B1", "from": "voltage doubler"}])
    found = float(simulate(amp, OperatingPoint(), nodes=["B1"])["voltage"].squeeze())
    # Each capacitor falls by I / (f C) in a period, so its mean lies half of that below its peak.
    assert found == pytest.approx(volts - volts / ohms / (50.0 * 47e-6), rel=2e-3)


def test_bias_supply_holds_a_reservoir_near_the_peak_and_divides_it_with_its_pot():
    parts = {"PT1": PT, "V1": "GZ34", "C1": "47u", "R7": "10k", "D1": "1N4007", "C2": "47u", "R2": "10k", "C3": "47u",
             "P1": {"track": "50k", "control": "bias", "rotation": 0.4}, "R4": "40k"}  # fmt: skip
    stages = (
        stage("power supply", transformer="PT1", rectifier="V1"),
        stage("bias supply", winding="PT1.bias_a", diode="D1", reservoir="C2", dropper="R2", filter="C3",
              adjustment="P1", range_resistor="R4"),
    )  # fmt: skip
    rails = [{"name": "B1", "from": "power supply", "reservoir": "C1"}, {"name": "minus", "from": "bias supply"}]
    rest = simulate(fed(parts, *stages, rails=rails), OperatingPoint(), nodes=["C2.1", "minus"])["voltage"].squeeze()
    reservoir, bias = (float(each) for each in rest)
    assert -math.sqrt(2.0) * 50.0 < reservoir < -68.5
    assert bias == pytest.approx(reservoir * 60.0 / 100.0, rel=1e-3)


@pytest.mark.parametrize("template", TEMPLATES.values(), ids=lambda each: each.name)
def test_the_kind_of_a_stage_is_what_stands_in_its_roles(template):
    fitted = {kind for role in template.roles.values() for kind in role.kinds}
    if template.kind is Kind.ANY or fitted == {"wires"}:
        assert fitted == {"wires"}
        assert template.kind in (Kind.ANY, Kind.OSCILLATOR)
        return
    active = (Kind.GAIN, Kind.FOLLOWER, Kind.INVERTER, Kind.OUTPUT, Kind.OSCILLATOR)
    assert bool({*ACTIVE} & fitted) == (template.kind in active)
    # A transformer elsewhere drives the springs of a reverb.
    assert ("transformer" in fitted) == (template.kind is Kind.OUTPUT or "reverb tank" in fitted)
    assert ("loudspeaker" in fitted) == (template.kind is Kind.LOAD)
    assert ("stage" in fitted) == (template.kind is Kind.FEEDBACK)
    assert (template.inputs == 0) == (template.kind in (Kind.INSTRUMENT, Kind.SOURCE, Kind.SUPPLY))


def test_every_template_was_run_here_or_beside():
    here = Path(__file__)
    files = [*here.parent.glob(f"{here.stem}*.py"), here.with_name("test_channels.py")]
    text = "".join(path.read_text(encoding="utf-8") for path in files)
    assert [name for name in TEMPLATES if f'"{name}"' not in text] == []
