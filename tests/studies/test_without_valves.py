"""An amp without a single valve goes through every topic of the sheet, and nothing is said of valves."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from ampsim import apply_mods, load_amp, parse_amp, parse_mod
from ampsim.studies.audition import audition
from ampsim.studies.audition_request import default_audition
from ampsim.studies.section import Examination
from ampsim.studies.spread import section as spread_section
from ampsim.studies.stability.steady import growth_at
from ampsim.studies.topics import TOPICS, topic_section
from tests.simulation.test_op_amps import inverting

# Played at a ladder of levels: `test_it_clips_at_the_ends_of_its_swing_and_headroom_says_so` does that.
SLOW = {"headroom"}
STACK = """
name = "a tone stack and nothing else"
parts = { R901 = "10k", C1 = "470p", R1 = "100k", C2 = "22n", C3 = "22n", P1 = { track = "250k", control = "treble" }, \
P2 = { track = "1M", control = "bass" }, R2 = "10k", R3 = "1M" }
[[stages]]
name = "generator"
template = "generator"
resistance = "R901"
[[stages]]
name = "tone"
template = "tone stack"
treble_capacitor = "C1"
slope_resistor = "R1"
bass_capacitor = "C2"
middle_capacitor = "C3"
treble = "P1"
bass = "P2"
middle = "R2"
[[stages]]
name = "what follows"
template = "load"
load = "R3"
"""


@pytest.mark.parametrize("topic", [topic for topic in TOPICS if topic not in SLOW])
def test_a_topic_of_an_amp_without_valves(topic: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spread_section, "COUNT", 12)
    stock = inverting("TL072", 10e3, 100e3, 1e-9)
    mod = parse_mod({"name": "m", "reason": "r", "edits": [{"replace": "R2", "with": "220k"}]})
    section = topic_section(topic, Examination(stock, apply_mods(stock, mod)))
    told = " ".join(each.words for each in section.findings)
    assert "change of valves" not in told
    assert "valve swap" not in " ".join(section.tables)
    if topic == "ratings":
        assert "U1A (TL072): supply volts 30 V" in told
    if topic == "noise":
        assert "U1A" in told


def test_an_audition_of_an_amp_without_valves(tmp_path: Path) -> None:
    stock = inverting("TL072", 10e3, 100e3, 1e-9)
    mod = parse_mod({"name": "m", "reason": "r", "edits": [{"replace": "R2", "with": "220k"}]})
    done = audition(default_audition(stock, apply_mods(stock, mod)), tmp_path)
    assert not [path for path in done.pictures if "bias" in path.name]
    assert not [title for title in done.tables if title.startswith("Bias")]


@pytest.mark.parametrize("count", [1, 3])
def test_without_a_single_valve_nothing_grows_in_a_tone_stack(count: int) -> None:
    stack = parse_amp(tomllib.loads(STACK), "stack.toml")
    cases = [(stack, {"treble": 0.2 * number}) for number in range(count)]
    assert not any(each.modes for each in growth_at([*cases, (load_amp("lesson-stage"), {})]))
