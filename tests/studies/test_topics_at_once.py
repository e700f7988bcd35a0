"""Topics that are examined two at a time say what they say one after the other, and stop at once when asked to."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, parse_mod
from ampsim.simulation.ngspice.pool import POOL
from ampsim.studies.section import Examination
from ampsim.studies.sheet import sheet
from ampsim.studies.sheet.page import sheet_html
from ampsim.studies.sheet.sheet import consequences

STOCK = load_amp("lesson-stage")
MODDED = apply_mods(STOCK, parse_mod({"name": "louder", "reason": "test", "edits": [{"replace": "R4", "with": "1k2"}]}))
EXAMINED = Examination(STOCK, MODDED)
CHOSEN = ("ratings", "blocking", "stability", "noise", "spread")


def test_the_same_is_said_at_once_as_in_turn(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(sheet, "cores", lambda: 8)
    pages, told = [], []
    for hands in (3, 1):
        monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path / str(hands)))
        monkeypatch.setattr(sheet, "_HANDS", hands)
        pages.append(sheet_html(consequences(EXAMINED, CHOSEN, lambda *news: told.append(news))))
    assert pages[0] == pages[1]
    assert len(told) == 2 * 2 * len(CHOSEN)
    assert [done for done, _, words in told if not words.endswith("...")] == 2 * list(range(1, len(CHOSEN) + 1))


def test_ctrl_c_leaves_nothing_at_work(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(sheet, "cores", lambda: 2)
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path))

    def interrupt(_done: int, _total: int, words: str) -> None:
        if not words.endswith("..."):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        consequences(EXAMINED, CHOSEN, interrupt)
    assert not [each for each in threading.enumerate() if each.name.startswith("side-by-side")]
    assert not POOL._out
    assert len(consequences(EXAMINED, ["ratings", "noise"]).sections) == 2
