"""What only some systems have, as marks for tests; and processes, looked at the same way on every system."""

from __future__ import annotations

import _thread
import os
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import psutil
import pytest

_WORKER = "ampsim.simulation.ngspice.worker"


def _makes_links() -> bool:
    with tempfile.TemporaryDirectory() as name:
        link = Path(name, "link")
        try:
            link.symlink_to(name, target_is_directory=True)
        except OSError:
            return False
        return link.is_symlink()


needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="a process does not fork on this system")
needs_pipes = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipe can stand among files on this system")
needs_links = pytest.mark.skipif(not _makes_links(), reason="this system, or this user, makes no symbolic links")


def workers(parent: int) -> list[int]:
    """Numbers of the simulator processes that a process started.

    A process may have other children that are none of ours, as the one that keeps track of Python's shared locks; and
    a virtual environment of Windows starts the real Python from one that only waits for it.
    """
    try:
        found = [each for each in psutil.Process(parent).children(recursive=True) if _is_worker(each)]
        waiting = {each.ppid() for each in found}
    except psutil.NoSuchProcess:
        return []
    return [each.pid for each in found if each.pid not in waiting]


def _is_worker(process: psutil.Process) -> bool:
    try:
        return process.status() != psutil.STATUS_ZOMBIE and _WORKER in process.cmdline()
    except (psutil.Error, OSError):  # OSError: one that is only starting, on Windows
        return False


def gone(process: int) -> bool:
    """Whether a process has ended, waited for or not."""
    try:
        return bool(psutil.Process(process).status() == psutil.STATUS_ZOMBIE)
    except psutil.NoSuchProcess:
        return True


def kill(process: int) -> None:
    """End a process at once, without a word to it."""
    psutil.Process(process).kill()


def suspend(process: int) -> None:
    """Stop a process without ending it; the test is skipped where the system keeps that to itself, as wine does."""
    stopped = psutil.Process(process)
    stopped.suspend()
    if not wait_for(lambda: stopped.status() == psutil.STATUS_STOPPED, 20.0):
        stopped.resume()
        assert sys.platform == "win32"
        pytest.skip("this system does not say that a process is suspended")


def interrupted(seconds: float, work: Callable[[], object]) -> None:
    """Do some work, and interrupt it after a while [s] as Ctrl-C does; never what comes before it or after it."""
    timer = threading.Timer(seconds, _thread.interrupt_main)
    timer.start()
    try:
        work()
    finally:
        timer.cancel()


def wait_for(condition: Callable[[], bool], seconds: float = 120.0) -> bool:
    """Wait until something holds; whether it does in the end."""
    end = time.monotonic() + seconds
    while not condition() and time.monotonic() < end:
        time.sleep(0.02)
    return condition()


def wait_for_work(processes: Sequence[int], seconds: float, longest: float) -> bool:
    """Wait until each process has computed for some time [s]; whether it has in the end.

    Wine gives the times of the process that asks for those of any other: there as many seconds go by tenfold.
    """
    if all(_computed(each) == _computed(os.getpid()) for each in processes):
        time.sleep(10 * seconds)
        return True
    before = {each: _computed(each) for each in processes}
    return wait_for(lambda: all(_computed(each) > before[each] + seconds for each in processes), longest)


def _computed(process: int) -> float:
    return float(psutil.Process(process).cpu_times().user)


def temporary(folder: Path) -> dict[str, str]:
    """Variables that have a process keep its temporary files in a folder."""
    return dict.fromkeys(("TMPDIR", "TEMP", "TMP"), str(folder))
