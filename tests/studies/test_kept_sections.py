"""What was found of a mod is told again as it was, and only of the very same."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, parse_mod
from ampsim.studies.findings import Finding, Grade
from ampsim.studies.section import Examination, Section
from ampsim.studies.sheet import kept_sections
from ampsim.studies.sheet.kept_sections import section_in_words, section_kept

STOCK = load_amp("lesson-stage")
MODDED = apply_mods(STOCK, parse_mod({"name": "louder", "reason": "test", "edits": [{"replace": "R4", "with": "1k"}]}))
EXAMINED = Examination(STOCK, MODDED)
WORDS = Finding("a topic", "R4", "louder", "as drawn", 0.1, "W", None, Grade.NEAR, "warm", "by hand", "none")
ROWS = pd.DataFrame({"what": ["R4", "é\n"], "watts": [0.1 + 0.2, float("nan")], "many": [1, 2], "so": [True, False]})


@pytest.fixture
def examinations(monkeypatch: pytest.MonkeyPatch) -> list[Examination]:
    """What was examined anew, each by a section with this table in it."""
    seen: list[Examination] = []

    def section(topic: str, examined: Examination, progress: object = None) -> Section:
        seen.append(examined)
        return Section("a topic", (WORDS,), {"rows": ROWS, "some": ROWS[ROWS["so"]][::-1]}, {}, ("noted",), ("rows",))

    monkeypatch.setattr(kept_sections, "topic_section", section)
    return seen


def test_the_same_is_told_again_to_the_last_digit(examinations: list[Examination]) -> None:
    first, again = section_kept("ratings", EXAMINED), section_in_words("ratings", EXAMINED)
    assert len(examinations) == 1
    assert (again.title, again.findings, again.notes, again.key_tables) == ("a topic", (WORDS,), ("noted",), ("rows",))
    for title, table in first.tables.items():
        pd.testing.assert_frame_equal(again.tables[title], table)


def test_anything_else_is_examined_anew(examinations: list[Examination], monkeypatch: pytest.MonkeyPatch) -> None:
    section_kept("noise", EXAMINED)
    others = [
        Examination(STOCK, replace(MODDED, rails=(replace(MODDED.rails[0], volts=299.999),))),
        Examination(STOCK, replace(MODDED, valves=(replace(MODDED.valves[0], law="koren 1996 triode"),))),
        Examination(STOCK, MODDED, ({},), ({"volume": 0.5},)),
        Examination(MODDED, STOCK),
    ]
    for number, each in enumerate(others, 2):
        section_in_words("noise", each)
        assert len(examinations) == number
    section_in_words("pop", EXAMINED)
    monkeypatch.setattr(kept_sections, "_package", lambda: "another version")
    section_in_words("noise", EXAMINED)
    assert len(examinations) == len(others) + 3


def test_a_table_that_plain_data_cannot_hold_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    odd = Section("a topic", (), {"rows": ROWS.assign(what=[object(), None])}, {})
    examined = Examination(STOCK, MODDED, ({}, {}))
    monkeypatch.setattr(kept_sections, "topic_section", lambda *_: odd)
    assert section_kept("spread", examined) is section_in_words("spread", examined) is odd
