"""What came of comparing by ear alone: its odds, what a page may send, and the job that keeps it."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from ampsim.audio.player.content import player_facts, same_sounds
from ampsim.base.errors import DescriptionError
from ampsim.interface.commands.main import main
from ampsim.job.record.blind import keep_blind
from ampsim.job.record.reading import read_record
from ampsim.job.record.saving import save_record
from ampsim.measures.blind import BlindResult, read_blind, read_line
from tests.audio.test_player import clips_of, sines


@given(st.integers(2, 9), st.integers(1, 60), st.data())
def test_the_chance_is_that_of_the_binomial_distribution(choices: int, rounds: int, data: Any) -> None:
    right = data.draw(st.integers(0, rounds))
    found = BlindResult(tuple(map(str, range(choices))), rounds, right)
    assert found.chance == pytest.approx(float(binom.sf(right - 1, rounds, 1.0 / choices)), abs=1e-12)
    assert f"{right} of {rounds} right" in found.words


@pytest.mark.parametrize(
    "change",
    [
        {"among": [0]}, {"among": [0, 0]}, {"among": [0, 3]}, {"among": [0, True]}, {"among": "01"}, {"among": None},
        {"rounds": 0}, {"rounds": 2.0}, {"rounds": 10**9}, {"right": 5}, {"right": -1}, {"right": None},
    ],
)  # fmt: skip
def test_what_no_player_sends_is_refused(change: dict[str, Any]) -> None:
    sent = {"among": [0, 2], "rounds": 4, "right": 3}
    assert read_blind(["a", "b", "c"], sent) == BlindResult(("a", "c"), 4, 3)
    with pytest.raises(DescriptionError, match="nothing was kept"):
        read_blind(["a", "b", "c"], {**sent, **change})
    for other in (None, [], "x"):
        with pytest.raises(DescriptionError):
            read_blind(["a"], other)


@given(st.lists(st.integers(0, 3), min_size=1, max_size=6), st.floats(0.0, 0.9))
def test_the_same_sound_is_known_by_its_samples_whatever_it_is_called(sounds: list[int], off: float) -> None:
    rows = [np.asarray(row) for row in sines([0.1, 0.2, 0.1003, 0.5], 0.02)]
    drawn = [rows[kind] + off / 32768.0 * (place % 2) for place, kind in enumerate(sounds)]
    told = player_facts(clips_of(drawn))["positions"]
    assert same_sounds(clips_of(drawn)) == {
        place: sounds.index(kind) for place, kind in enumerate(sounds) if sounds.index(kind) < place
    }
    assert [each["same"] for each in told] == [
        sounds.index(kind) if sounds.index(kind) < place else None for place, kind in enumerate(sounds)
    ]


def test_a_notebook_keeps_the_last_round_of_each_comparison() -> None:
    pytest.importorskip("anywidget", reason="the extra 'notebooks' is not installed")
    from ampsim.audio.player.widget import side_by_side

    player = side_by_side(clips_of(sines([0.1, 0.2, 0.3], 0.1), labels=["stock"]))
    rounds = [([0, 1], 1, 1), ([0, 1], 2, 1), ([0, 1], 3, 2), ([0, 1], 1, 0), ([1, 2], 1, 1)]
    for among, played, right in rounds:
        player._answer(player, {"do": "blind", "among": among, "rounds": played, "right": right, "ended": False}, [])
    assert [(each.rounds, each.right) for each in player.blind] == [(3, 2), (1, 0), (1, 1)]
    assert player.blind[-1].among == ("position 1", "position 2")


def test_a_job_keeps_it_and_prints_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = tmp_path / "job"
    assert main(["job", "begin", str(job), "--amp", "workshop-a", "--mod", "bright-switch"]) == 0
    found = BlindResult(("stock", "bright switch, bright 120p"), 10, 0)
    kept = save_record(keep_blind(read_record(job), found, "on headphones", date(2025, 3, 1)), job)
    assert read_record(job) == kept
    assert (kept.blind[0].among, kept.blind[0].right) == (found.among, 0)
    capsys.readouterr()
    assert main(["job", "show", str(job)]) == 0
    told = " ".join(capsys.readouterr().out.split())
    for words in ("Compared by ear alone", "0 of 10 right", "on headphones"):
        assert words in told


LINE = "Heard blind: 8 of 10 right, one of 2: stock / bright 120p, depth 7 (b01227c7)"


def test_a_line_is_read_also_when_it_was_broken_on_its_way() -> None:
    expected = BlindResult(("stock", "bright 120p, depth 7"), 10, 8)
    assert read_line(LINE) == expected
    assert read_line(f"  {LINE.replace(' / ', chr(10) + ' /  ')}\n") == expected


@given(st.integers(0, len(LINE) - 1), st.sampled_from("0123456789ab XYZ/"))
def test_a_slip_in_any_place_is_found(place: int, sign: str) -> None:
    wrong = LINE[:place] + sign + LINE[place + 1 :]
    if " ".join(wrong.split()) != LINE:
        with pytest.raises(DescriptionError):
            read_line(wrong)
    with pytest.raises(DescriptionError):
        read_line(LINE[:place])


def test_a_line_that_the_owner_sends_is_kept_in_the_job(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = tmp_path / "job"
    assert main(["job", "begin", str(job), "--amp", "workshop-a", "--mod", "bright-switch"]) == 0
    assert main(["job", "blind", str(job), LINE.replace("8 of", "9 of")]) == 1
    assert "copied and sent again" in capsys.readouterr().err
    assert main(["job", "blind", str(job), LINE, "--note", "at home"]) == 0
    (kept,) = read_record(job).blind
    assert (kept.right, kept.rounds, kept.among, kept.note) == (8, 10, ("stock", "bright 120p, depth 7"), "at home")
