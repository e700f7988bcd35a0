"""What parts carry for a parts list is played once: asked again it is the same, to the last bit."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from ampsim import apply_mods, load_amp, parse_mod
from ampsim.circuit.amp import Amp
from ampsim.simulation import kept_work
from ampsim.work.parts_list import loads as module


def kitchen(ohms: str) -> Amp:
    tables = {"name": "trial", "reason": "-", "parts": {"R951": ohms}, "edits": [{"fit": "R951", "across": "R3"}]}
    return apply_mods(load_amp("kitchen"), parse_mod(tables))


def test_asked_again_nothing_is_played_and_another_value_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path))
    stock, amp = load_amp("kitchen"), kitchen("470k")
    played: list[str] = []
    stress = module.stress

    def counted(modded: Amp, *given: object, **more: object) -> object:
        played.append(modded.variant)
        return stress(modded, *given, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(module, "stress", counted)
    first = module.loads(stock, amp, [{}])
    again = module.loads(stock, amp, [{}])
    assert len(played) == 1
    pd.testing.assert_frame_equal(first, again, check_exact=True)
    module.loads(stock, kitchen("220k"), [{}])
    assert len(played) == 2
    monkeypatch.setattr(kept_work, "_package", lambda: "another")
    module.loads(stock, amp, [{}])
    assert len(played) == 3


@pytest.mark.parametrize("forged", [b"[1]", b'[{"part": 3}]', b'{"a": 1}', b"[]", b"not json"])
def test_what_is_not_ours_is_not_believed(forged: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path))
    stock, amp = load_amp("kitchen"), kitchen("470k")
    monkeypatch.setattr(module, "HARD", module.HARD[1:])
    wanted = module.loads(stock, amp, [{}])
    monkeypatch.setattr(kept_work, "fetch_kept", lambda *_: forged)
    pd.testing.assert_frame_equal(module.loads(stock, amp, [{}]), wanted)
