"""An amp without a single valve goes through every topic of the sheet, and nothing is said of valves."""

from __future__ import annotations

from pathlib import Path

import pytest

from ampsim import apply_mods, parse_mod
from ampsim.studies.audition import audition
from ampsim.studies.audition_request import default_audition
from ampsim.studies.section import Examination
from ampsim.studies.spread import section as spread_section
from ampsim.studies.topics import TOPICS, topic_section
from tests.simulation.test_op_amps import inverting

# Played at a ladder of levels: `test_it_clips_at_the_ends_of_its_swing_and_headroom_says_so` does that.
SLOW = {"headroom"}


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
