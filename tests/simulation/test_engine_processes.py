"""Whatever happens to a simulator process: the caller gets its numbers or one clear error, and nothing is left."""

from __future__ import annotations

import io
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import psutil
import pytest

from ampsim.base.errors import EngineError
from ampsim.base.progress import ProgressBar
from ampsim.base.system import apart, cores
from ampsim.simulation.ngspice import engine, pool
from ampsim.simulation.ngspice.engine import Arrays, Outcome
from ampsim.simulation.ngspice.library import find
from ampsim.simulation.ngspice.pool import POOL
from tests.tools.small_circuits import LOW_PASS, SWEEP, C, R, arrays, low_pass, one, valve
from tests.tools.systems import gone, kill, needs_fork, suspend, temporary, wait_for, wait_for_work, workers

ROOT = Path(__file__).resolve().parents[2]


# A Python with numpy starts within this on a busy machine, under wine too; what is promised is measured from then on.
START = 240.0  # s
ENDLESS = low_pass("tran 1e-09 1.0 0.0 1e-09", end=1.0)


def test_memory_stays_level() -> None:
    def size() -> int:
        (worker,) = POOL.take(1)
        POOL.give([worker])
        return int(psutil.Process(worker._process.pid).memory_info().rss)

    mixed = [low_pass(SWEEP, r1=1e3 + k) for k in range(20)] + [low_pass("op"), valve(SWEEP, 1e5, 1e3, 1e-6)]
    # The first two thousand runs take the simulator to its size; from there on it may not grow.
    engine.run(mixed * 160, workers=1)
    before = size()
    engine.run(mixed * 100, workers=1)
    assert size() < 1.02 * before


def test_killed_worker_is_replaced_with_the_same_numbers() -> None:
    sweep = [low_pass(SWEEP, r1=1e3 + k) for k in range(400)]
    expected = engine.run(sweep, workers=2)
    killed: list[int] = []

    def kill_all(done: int, total: int, _: str) -> None:
        if done >= 100 and not killed:
            killed.extend(workers(os.getpid()))
            for pid in killed:
                kill(pid)

    outcomes = engine.run(sweep, workers=2, progress=kill_all)
    assert len(killed) >= 2
    for got, wanted in zip(outcomes, expected, strict=True):
        np.testing.assert_allclose(arrays(got).vectors["v(a)"], arrays(wanted).vectors["v(a)"], rtol=1e-9)


def test_worker_killed_between_runs_is_replaced() -> None:
    engine.run([low_pass("op")])
    for pid in workers(os.getpid()):
        kill(pid)
    assert one(low_pass("op")).vectors["v(a)"] == pytest.approx([2.0])


def test_a_stopped_worker_is_replaced_long_before_its_time_is_up() -> None:
    engine.run([low_pass("op")])
    (pid, *_) = workers(os.getpid())
    for each in workers(os.getpid()):
        suspend(each)
    found: list[Outcome] = []
    run = threading.Thread(target=lambda: found.extend(engine.run([low_pass("op")], timeout=3600.0)), daemon=True)
    run.start()
    run.join(100.0)
    assert found
    assert arrays(found[0]).vectors["v(a)"] == pytest.approx([2.0])
    assert wait_for(lambda: gone(pid))


def test_want_of_memory_for_an_answer_is_said_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    def starve(_: object) -> None:
        raise MemoryError

    POOL.close()
    monkeypatch.setattr(pool, "receive", starve)
    with pytest.raises(MemoryError):
        engine.run([low_pass("op")], timeout=3600.0)
    monkeypatch.undo()
    assert one(low_pass("op")).vectors["v(a)"] == pytest.approx([2.0])


def test_endless_netlist_times_out_alone() -> None:
    batch = [low_pass("op"), ENDLESS, *[low_pass(SWEEP, r1=1e3 + k) for k in range(20)]]
    outcomes = engine.run(batch, workers=2, timeout=1.0)
    assert isinstance(outcomes[1], EngineError)
    assert "took longer than 1 s, twice" in str(outcomes[1])
    for outcome in outcomes[:1] + outcomes[2:]:
        arrays(outcome)


def test_runs_from_several_threads_at_once() -> None:
    def sweep(first: float) -> list[float]:
        batch = [low_pass(SWEEP, r1=first + k) for k in range(60)]
        return [abs(arrays(a).vectors["v(a)"][-1]) for a in engine.run(batch, workers=2)]

    starts = (1e3, 2e3, 5e3)
    with ThreadPoolExecutor(3) as threads:
        together = list(threads.map(sweep, starts))
    for first, got in zip(starts, together, strict=True):
        expected = [1 / abs(1 + 2j * np.pi * 1e5 * (first + k) * C) for k in range(60)]
        np.testing.assert_allclose(got, expected, rtol=1e-9)
    # Workers beyond the number of cores do not stay.
    assert len(workers(os.getpid())) <= max(cores(), 2)


def test_another_process_is_started_only_where_work_lasts(monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[pool.Worker] = []

    class Counted(pool.Worker):
        def __init__(self, library: Path) -> None:
            started.append(self)
            super().__init__(library)

    def started_for(threads: int, patience: float) -> int:
        monkeypatch.setattr(engine, "_PATIENCE", patience, raising=False)
        POOL.close()
        started.clear()
        sweep = [low_pass(SWEEP, r1=1e3 + k) for k in range(40)]
        with ThreadPoolExecutor(threads) as several:
            for outcomes in several.map(lambda _: engine.run(sweep), range(6)):
                assert [abs(arrays(each).vectors["v(a)"][0]) for each in outcomes] == pytest.approx(
                    [1.0] * 40, rel=1e-3
                )
        return len(started)

    monkeypatch.setattr(pool, "Worker", Counted)
    monkeypatch.setattr(pool, "cores", lambda: 2)
    assert started_for(1, 3600.0) == 1
    # Each has its own, and none waits for long: what one thread has done with is the other's.
    assert started_for(2, 3600.0) == 2
    assert started_for(3, 3600.0) <= 3
    assert started_for(1, 0.0) == 2


class Terminal(io.StringIO):
    """A terminal that remembers."""

    def isatty(self) -> bool:
        return True


def test_progress_bar_appears_late_tells_the_rest_and_vanishes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ampsim.base.progress._DELAY", 3600.0)
    monkeypatch.setattr("ampsim.base.progress._PAUSE", 0.0)
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    before = set(threading.enumerate())
    with ProgressBar() as bar:
        bar(1, 20, "simulations")
        assert terminal.getvalue() == ""
        monkeypatch.setattr("ampsim.base.progress._DELAY", 0.0)
        bar(10, 20, "simulations")
        time.sleep(0.1)
        bar(15, 20, "simulations")
    assert set(threading.enumerate()) <= before
    assert re.search(r"simulations:  50%.* 10/20 .*\rsimulations:  75%.* 15/20 \[00:\d\d<00:\d", terminal.getvalue())
    assert not terminal.getvalue().split("\r")[-1].strip()


def test_no_progress_bar_without_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ampsim.base.progress._DELAY", 0.0)
    monkeypatch.setattr(sys, "stderr", quiet := io.StringIO())
    monkeypatch.delitem(sys.modules, "ipykernel", raising=False)
    with ProgressBar() as bar:
        bar(1, 20, "simulations")
    assert quiet.getvalue() == ""


@needs_fork
def test_forked_process_leaves_the_workers_alone() -> None:
    engine.run([low_pass("op")])
    before = workers(os.getpid())
    child = os.fork()
    if not child:
        fine = isinstance(engine.run([low_pass("op")])[0], Arrays)
        POOL.close()
        os._exit(0 if fine else 1)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    assert workers(os.getpid()) == before
    arrays(engine.run([low_pass("op")])[0])


SCRIPT = """
import os, sys, time
from ampsim.simulation.netlist import Netlist
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.protocol import Form
text = {text!r}
def sweep(n, command, points, end):
    return [Netlist(Form((text,), (), command, ("v(a)",), points, end), ())] * n
"""


_STARTED: list[subprocess.Popen[str]] = []


@pytest.fixture(autouse=True)
def no_script_goes_on() -> Iterator[None]:
    """End what a test that failed has left at work."""
    yield
    while _STARTED:
        process = _STARTED.pop()
        if process.poll() is None:
            process.kill()
            process.communicate()


def script(folder: Path, body: str, **environment: str) -> subprocess.Popen[str]:
    """Start a plain script, without a __main__ guard, in a folder of its own."""
    text = LOW_PASS.format(r1=R, c1=C)
    path = folder / "script.py"
    path.write_text(SCRIPT.format(text=text) + body, "utf-8")
    process = subprocess.Popen(
        [sys.executable, str(path)], cwd=folder, encoding="utf-8",
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": str(ROOT)} | environment, **apart(),
    )  # fmt: skip
    _STARTED.append(process)
    return process


def test_start_files_of_others_are_not_run(tmp_path: Path) -> None:
    marks = [tmp_path / "folder-mark", tmp_path / "library-mark"]
    (tmp_path / "scripts").mkdir()
    for name, mark in zip((".spiceinit", "scripts/spinit"), marks, strict=True):
        (tmp_path / name).write_text(f"* start file\necho read > {mark.as_posix()}\n", "utf-8")
    variables = dict.fromkeys(("HOME", "USERPROFILE", "SPICE_LIB_DIR"), str(tmp_path))
    bare = (
        "import sys, pathlib; from ampsim.simulation.ngspice.library import preload; "
        "preload(pathlib.Path(sys.argv[1])); "
        "from PySpice.Spice.NgSpice.Shared import NgSpiceShared as S; S.LIBRARY_PATH = sys.argv[1]; S()"
    )
    command = [sys.executable, "-c", bare, str(find())]
    subprocess.run(command, cwd=tmp_path, env=os.environ | variables, check=False, capture_output=True)
    assert all(mark.exists() for mark in marks), "the traps do not work: the check below would prove nothing"
    for mark in marks:
        mark.unlink()
    process = script(tmp_path, "print(engine.run(sweep(1, 'op', 1, 0.0))[0].vectors['v(a)'])\n", **variables)
    assert process.communicate(timeout=START)[0].strip() == "[2.]"
    assert not any(mark.exists() for mark in marks)


def test_script_without_guard_leaves_nothing_behind(tmp_path: Path) -> None:
    (tmp_path / "temporary").mkdir()
    body = "print(sum(len(a.scale) for a in engine.run(sweep(50, 'ac dec 10 10.0 1e5', 41, 0.0), workers=2)))\n"
    process = script(tmp_path, body, **temporary(tmp_path / "temporary"))
    out, err = process.communicate(timeout=START)
    assert (out.strip(), err) == (str(50 * 41), "")
    assert not list((tmp_path / "temporary").iterdir())


BUSY = "engine.run(sweep(4, 'tran 1e-9 1.0 0.999999 1e-9', 0, 1.0), workers=2)\n"


def start_busy(folder: Path, body: str) -> tuple[subprocess.Popen[str], Sequence[int]]:
    """Start a script whose two workers are both in the middle of an endless transient."""
    (folder / "temporary").mkdir()
    process = script(folder, body, **temporary(folder / "temporary"))
    assert wait_for(lambda: len(workers(process.pid)) == 2, START), "workers did not start"
    pids = workers(process.pid)
    # One that is ready has removed its folder; from then on only a transient keeps its core busy.
    assert wait_for(lambda: not list((folder / "temporary").glob("ampsim-*")), START), "workers are not ready"
    assert wait_for_work(pids, 0.2, START)
    return process, pids


def interrupt(process: subprocess.Popen[str]) -> None:
    """Interrupt the whole group, as Ctrl-C does; where nobody else can, the script itself."""
    if hasattr(os, "killpg"):
        os.killpg(process.pid, signal.SIGINT)
    else:
        assert process.stdin is not None
        process.stdin.write("now\n")
        process.stdin.flush()


def test_interrupt_stops_a_long_sweep(tmp_path: Path) -> None:
    body = f"""
import _thread, threading
threading.Thread(target=lambda: sys.stdin.readline() and _thread.interrupt_main(), daemon=True).start()
try:
    {BUSY}
except KeyboardInterrupt:
    from ampsim.simulation.ngspice.pool import POOL
    print("interrupted", len(POOL._idle), flush=True)
print(engine.run(sweep(1, 'op', 1, 0.0))[0].vectors['v(a)'])
"""
    process, pids = start_busy(tmp_path, body)
    begin = time.monotonic()
    interrupt(process)
    assert process.stdout is not None
    said = process.stdout.readline()
    # A second is what is promised; the rest is for a busy machine. Left alone the transients would go on for a minute.
    assert time.monotonic() - begin < 20.0
    out, err = process.communicate(timeout=START)
    assert (said + out, err) == ("interrupted 0\n[2.]\n", "")
    assert all(gone(pid) for pid in pids)
    assert not list((tmp_path / "temporary").iterdir())


def test_workers_end_with_a_killed_caller(tmp_path: Path) -> None:
    process, pids = start_busy(tmp_path, BUSY)
    process.kill()
    process.communicate()
    assert wait_for(lambda: all(gone(pid) for pid in pids), START)
    assert not list((tmp_path / "temporary").iterdir())


def test_starting_workers_end_with_a_killed_caller(tmp_path: Path) -> None:
    (tmp_path / "temporary").mkdir()
    process = script(tmp_path, BUSY, **temporary(tmp_path / "temporary"))
    assert wait_for(lambda: bool(workers(process.pid)), START)
    pids = workers(process.pid)
    process.kill()
    process.communicate()
    assert wait_for(lambda: all(gone(pid) for pid in pids), START)
    # Another one may have begun since they were counted; it ends by itself too.
    assert wait_for(lambda: not list((tmp_path / "temporary").iterdir()), START)


def test_nothing_is_left_when_all_are_killed_at_once(tmp_path: Path) -> None:
    process, pids = start_busy(tmp_path, BUSY)
    for pid in (process.pid, *pids):
        kill(pid)
    process.communicate()
    # What a killed process held goes a moment later on Windows.
    assert wait_for(lambda: not list((tmp_path / "temporary").iterdir()), START)


def test_worker_that_cannot_start_says_why(tmp_path: Path) -> None:
    wrong = tmp_path / "libngspice.so.0"
    wrong.write_bytes(b"not a library")
    body = """
from ampsim.base.errors import EngineError
try:
    engine.run(sweep(3, 'op', 1, 0.0))
except EngineError as problem:
    print(problem)
"""
    out, err = script(tmp_path, body, AMPSIM_NGSPICE=str(wrong)).communicate(timeout=START)
    assert "libngspice.so.0" in out
    assert err == ""
