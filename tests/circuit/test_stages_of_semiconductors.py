"""Stages of semiconductors, each alone, against its closed form."""

import math

import numpy as np
import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.semiconductors.measuring import channel_current, channel_slope, diode_volts
from ampsim.library.loader import load_semiconductor
from tests.tools.stage_alone import alone, gain, resting_volts, stage

DUAL = ({"name": "BP", "volts": 15.0}, {"name": "BM", "volts": -15.0})
BOTH = {"supply": "BP", "negative_supply": "BM"}
NINE = ({"name": "B1", "volts": 9.0}, {"name": "VR", "from": "B1", "through": "R50", "reservoir": ["R51", "C50"]})
MIDDLE = {"R50": "10k", "R51": "10k", "C50": "1000u"}


def opened(kind, hertz):
    """Gain without feedback: one pole."""
    p = dict(load_semiconductor(kind).parameters)
    return 1.0 / (1.0 / p["open_loop_gain"] + 1j * hertz / p["gain_bandwidth"])


def test_op_amp_stage_has_one_and_the_ratio_of_its_feedback():
    parts = {"U1": "TL072", "R1": "1M", "R2": "100k", "R3": "10k", "P1": "1M lin", "C1": "1u"} | MIDDLE
    roles = {"amplifier": "U1", "supply": "B1", "middle": "VR", "coupling": "C1", "input_leak": "R1"}
    amp = alone(
        parts, stage("op-amp stage", **roles, feedback_resistor="R2", foot_resistor="R3", gain="P1"), rails=NINE
    )
    assert resting_volts(amp, "U1", "out")[0] == pytest.approx(4.5, abs=0.01)
    for turned in (0.25, 1.0):
        at = gain(amp, "U1.out", 200.0, {"P1": turned} if "P1" in amp.controls else {next(iter(amp.controls)): turned})
        assert abs(at) == pytest.approx(1.0 + (100e3 + turned * 1e6) / 10e3, rel=5e-3)


def test_op_amp_stage_without_feedback_parts_follows():
    parts = {"U1A": "NE5532", "R1": "10k", "R2": "10k", "R3": "10k"}
    roles = {"amplifier": "U1A", **BOTH, "input_leak": "R1", "output_resistor": "R2", "output_leak": "R3"}
    amp = alone(parts, stage("op-amp stage", **roles), rails=DUAL)
    assert gain(amp, "U1A.out") == pytest.approx(1.0, rel=1e-3)
    assert gain(amp, "speaker") == pytest.approx(0.5, rel=1e-3)


def test_op_amp_stage_with_a_capacitor_at_its_foot_passes_direct_current_as_it_is():
    parts = {"U1A": "TL072", "R1": "1M", "R2": "99k", "R3": "1k", "C1": "1u"}
    roles = {"amplifier": "U1A", **BOTH, "input_leak": "R1", "feedback_resistor": "R2", "foot_resistor": "R3"}
    amp = alone(parts, stage("op-amp stage", **roles, foot_capacitor="C1"), rails=DUAL)
    corner = 1.0 / (2.0 * math.pi * 1e3 * 1e-6)
    # 1 + R2 / (R3 + 1/sC), at its corner, of what the amplifier has without feedback.
    wanted = 1.0 / (1.0 / (1.0 + 99e3 / (1e3 * (1.0 - 1.0j))) + 1.0 / opened("TL072", corner))
    assert gain(amp, "U1A.out", corner) == pytest.approx(wanted, rel=1e-3)


def test_inverting_stage_has_the_ratio_of_its_resistors():
    parts = {"U1A": "TL072", "R1": "10k", "R2": "100k", "R3": "10k"}
    roles = {"amplifier": "U1A", **BOTH, "input_resistor": "R1", "feedback_resistor": "R2", "bias_resistor": "R3"}
    plain = alone(parts, stage("inverting op-amp stage", **roles), rails=DUAL)
    assert gain(plain, "U1A.out") == pytest.approx(-10.0 / (1.0 + 11.0 / opened("TL072", 1e3)), rel=1e-3)


@pytest.mark.parametrize(("volts", "count"), [(2.0, 2), (-2.0, 1)])
def test_diodes_in_the_feedback_of_an_inverting_stage_limit_it(volts, count):
    """With R1 volts / R1 flowing on through R2 and the diodes that conduct."""
    parts = {"U1A": "TL072", "R1": "10k", "R2": "100k", "D1": "1N4148", "D2": "1N4148", "D3": "1N4148", "R4": "1"}
    roles = {"amplifier": "U1A", **BOTH, "input_resistor": "R1", "feedback_resistor": "R2"}
    feed = {"name": "feed", "template": "free wiring", "wires": {"R4": ["BX", "out"]}}
    diodes = {"forward_diode": "D1", "forward_diode_2": "D2", "backward_diode": "D3"}
    amp = alone(parts, feed, stage("inverting op-amp stage", **roles, **diodes),
                rails=(*DUAL, {"name": "BX", "volts": volts}))  # fmt: skip
    out = resting_volts(amp, "U1A", "out")[0]
    amps = abs(volts) / 10e3 - abs(out) / 100e3
    assert math.copysign(1.0, out) == -math.copysign(1.0, volts)
    assert abs(out) == pytest.approx(count * diode_volts(load_semiconductor("1N4148"), amps), rel=3e-3)


@pytest.mark.parametrize(("volts", "count"), [(5.0, 2), (-5.0, 1)])
def test_a_clipping_pair_stands_at_the_volts_of_its_diodes(volts, count):
    parts = {"R1": "10k", "R2": "1M", "D1": "1N4148", "D2": "1N4148", "D3": "1N4148", "U1A": "TL072", "R9": "1M"}
    # A follower on a rail holds the pair at a voltage.
    before = stage("op-amp stage", amplifier="U1A", **BOTH, input_leak="R9", middle="BX")
    pair = stage("clipping pair", series_resistor="R1", shunt_resistor="R2", forward_diode="D1",
                 forward_diode_2="D2", backward_diode="D3")  # fmt: skip
    amp = alone(
        parts | {"C1": "100n"}, {**before, "coupling": "C1"}, pair, rails=(*DUAL, {"name": "BX", "volts": volts})
    )
    name = "D1.anode" if volts > 0.0 else "D3.cathode"
    across = abs(resting_volts(amp, *name.split("."))[0])
    device = load_semiconductor("1N4148")
    amps = (abs(volts) - across) / 10e3 - across / 1e6
    assert across == pytest.approx(count * diode_volts(device, amps), rel=2e-3)


def test_series_diodes_pass_little_of_what_is_small():
    parts = {"R1": "1k", "D1": "1N4148", "D2": "1N4148", "R2": "1M", "R3": "10k"}
    roles = {"series_resistor": "R1", "forward_diode": "D1", "backward_diode": "D2", "load_resistor": "R3"}
    amp = alone(parts, stage("series diodes", **roles, bypass_resistor="R2"), rails=())
    numbers = dict(load_semiconductor("1N4148").parameters)
    # At rest each diode is a resistor of N Vt / IS, both beside the bypass.
    slope = numbers["emission"] * 0.0258652 / numbers["saturation_amps"]
    across = 1.0 / (2.0 / slope + 1e-6 + 2j * math.pi * 20.0 * 8e-12)
    assert gain(amp, "speaker", 20.0) == pytest.approx(10e3 / (11e3 + across), rel=2e-3)


def test_input_protection_holds_an_input_a_diode_beyond_its_supply():
    parts = {"R1": "10k", "D1": "1N4148", "D2": "1N4148", "R2": "1k"}
    wires = {"R2": ["BX", "out"]}
    roles = {"series_resistor": "R1", "high_diode": "D1", "low_diode": "D2", **BOTH}
    for volts in (40.0, -40.0):
        feed = {"name": "feed", "template": "free wiring", "wires": wires}
        amp = alone(parts, feed, stage("input protection", **roles), rails=(*DUAL, {"name": "BX", "volts": volts}))
        held = abs(resting_volts(amp, "D1", "anode")[0])
        beyond = diode_volts(load_semiconductor("1N4148"), (40.0 - held) / 11e3)
        assert held == pytest.approx(15.0 + beyond, rel=1e-3)


def at_rest(amp):
    drain, gate, source = resting_volts(amp, "Q1", "drain", "gate", "source")
    device = amp.semiconductors[0]
    low, high = (channel_current(device, drain - source + step, gate - source) for step in (-1e-3, 1e-3))
    return drain, gate, source, channel_slope(device, drain - source, gate - source), (high - low) / 2e-3


def test_transistor_stage_has_the_gain_of_its_slope():
    parts = {"Q1": "J201", "R1": "1M", "R2": "10k", "R3": "1k", "C1": "1000u"}
    roles = {"transistor": "Q1", "supply": "B1", "gate_leak": "R1", "drain_load": "R2", "source_resistor": "R3"}
    rails = ({"name": "B1", "volts": 18.0},)
    open_foot = alone({k: v for k, v in parts.items() if k != "C1"}, stage("transistor stage", **roles), rails=rails)
    drain, _, source, gm, go = at_rest(open_foot)
    assert (18.0 - drain) / 10e3 == pytest.approx(source / 1e3, rel=1e-3)
    amp = alone(parts, stage("transistor stage", **roles, source_bypass="C1"), rails=rails)
    assert gain(amp, "Q1.drain") == pytest.approx(-gm / (go + 1e-4), rel=5e-3)
    # Degenerated: gm R / (1 + (gm + go) Rs + go R).
    assert gain(open_foot, "Q1.drain") == pytest.approx(-gm * 10e3 / (1.0 + (gm + go) * 1e3 + go * 10e3), rel=5e-3)


@pytest.mark.parametrize("coupled", [True, False])
def test_source_follower_has_its_closed_form_coupled_or_not(coupled):
    parts = {"Q1": "DN2540", "R1": "1M", "R2": "22k", "R3": "1k", "D1": "1N5242B", "D2": "1N5242B"}
    rails = ({"name": "B1", "volts": 300.0}, {"name": "BG", "volts": 120.0})
    roles = {"transistor": "Q1", "supply": "B1", "source_resistor": "R2", "gate_stopper": "R3", "gate_zener": "D1",
             "gate_zener_2": "D2"}  # fmt: skip
    if coupled:
        parts |= {"C1": "1u"}
        amp = alone(parts, stage("source follower", **roles, coupling="C1", gate_leak="R1", bias="BG"), rails=rails)
    else:
        feed = {"name": "feed", "template": "free wiring", "wires": {"R1": ["BG", "out"], "C2": ["in", "out"]}}
        amp = alone(parts | {"C2": "1u"}, feed, stage("source follower", **roles), rails=rails)
    _, _, source, gm, go = at_rest(amp)
    assert 120.0 < source < 124.0
    at = gain(amp, "Q1.source") / gain(amp, "Q1.gate")
    assert at == pytest.approx(gm / (gm + go + 1.0 / 22e3), rel=2e-3)


def test_mosfet_stage_with_a_divider_at_its_gate():
    parts = {"Q1": "2N7000", "R1": "1M", "R2": "1M", "R3": "4k7", "R4": "2k2", "C1": "1u"}
    roles = {"transistor": "Q1", "supply": "B1", "coupling": "C1", "gate_leak": "R1", "gate_high_resistor": "R2"}
    amp = alone(parts, stage("transistor stage", **roles, drain_load="R3", source_resistor="R4"),
                rails=({"name": "B1", "volts": 18.0},))  # fmt: skip
    drain, gate, source, gm, go = at_rest(amp)
    assert gate == pytest.approx(9.0, rel=1e-3)
    assert (18.0 - drain) / 4.7e3 == pytest.approx(source / 2.2e3, rel=1e-3)
    wanted = -gm * 4.7e3 / (1.0 + (gm + go) * 2.2e3 + go * 4.7e3)
    assert np.real(gain(amp, "Q1.drain")) == pytest.approx(wanted, rel=1e-2)


EFFECT = {"input": "500k", "output": "1k", "gain": 3.0}


def test_series_effects_loop_is_its_dividers_and_gain():
    parts = {"R1": "1M", "U1A": "NE5532", "U1B": "NE5532", "P1": "100k lin", "R2": "10k", "FX1": EFFECT, "R3": "10k"}
    roles = {"input_leak": "R1", "driver": "U1A", "recovery": "U1B", **BOTH, "send_level": "P1", "send_resistor": "R2"}
    amp = alone(parts, stage("series effects loop", **roles, effect="FX1", return_leak="R3"), rails=DUAL)
    turned = dict.fromkeys(amp.controls, 0.5)
    # Half of the track, then R2 and the track's source resistance against the effect; its output against R3.
    expected = 0.5 * 500e3 / (500e3 + 10e3 + 25e3) * 3.0 * 10e3 / 11e3
    assert gain(amp, "speaker", position=turned) == pytest.approx(expected, rel=1e-3)
    bridged = alone({k: v for k, v in parts.items() if k != "FX1"},
                    stage("series effects loop", **roles, return_leak="R3"), rails=DUAL)  # fmt: skip
    assert gain(bridged, "speaker", position=turned) == pytest.approx(0.5 * 10e3 / (20e3 + 25e3), rel=1e-3)


@pytest.mark.parametrize("kind", ["12AX7", "IRF820"])
def test_effects_loop_driven_by_a_follower(kind):
    """A cathode or source follower hands on nearly what it gets, from a low impedance."""
    name = "Q1" if kind == "IRF820" else "V1"
    parts = {name: kind, "R1": "1M", "R2": "47k", "C1": "10u", "R3": "1M", "C2": "100n"}
    roles = {"driver": name, "supply": "B1", "coupling": "C2", "input_leak": "R1", "bias": "BG"}
    roles |= {"driver_resistor": "R2", "send_capacitor": "C1", "return_leak": "R3"}
    rails = ({"name": "B1", "volts": 300.0}, {"name": "BG", "volts": 100.0})
    amp = alone(parts, stage("series effects loop", **roles), rails=rails)
    assert 0.96 < abs(gain(amp, "speaker")) < 1.0
    with pytest.raises(DescriptionError, match="driver_resistor, the resistor from its"):
        alone({k: v for k, v in parts.items() if k != "R2"},
              stage("series effects loop", **{k: v for k, v in roles.items() if k != "driver_resistor"}),
              rails=rails)  # fmt: skip


@pytest.mark.parametrize("turned", [0.0, 0.3, 1.0])
def test_parallel_effects_loop_mixes_by_its_pot(turned):
    parts = {"R1": "1M", "U1A": "TL072", "U1B": "TL072", "FX1": EFFECT, "P1": "10k lin", "R2": "1k"}
    roles = {"driver": "U1A", "recovery": "U1B", **BOTH, "effect": "FX1", "mix": "P1", "dry_resistor": "R2"}
    amp = alone(parts, stage("parallel effects loop", **roles, input_leak="R1"), rails=DUAL)
    at = gain(amp, "speaker", position={next(iter(amp.controls)): turned})
    # Between the wet end, 3, and the dry end, 1 behind R2, by the track of 10k.
    expected = 3.0 + (1.0 - 3.0) * (1.0 - turned) * 10e3 / 11e3
    assert at == pytest.approx(expected, rel=2e-3)


def test_parallel_effects_loop_mixes_by_two_resistors():
    parts = {"R1": "1M", "U1A": "TL072", "U1B": "TL072", "FX1": EFFECT, "R2": "10k", "R3": "20k"}
    roles = {"driver": "U1A", "recovery": "U1B", **BOTH, "effect": "FX1", "dry_resistor": "R2", "wet_resistor": "R3"}
    amp = alone(parts, stage("parallel effects loop", **roles, input_leak="R1"), rails=DUAL)
    assert gain(amp, "speaker") == pytest.approx((2.0 * 1.0 + 1.0 * 3.0) / 3.0, rel=2e-3)
