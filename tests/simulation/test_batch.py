"""Campaigns: the same numbers whoever works on them, nothing computed twice, nothing trusted that is kept in a file."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
import time
import zipfile
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ampsim.base.errors import DescriptionError, EngineError
from ampsim.simulation import batch
from ampsim.simulation.batch import CHUNK, Tally
from ampsim.simulation.netlist import Netlist
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Arrays
from tests.tools.small_circuits import SWEEP, low_pass, valve
from tests.tools.systems import interrupted

ROOT = Path(__file__).resolve().parents[2]
COUNT = 3 * CHUNK + 5


def wanted(count: int = COUNT) -> list[Netlist]:
    return [valve("op", 50e3 + 100.0 * number, 1e3, 1e-6) for number in range(count)]


def numbers(outcomes: list[engine.Outcome]) -> list[list[float]]:
    found = []
    for outcome in outcomes:
        assert isinstance(outcome, Arrays), outcome
        found.append([float(row[0]) for row in outcome.vectors.values()])
    return found


@pytest.fixture(scope="module")
def alone() -> list[list[float]]:
    """What one simulator answers."""
    return numbers(batch.run(wanted(), workers=1))


class Counted:
    """An executor that works in this process and counts; `spoil` may change what comes back."""

    def __init__(self, fail_after: int = 10_000) -> None:
        self.chunks = 0
        self._left = fail_after

    def submit(self, work: Callable[..., Any], /, *arguments: Any) -> Future[Any]:
        future: Future[Any] = Future()
        self.chunks += 1
        self._left -= 1
        if self._left < 0:
            future.set_exception(ConnectionError("the other machine is gone"))
        else:
            future.set_result(work(*arguments))
        return future


def test_more_simulators_give_the_same_bits(alone: list[list[float]]) -> None:
    assert numbers(batch.run(wanted(), workers=2)) == alone


def test_order_of_the_netlists_changes_no_bit(alone: list[list[float]]) -> None:
    assert numbers(batch.run(wanted()[::-1], workers=2)) == alone[::-1]


def test_threads_of_an_executor_give_the_same_bits(alone: list[list[float]]) -> None:
    with ThreadPoolExecutor(2) as executor:
        assert numbers(batch.run(wanted(), executor=executor)) == alone


def test_processes_of_an_executor_give_the_same_bits(alone: list[list[float]]) -> None:
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as executor:
        assert numbers(batch.run(wanted(), executor=executor)) == alone


def test_a_cluster_gives_the_same_bits(alone: list[list[float]]) -> None:
    distributed = pytest.importorskip("distributed", exc_type=ImportError)
    ask = (
        "import sys; sys.path.insert(0, '.')\n"
        "from distributed import Client, LocalCluster\n"
        "from ampsim.simulation import batch\n"
        "from tests.simulation.test_batch import numbers, wanted\n"
        "if __name__ == '__main__':\n"
        "    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:\n"
        "        with Client(cluster) as client:\n"
        "            for row in numbers(batch.run(wanted(), executor=client.get_executor())):\n"
        "                print(*(value.hex() for value in row))\n"
    )
    assert distributed.__version__
    # In a process of its own: the cluster leaves threads and sockets behind for a while.
    done = subprocess.run([sys.executable, "-c", ask], cwd=ROOT, capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stderr
    assert [[float.fromhex(value) for value in line.split()] for line in done.stdout.splitlines()] == alone


def test_sweeps_and_transients_come_back_whole(tmp_path: Path) -> None:
    asked = [low_pass(SWEEP), low_pass("op"), low_pass("tran 1e-05 0.001 0.0 1e-05", end=1e-3)]
    before = engine.run(asked)
    for _ in range(2):
        for one, other in zip(before, batch.run(asked, folder=tmp_path), strict=True):
            assert isinstance(one, Arrays)
            assert isinstance(other, Arrays)
            assert np.array_equal(one.scale, other.scale)
            assert one.notes == other.notes
            for name, row in one.vectors.items():
                assert row.dtype == other.vectors[name].dtype
                np.testing.assert_allclose(other.vectors[name], row, rtol=1e-12)


def test_equal_netlists_run_once() -> None:
    found: list[Tally] = []
    outcomes = batch.run([*wanted(3), *wanted(3), *wanted(2)], tally=found.append)
    assert found == [Tally(simulated=3, kept=0)]
    assert numbers(outcomes[:3]) == numbers(outcomes[3:6])


def test_one_failure_leaves_the_others_alone(tmp_path: Path) -> None:
    broken = low_pass("op", r1=float("nan"))
    for _ in range(2):
        first, second, third = batch.run([low_pass("op"), broken, low_pass("op", r1=5e3)], folder=tmp_path)
        assert isinstance(first, Arrays)
        assert isinstance(second, EngineError)
        assert isinstance(third, Arrays)


def test_nothing_kept_is_simulated_again(tmp_path: Path, alone: list[list[float]]) -> None:
    found: list[Tally] = []
    for _ in range(2):
        assert numbers(batch.run(wanted(), folder=tmp_path, tally=found.append)) == alone
    assert found == [Tally(COUNT, 0), Tally(0, COUNT)]


def test_a_changed_netlist_is_simulated_again(tmp_path: Path) -> None:
    found: list[Tally] = []
    for last in (1e3, 1.1e3):
        asked = [*wanted(2 * CHUNK), valve("op", 50e3, last, 2e-6)]
        batch.run(asked, folder=tmp_path, tally=found.append)
    assert found[1] == Tally(simulated=1, kept=2 * CHUNK)


def test_progress_counts_netlists() -> None:
    told: list[tuple[int, int]] = []
    batch.run(iter(wanted()), total=COUNT, progress=lambda done, total, _: told.append((done, total)))
    assert told[-1] == (COUNT, COUNT)
    assert [done for done, _ in told] == sorted(done for done, _ in told)


KILLED = """
import sys; sys.path.insert(0, ".")
from ampsim.simulation import batch
from tests.simulation.test_batch import CHUNK, wanted
def tell(done, total, text):
    print(done, flush=True)
    if done >= 9 * CHUNK:
        sys.stdin.read()  # to be killed before the end
batch.run(wanted({count}), folder={folder!r}, workers=1, progress=tell)
"""


def test_a_killed_campaign_goes_on_where_it_was(tmp_path: Path) -> None:
    count = 12 * CHUNK
    script = KILLED.format(count=count, folder=str(tmp_path))
    with subprocess.Popen(
        [sys.executable, "-c", script], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, encoding="utf-8"
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if int(line) >= 4 * CHUNK:
                break
        process.kill()
        process.wait()
    chunks = len(list(tmp_path.glob("*.npz")))
    assert 4 <= chunks < 12
    found: list[Tally] = []
    outcomes = batch.run(wanted(count), folder=tmp_path, tally=found.append)
    assert found == [Tally(simulated=count - chunks * CHUNK, kept=chunks * CHUNK)]
    assert numbers(outcomes) == numbers(batch.run(wanted(count)))


def test_ctrl_c_stops_and_keeps(tmp_path: Path) -> None:
    def tell(done: int, _total: int, _text: str) -> None:
        if done >= CHUNK:
            signal.raise_signal(signal.SIGINT)

    before = set(threading.enumerate())
    with pytest.raises(KeyboardInterrupt):
        batch.run(wanted(20 * CHUNK), folder=tmp_path, workers=2, progress=tell)
    # Threads of the campaign have ended with it.
    assert not [each for each in set(threading.enumerate()) - before if "ThreadPool" in each.name]
    found: list[Tally] = []
    batch.run(wanted(20 * CHUNK), folder=tmp_path, tally=found.append)
    assert found[0].kept >= CHUNK


def test_ctrl_c_gives_up_a_chunk_at_work() -> None:
    endless = [low_pass("tran 1e-09 1.0 0.0 1e-09", end=1.0, r1=1e3 + number) for number in range(4)]
    began = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        interrupted(1.0, lambda: batch.run(endless, workers=2))  # which wakes nobody who waits: so it comes on Windows
    # The netlists would go on for minutes; the guard against endless ones ends them after one.
    assert time.monotonic() - began < 30.0


def test_an_executor_that_is_lost_says_so_and_what_was_done_is_kept(tmp_path: Path) -> None:
    with pytest.raises(EngineError, match="ConnectionError: the other machine is gone"):
        batch.run(wanted(), folder=tmp_path, executor=Counted(fail_after=2))
    again = Counted()
    batch.run(wanted(), folder=tmp_path, executor=again)
    assert again.chunks == 2


def truncated(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-100])


def emptied(path: Path) -> None:
    path.write_bytes(b"")


def flipped(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[200] ^= 0xFF
    path.write_bytes(bytes(content))


def pickled(path: Path) -> None:
    np.savez(path, **{name: np.array([Path], dtype=object) for name in ("numbers", "points", "scaled", "paired")})


def fewer(path: Path) -> None:
    with np.load(path, allow_pickle=False) as stored:
        np.savez(path, **({name: stored[name] for name in stored} | {"numbers": stored["numbers"][:-1]}))


def not_finite(path: Path) -> None:
    with np.load(path, allow_pickle=False) as stored:
        np.savez(path, **({name: stored[name] for name in stored} | {"numbers": stored["numbers"] * np.nan}))


def of_texts(path: Path) -> None:
    with np.load(path, allow_pickle=False) as stored:
        np.savez(path, **({name: stored[name] for name in stored} | {"points": np.array(["1"] * CHUNK)}))


def blown_up(path: Path) -> None:
    with np.load(path, allow_pickle=False) as stored:
        np.savez_compressed(path, **({name: stored[name] for name in stored} | {"numbers": np.zeros(10_000_000)}))


def huge(path: Path) -> None:
    header = b"\x93NUMPY\x01\x00v\x00{'descr': '<f8', 'fortran_order': False, 'shape': (999999999999999,), }".ljust(127)
    with zipfile.ZipFile(path, "w") as file:
        for name in ("numbers", "points", "scaled", "paired", "problems", "notes"):
            file.writestr(f"{name}.npy", header + b"\n")


def edited(path: Path) -> None:
    with np.load(path, allow_pickle=False) as stored:
        np.savez(path, **({name: stored[name] for name in stored} | {"numbers": stored["numbers"] * 1.001}))


def copied_over(path: Path) -> None:
    batch.run(wanted(2 * CHUNK)[CHUNK:], folder=path.parent)
    (other,) = set(path.parent.glob("*.npz")) - {path}
    other.replace(path)


@pytest.mark.parametrize(
    "harm",
    [edited, copied_over, truncated, emptied, flipped, pickled, fewer, not_finite, of_texts, blown_up, huge],
    ids=lambda f: f.__name__,
)
def test_a_damaged_or_foreign_file_counts_as_not_there(
    harm: Callable[[Path], None], tmp_path: Path, alone: list[list[float]]
) -> None:
    batch.run(wanted(CHUNK), folder=tmp_path)
    (kept,) = tmp_path.glob("*.npz")
    harm(kept)
    found: list[Tally] = []
    assert numbers(batch.run(wanted(CHUNK), folder=tmp_path, tally=found.append)) == alone[:CHUNK]
    assert found == [Tally(simulated=CHUNK, kept=0)]
    # And it has been replaced.
    batch.run(wanted(CHUNK), folder=tmp_path, tally=found.append)
    assert found[1].simulated == 0


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(DescriptionError, match="cannot keep a campaign there"):
        batch.run(wanted(1), folder=tmp_path / "file" / "folder")
