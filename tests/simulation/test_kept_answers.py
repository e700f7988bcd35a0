"""Answers in time that are kept: the same to the last bit, for the same netlist alone, and never trusted."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base import kept_files
from ampsim.base.errors import EngineError
from ampsim.base.kept_files import drop_oldest, fetch_kept, keep, keep_within
from ampsim.simulation.kept_sweeps import run_kept
from ampsim.simulation.netlist import Netlist
from ampsim.simulation.ngspice import engine, kept_answers
from ampsim.simulation.ngspice.engine import Arrays
from tests.tools.small_circuits import LOW_PASS, arrays, low_pass, netlist

TRANSIENT = "tran 1e-05 0.001 0.0 1e-05"


def wanted(ohms: float = 10e3, vectors: tuple[str, ...] = ("v(a)", "v(in)")) -> Netlist:
    return netlist(LOW_PASS, TRANSIENT, *vectors, end=1e-3, r1=ohms, c1=10e-9)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path))
    return tmp_path / "answers"


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many netlists went to ngspice, call by call."""
    real, counts = engine.run, []

    def run(netlists: list[Netlist], **how: object) -> list[engine.Outcome]:
        counts.append(len(netlists))
        return real(netlists, **how)  # type: ignore[arg-type]

    monkeypatch.setattr(engine, "run", run)
    return counts


def answer(one: Netlist) -> Arrays:
    return arrays(engine.run_distinct([one])[0])


def same(one: Arrays, other: Arrays) -> bool:
    return (
        one.notes == other.notes
        and one.vectors.keys() == other.vectors.keys()
        and one.scale.tobytes() == other.scale.tobytes()
        and all(one.vectors[name].tobytes() == other.vectors[name].tobytes() for name in one.vectors)
    )


def test_what_was_answered_once_is_not_asked_again_and_nothing_else_is_taken_for_it(
    folder: Path, asked: list[int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = answer(wanted())
    again = answer(wanted())
    assert same(first, again)
    again.scale[0] = 1.0  # its own copy
    assert same(first, answer(wanted()))
    others = [wanted(10.001e3), wanted(vectors=("v(a)",)), wanted().with_fresh_load()]
    engine.run_distinct([wanted(), *others, others[0]])
    assert asked == [1, 0, 0, 3]
    library = Path(kept_answers.find())
    other = tmp_path / library.name
    other.symlink_to(library)
    monkeypatch.setenv("AMPSIM_NGSPICE", str(other))
    assert kept_answers.fetch_answer(wanted()) is None


def test_a_kept_answer_that_was_altered_is_asked_again(folder: Path, asked: list[int]) -> None:
    first = answer(wanted())
    (kept,) = folder.iterdir()
    sound = kept.read_bytes()
    for harm in (sound[:-8], sound[:40], b"", sound[:-3] + b"abc", sound + bytes(8)):
        kept.write_bytes(harm)
        assert same(first, answer(wanted()))
        assert kept.read_bytes() == sound
    assert asked == [1] * 6


def test_only_answers_in_time_are_kept_and_a_folder_that_cannot_be_written_is_let_be(
    folder: Path, asked: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    rest = low_pass("op")
    assert same(answer(rest), answer(rest))
    assert not folder.exists()
    folder.parent.mkdir(exist_ok=True)
    (folder.parent / "file").write_text("in the way", "utf-8")
    monkeypatch.setenv("AMPSIM_CACHE", str(folder.parent / "file"))
    assert same(answer(wanted()), answer(wanted()))
    assert asked == [1, 1, 1, 1]


SWEEP = "ac dec 5 10 10000.0"


def swept(*ohms: float, vector: str = "v(a)") -> list[Netlist]:
    return [netlist(LOW_PASS, SWEEP, vector, points=16, r1=each, c1=10e-9) for each in ohms]


def test_sweeps_of_a_whole_call_are_kept_together(folder: Path, asked: list[int]) -> None:
    ohms = tuple(1e3 * number for number in range(1, 11))
    first = run_kept(swept(*ohms))
    assert all(same(arrays(one), arrays(other)) for one, other in zip(first, run_kept(swept(*ohms)), strict=True))
    assert arrays(first[0]).vectors["v(a)"].dtype == complex
    assert asked == [10]
    for other in (swept(*ohms[::-1]), swept(*ohms, vector="v(in)"), swept(*ohms[1:], 10.001e3), swept(*ohms[:9])):
        run_kept(other)
    assert asked == [10, 10, 10, 10, 9]
    run_kept(swept(ohms[0]))
    run_kept(swept(ohms[0]))
    assert asked[5:] == [1]


def test_kept_sweeps_that_were_altered_or_lack_one_are_asked_again(folder: Path, asked: list[int]) -> None:
    ohms = tuple(1e3 * number for number in range(1, 10))
    first = run_kept(swept(*ohms))
    (kept,) = folder.iterdir()
    sound = kept.read_bytes()
    strange = bytes(fetch_kept(kept, 10**7) or b"")[:-40]
    for harm in (sound[:-8], b"", sound[:100] + b"abc" + sound[103:]):
        kept.write_bytes(harm)
        assert all(same(arrays(one), arrays(other)) for one, other in zip(first, run_kept(swept(*ohms)), strict=True))
    keep(kept, strange)  # in its seal, and yet none of ours
    run_kept(swept(*ohms))
    assert asked == [9] * 5
    broken = [*swept(*ohms), *swept(1e3, vector="v(nowhere)")]
    assert isinstance(run_kept(broken)[-1], EngineError)
    assert isinstance(run_kept(broken)[-1], EngineError)
    assert asked[5:] == [10, 10]  # a failure is not kept


def test_a_folder_is_gone_through_once_for_a_hundredth_of_what_it_may_hold(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    looks: list[Path] = []
    whole = kept_files.drop_oldest

    def counted(folder: Path, ending: str, most: int) -> None:
        looks.append(folder)
        whole(folder, ending, most)

    monkeypatch.setattr(kept_files, "drop_oldest", counted)
    most, size = 100_000, 250
    for number in range(800):
        keep_within(tmp_path / f"{number:03}.kept", bytes(size), most)
        held = sum(path.stat().st_size for path in tmp_path.iterdir())
        assert held <= 1.01 * most + 2 * (size + 32)
    assert len(looks) == 1 + 799 * size // 1000  # the first, then every 1000 bytes
    assert held > 0.9 * most


@given(st.lists(st.binary(max_size=50), min_size=1, max_size=8, unique=True), st.integers(0, 400))
def test_what_was_used_longest_ago_is_dropped_first(
    tmp_path_factory: pytest.TempPathFactory, contents: list[bytes], most: int
) -> None:
    folder = tmp_path_factory.mktemp("kept")
    (folder / "mine.txt").write_bytes(bytes(1000))
    paths = [folder / f"{number}.kept" for number in range(len(contents))]
    for number, (path, content) in enumerate(zip(paths, contents, strict=True)):
        keep(path, content)
        os.utime(path, ns=(number * 10**9, number * 10**9))
    sizes = [path.stat().st_size for path in paths]
    drop_oldest(folder, ".kept", most)
    left = [path.exists() for path in paths]
    assert left == sorted(left)
    assert sum(size for size, here in zip(sizes, left, strict=True) if here) <= most
    gone = len(paths) - sum(left)
    assert gone == 0 or sum(sizes[gone - 1 :]) > most
    assert (folder / "mine.txt").exists()
    for path, content, here in zip(paths, contents, left, strict=True):
        found = fetch_kept(path, 50)
        assert (found is not None) == here
        assert found is None or found.tobytes() == content
    assert np.all(
        [fetch_kept(path, 3) is None for path, content in zip(paths, contents, strict=True) if len(content) > 3]
    )
