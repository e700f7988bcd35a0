"""What part of some work's processor time the solvers take: ngspice in its processes, and those under `simulation`."""

from __future__ import annotations

import sys
import tempfile
import threading
import time
from collections.abc import Callable
from types import FrameType

import psutil
import pytest

_SOLVERS = tuple(f"/ampsim/simulation/{name}/" for name in ("timestep", "small_signal", "ngspice"))
_EVERY = 0.01  # s, the grain of a thread's processor time


class _Watch(threading.Thread):
    """Looks again and again where each thread is that has used the processor since it last looked."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.solving = 0.0
        self.ended = threading.Event()

    def run(self) -> None:
        """Look until it is ended."""
        process = psutil.Process()
        before = _of_threads(process)
        while not self.ended.wait(_EVERY):
            now, frames = _of_threads(process), sys._current_frames()
            for thread in threading.enumerate():
                spent = now.get(thread.native_id, 0.0) - before.get(thread.native_id, 0.0)
                if spent > 0.0 and thread is not self and _solves(frames.get(thread.ident or 0)):
                    self.solving += spent
            before = now


def _of_threads(process: psutil.Process) -> dict[int | None, float]:
    return {each.id: each.user_time + each.system_time for each in process.threads()}


def _solves(frame: FrameType | None) -> bool:
    while frame is not None:
        if any(each in frame.f_code.co_filename.replace("\\", "/") for each in _SOLVERS):
            return True
        frame = frame.f_back
    return False


def _of_simulators() -> dict[int, float]:
    found = psutil.Process().children(recursive=True)
    return {each.pid: sum(each.cpu_times()[:2]) for each in found}


def over_solvers(work: Callable[[], object]) -> tuple[float, float]:
    """Processor time [s] of some work, simulators included and nothing kept, and what of it the solvers took.

    Simulators must run before; what they do besides ngspice, to take a question and hand over its answer, counts as
    theirs.
    """
    with pytest.MonkeyPatch.context() as patch, tempfile.TemporaryDirectory() as nothing_kept:
        patch.setenv("AMPSIM_CACHE", nothing_kept)
        before, begin, watch = _of_simulators(), time.process_time(), _Watch()
        watch.start()
        try:
            work()
        finally:
            watch.ended.set()
            watch.join()
        spent_here = time.process_time() - begin
    simulators = sum(spent - before.get(pid, 0.0) for pid, spent in _of_simulators().items())
    return spent_here + simulators, watch.solving + simulators
