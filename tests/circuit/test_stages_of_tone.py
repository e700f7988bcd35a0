"""Tone controls, and what lies between an inverter and the output valves: each alone, against its closed form."""

import math

import numpy as np
import pytest

from ampsim.base.errors import DescriptionError
from tests.tools.stage_alone import alone, gain, resting, stage


def solved(frequency: float, *parts: tuple[str, str, complex | float]) -> dict[str, complex]:
    """Volts at each node for 1 V at "in": a ladder of ohms and, as negative numbers, farads, by nodal analysis."""
    nodes = sorted({node for one, other, _ in parts for node in (one, other)} - {"in", "0"})
    index = {node: number for number, node in enumerate(nodes)}
    matrix, right = np.zeros((len(nodes), len(nodes)), complex), np.zeros(len(nodes), complex)
    for one, other, value in parts:
        siemens = 2j * math.pi * frequency * -value if value.real < 0 else 1 / value
        for near, far in ((one, other), (other, one)):
            if near in index:
                matrix[index[near], index[near]] += siemens
                if far in index:
                    matrix[index[near], index[far]] -= siemens
                right[index[near]] += siemens * (far == "in")
    return dict(zip(nodes, np.linalg.solve(matrix, right), strict=True))


def knob(track: str, control: str) -> dict[str, str]:
    return {"track": track, "taper": "linear", "control": control}


FREQUENCIES = (30.0, 300.0, 1000.0, 5000.0)


def test_one_knob_takes_treble_away_from_where_its_resistances_say():
    parts = {"R1": "100k", "P1": knob("500k", "tone"), "C1": "1n"}
    amp = alone(parts, stage("one-knob tone", series_resistor="R1", pot="P1", capacitor="C1"), rails=[])
    corner = 1 / (2 * math.pi * 100e3 * 1e-9)
    assert abs(gain(amp, "R1.2", corner, {"tone": 0.0})) == pytest.approx(2**-0.5, rel=1e-3)
    open_up = solved(corner, ("in", "a", 100e3), ("a", "b", 500e3), ("b", "0", -1e-9))["a"]
    assert gain(amp, "R1.2", corner, {"tone": 1.0}) == pytest.approx(open_up, rel=1e-3)


@pytest.mark.parametrize("rotation", [0.2, 0.5, 0.8])
def test_blend_tone_is_its_two_branches_with_the_track_between(rotation):
    parts = {"P1": knob("100k", "tone"), "C1": "4n7", "R1": "22k", "R2": "39k", "C2": "10n"}
    roles = {"treble_capacitor": "C1", "treble_shunt": "R1", "bass_resistor": "R2", "bass_capacitor": "C2"}
    amp = alone(parts, stage("blend tone", pot="P1", **roles), rails=[])
    for frequency in FREQUENCIES:
        branches = solved(
            frequency, ("in", "t", -4.7e-9), ("t", "0", 22e3), ("in", "b", 39e3), ("b", "0", -10e-9),
            ("t", "out", 100e3 * (1 - rotation)), ("out", "b", 100e3 * rotation),
        )  # fmt: skip
        assert gain(amp, "P1.wiper", frequency, {"tone": rotation}) == pytest.approx(branches["out"], rel=1e-4)


@pytest.mark.parametrize(("bass", "treble"), [(0.5, 0.5), (0.9, 0.2), (0.1, 0.8)])
def test_two_knob_tone_is_its_network(bass, treble):
    parts = {"P1": knob("1M", "bass"), "P2": knob("500k", "treble"), "R1": "100k", "R2": "10k", "C1": "470p"}
    parts |= {"C2": "4n7", "R3": "100k", "C3": "220p", "C4": "2n2"}
    roles = {"bass": "P1", "treble": "P2", "bass_resistor": "R1", "bass_foot_resistor": "R2"}
    roles |= {"bass_capacitor_top": "C1", "bass_capacitor_bottom": "C2", "joining_resistor": "R3"}
    roles |= {"treble_capacitor": "C3", "treble_foot_capacitor": "C4"}
    amp = alone(parts, stage("two-knob tone", **roles), rails=[])
    for frequency in FREQUENCIES:
        network = solved(
            frequency, ("in", "bt", 100e3), ("bt", "bw", 1e6 * (1 - bass)), ("bw", "bb", 1e6 * bass), ("bb", "0", 10e3),
            ("bt", "bw", -470e-12), ("bw", "bb", -4.7e-9), ("bw", "out", 100e3), ("in", "tt", -220e-12),
            ("tt", "out", 500e3 * (1 - treble)), ("out", "tb", 500e3 * treble), ("tb", "0", -2.2e-9),
        )  # fmt: skip
        at = {"bass": bass, "treble": treble}
        assert gain(amp, "P2.wiper", frequency, at) == pytest.approx(network["out"], rel=1e-4)


def test_mid_scoop_is_deepest_where_and_as_deep_as_a_bridged_t_says():
    # f0 = 1/(2 pi C sqrt(Rb Rs)), there 1/(1 + Rb/(2 Rs)), of equal capacitors: any filter textbook.
    parts = {"R1": "220k", "C1": "1n", "C2": "1n", "P1": knob("100k", "scoop"), "R2": "4k7"}
    roles = {"bridge_resistor": "R1", "capacitor_in": "C1", "capacitor_out": "C2", "depth": "P1", "foot_resistor": "R2"}
    amp = alone(parts, stage("mid scoop", **roles), rails=[])
    for rotation, foot in ((1.0, 4.7e3), (0.0, 104.7e3)):
        lowest = 1 / (2 * math.pi * 1e-9 * math.sqrt(220e3 * foot))
        found = abs(gain(amp, "R1.2", lowest, {"scoop": rotation}))
        assert found == pytest.approx(1 / (1 + 220e3 / (2 * foot)), rel=2e-3)
        assert found < abs(gain(amp, "R1.2", lowest * 1.5, {"scoop": rotation}))


BAXANDALL = {"V1": "12AX7", "R1": "100k", "R2": "1k5", "C1": "1000u", "P1": knob("470k", "bass")}
BAXANDALL |= {"P2": knob("470k", "treble"), "R3": "47k", "R4": "47k", "C2": "10n", "C3": "10n", "R5": "10k"}
BAXANDALL |= {"C4": "470p", "C5": "470p", "C6": "10u", "C7": "100n", "R6": "10M", "R7": "10M"}
BAXANDALL_ROLES = {
    "valve": "V1", "supply": "B1", "plate_load": "R1", "cathode_resistor": "R2", "cathode_bypass": "C1",
    "bass": "P1", "treble": "P2", "bass_resistor_in": "R3", "bass_resistor_back": "R4", "bass_capacitor_in": "C2",
    "bass_capacitor_back": "C3", "joining_resistor": "R5", "treble_capacitor_in": "C4", "treble_capacitor_back": "C5",
    "output_capacitor": "C6", "coupling": "C7", "grid_leak": "R6", "output_leak": "R7",
}  # fmt: skip


def test_baxandall_tone_inverts_flat_with_both_knobs_in_the_middle_and_turns_at_its_ends():
    # Halves alike, so the grid has the mean of what goes in and what comes out: -A/(A + 2) at every frequency.
    amp = alone(BAXANDALL, stage("baxandall tone", **BAXANDALL_ROLES))
    at = resting(amp, "V1")
    whole = at.mu * 100e3 / (100e3 + at.rp)
    for frequency in (50.0, 300.0, 1000.0):
        middle = {"bass": 0.5, "treble": 0.5}
        flat = gain(amp, "C6.2", frequency, middle)
        loaded = -flat / gain(amp, "V1.grid", frequency, middle)
        assert whole / 2 < abs(loaded) < whole
        assert flat == pytest.approx(-loaded / (loaded + 2), rel=0.01)
    lifted, lowered = (abs(gain(amp, "C6.2", 2.0, {"bass": bass})) for bass in (1.0, 0.0))
    # At the lowest frequencies the bass track alone counts: (R + P)/R up, R/(R + P) down, less what the valve lacks.
    most = (47e3 + 470e3) / 47e3
    assert lifted == pytest.approx(most / (1 + (1 + most) / whole), rel=0.07)
    assert lowered == pytest.approx(1 / (most + (1 + most) / whole), rel=0.07)
    bright, dark = (abs(gain(amp, "C6.2", 10e3, {"treble": treble})) for treble in (1.0, 0.0))
    assert bright > 1.5 > 1 / 1.5 > dark


LINES = {"name": "two lines", "template": "free wiring"}
LINES |= {"wires": {"R1": ["in", "out"], "R2": ["ground", "out_b"], "R3": ["out", "ground"], "R4": ["out_b", "ground"]}}
TWO = {"R1": "100k", "R2": "100k", "R3": "1G", "R4": "1G"}


def between(amp, frequency, position):
    return gain(amp, "R3.1", frequency, position) - gain(amp, "R4.1", frequency, position)


def test_treble_cut_lies_across_both_source_resistances():
    parts = TWO | {"P1": knob("250k", "cut"), "C1": "1n"}
    amp = alone(parts, LINES, stage("treble cut", pot="P1", capacitor="C1"), rails=[])
    corner = 1 / (2 * math.pi * 200e3 * 1e-9)
    assert abs(between(amp, corner, {"cut": 1.0})) == pytest.approx(2**-0.5, rel=2e-3)
    assert abs(between(amp, 50 * corner, {"cut": 0.0})) == pytest.approx(250 / 450, rel=2e-3)


def test_master_after_the_inverter_turns_both_lines_down_alike():
    parts = {"R1": "1k", "R2": "1k", "R3": "1G", "R4": "1G", "P1": knob("500k", "master"), "P2": knob("500k", "master")}
    lines = LINES | {"wires": LINES["wires"] | {"R2": ["in", "out_b"]}}
    amp = alone(parts, lines, stage("master after the inverter", pot_a="P1", pot_b="P2"), rails=[])
    for rotation in (0.1, 0.5):
        for pot in ("P1", "P2"):
            assert gain(amp, f"{pot}.wiper", 1e3, {"master": rotation}).real == pytest.approx(rotation, rel=5e-3)


def test_cross_line_master_lays_its_track_between_the_lines():
    parts = TWO | {"P1": knob("1M", "master"), "R5": "1k"}
    amp = alone(parts, LINES, stage("cross-line master", pot="P1", end_resistor="R5"), rails=[])
    for rotation in (0.0, 0.3, 1.0):
        track = 1e6 * rotation + 1e3
        assert abs(between(amp, 1e3, {"master": rotation})) == pytest.approx(track / (track + 200e3), rel=5e-3)


@pytest.mark.parametrize("pins", [["out", "out_b", "out"], ["out", "out", "out"]])
def test_a_master_whose_track_ends_on_one_wire_is_refused_with_what_is_meant(pins):
    wires = {"P1": dict(zip(("top", "wiper", "bottom"), pins, strict=True)), "R5": ["out_b", "ground"]}
    master = {"name": "master", "template": "free wiring", "wires": wires | {"R6": ["in", "out"]}}
    with pytest.raises(DescriptionError, match=r"P1\.top and P1\.bottom are on one wire"):
        alone(TWO | {"P1": knob("1M", "master"), "R5": "1M", "R6": "1k"}, LINES, master, rails=[])
