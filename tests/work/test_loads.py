"""What parts carry for a parts list is played once, quickly where that decides: asked again it is the same."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from ampsim import apply_mods, load_amp, parse_mod
from ampsim.circuit.amp import Amp
from ampsim.simulation import kept_work
from ampsim.studies.ratings.runs import MISS, QUICK_MISS
from ampsim.studies.ratings.simulate import Known
from ampsim.studies.ratings.usual import WATTS_FACTOR
from ampsim.work.parts_list import loads as module
from ampsim.work.parts_list.parts_list import parts_list


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


def test_waves_of_quick_loads_are_not_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """They are several MB; what was read of them is kept."""
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path))
    module.loads(load_amp("kitchen"), kitchen("470k"), [{}], quick=True)
    assert sum(each.stat().st_size for each in tmp_path.rglob("*") if each.is_file()) < 2_000_000


def beside_the_speaker(ohms: float) -> Amp:
    edits = [{"fit": "R951", "between": ["speaker", "ground"]}]
    tables = {"name": "trial", "reason": "-", "parts": {"R951": ohms}, "edits": edits}
    return apply_mods(load_amp("workshop-b"), parse_mod(tables))


@pytest.mark.parametrize(("share", "finely"), [(0.75, False), (0.98, True)])
def test_what_a_rating_hangs_on_is_played_finely(
    share: float, finely: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A resistor that the loudspeaker heats: twice its watts are that share of one, of what is made then."""
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path))
    stock = load_amp("workshop-b")
    (known,) = parts_list(stock, beside_the_speaker(200.0)).lines
    stress, paces = module.stress, []

    def noted(*given: object, known: Known, **more: object) -> object:
        paces.append(known.miss)
        return stress(*given, known=known, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(module, "stress", noted)
    (line,) = parts_list(stock, beside_the_speaker(WATTS_FACTOR * 200.0 * known.carries_watts / share)).lines
    assert line.rating.watts == 1.0
    assert paces == [QUICK_MISS, MISS][: 1 + finely]
