"""Simulator processes: started early and in parallel, kept between calls, gone at exit."""

from __future__ import annotations

import atexit
import contextlib
import io
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import deque
from collections.abc import Iterable, Sequence
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Lock, Thread
from typing import IO, Any, cast

from ...base.errors import EngineError
from ...base.system import TICK, after_fork, apart, cores, ending, is_suspended
from .library import find
from .protocol import Ready, Task, receive, send

_LOG_TAIL = 600


class Worker:
    """A simulator process seen from the caller.

    `hand` lists the netlists it was given, in order. Pipes cannot be waited for together on every system, so a thread
    reads this one into `inbox`, where None is the end of the process, and rings the `bell` for each message.
    """

    def __init__(self, library: Path) -> None:
        self.library = library
        self.hand: deque[int] = deque()
        self.inbox: deque[tuple[Any, memoryview] | None] = deque()
        self.bell: SimpleQueue[Worker] = SimpleQueue()
        self.versions: dict[str, str] | None = None
        self.since = self._begun = time.monotonic()
        self.start_took = 0.0  # s, until its first message
        # True while a message is being taken: an interrupted worker cannot be talked to again.
        self._torn = False
        self._starved = False  # of memory, for a message
        self._folder = tempfile.mkdtemp(prefix="ampsim-")
        self._log: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115 (lives as long as the process)
        # An empty start file here keeps ngspice from running the one in the user's home.
        Path(self._folder, ".spiceinit").touch()
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", f"{__package__}.worker", str(library), self._folder],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._log, bufsize=0,
            cwd=_start_folder(), env=_environment(), **apart(),
        )  # fmt: skip
        self._to, self._from = cast("io.FileIO", self._process.stdin), cast("io.FileIO", self._process.stdout)
        self._reader = Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        message: tuple[Any, memoryview] | None = ((), memoryview(b""))
        while message is not None:
            try:
                message = receive(self._from)
            except MemoryError:
                message, self._starved = None, True
            except (EOFError, OSError, ValueError):
                message = None
            self.start_took = self.start_took or time.monotonic() - self._begun
            # In this order, and in the opposite one in `ring`, so that no message goes unheard.
            self.inbox.append(message)
            self.bell.put(self)

    def ring(self, bell: SimpleQueue[Worker]) -> None:
        """Ring this bell from now on, also for messages that have come already."""
        self.bell = bell
        for _ in range(len(self.inbox)):
            bell.put(self)

    @property
    def usable(self) -> bool:
        """Whether the process runs and has nothing in hand."""
        ended = bool(self.inbox) and self.inbox[-1] is None
        return not (self.hand or self._torn or ended) and self._process.poll() is None

    def send(self, task: Task, numbers: Sequence[int]) -> None:
        """Hand over netlists; a process that is gone shows at the next `receive`."""
        if not self.hand:
            self.since = time.monotonic()
        self.hand.extend(numbers)
        with contextlib.suppress(OSError):
            send(self._to, task)

    def receive(self) -> tuple[Any, memoryview]:
        """Take one message, waiting for it.

        Raises
        ------
        EOFError
            When the process is gone.
        MemoryError
            When this process has no room for its message.
        """
        message = self._take()
        self._torn = False
        self.since = time.monotonic()
        return message

    def _take(self) -> tuple[Any, memoryview]:
        while not self.inbox:
            with contextlib.suppress(Empty):
                self.bell.get(timeout=TICK)
        self._torn = True
        message = self.inbox.popleft()
        if message is None:
            raise MemoryError if self._starved else EOFError
        return message

    def greet(self) -> dict[str, str]:
        """Take the first message, the versions.

        Raises
        ------
        EngineError
            When the process cannot work.
        EOFError
            When it is gone.
        MemoryError
            As `receive`.
        """
        message, _ = self._take()
        if not isinstance(message, Ready):
            raise EngineError(message.reason)
        self.versions = message.versions
        self._torn = False
        return message.versions

    def last_words(self) -> str:
        """Say how the process ended and what it printed at the end."""
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(1.0)
        self._process.kill()
        ended = ending(self._process.wait())
        self._log.seek(0, os.SEEK_END)
        self._log.seek(max(0, self._log.tell() - _LOG_TAIL))
        printed = self._log.read().decode(errors="replace").strip()
        return f"{ended}; it printed: {printed}" if printed else ended

    def stillborn(self, how: str) -> str:
        """Say that it did not get as far as its first message."""
        return (
            f"a simulator process ended before it was ready: {how}; if that goes on, the ngspice library "
            f"{self.library} may be damaged: `ampsim setup` looks"
        )

    def is_suspended(self) -> bool:
        """Whether someone has stopped it, so that it may never go on."""
        return is_suspended(self._process.pid)

    def kill(self) -> None:
        """End the process now and remove what belongs to it."""
        self._process.kill()
        self._process.wait()
        self._reader.join(1.0)
        self.let_go()
        shutil.rmtree(self._folder, ignore_errors=True)

    def let_go(self) -> None:
        """Close the connections only: a process forked from the caller does not own the simulators."""
        for stream in (self._to, self._from, self._log):
            with contextlib.suppress(OSError):
                stream.close()


class Pool:
    """The idle simulator processes of this process."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._idle: list[Worker] = []
        self._out: set[Worker] = set()
        self._owner = os.getpid()
        self.start_takes = 0.3  # s, as the last one that was heard of took

    def take(self, count: int, fresh: bool = False) -> list[Worker]:
        """Take `count` workers, starting those that are missing, or all if `fresh`, without waiting for them."""
        workers = [] if fresh else self.take_idle(count)
        try:
            while len(workers) < count:
                worker = Worker(find())
                workers.append(worker)
                with self._lock:
                    self._out.add(worker)
        except BaseException:
            self.give(workers)
            raise
        return workers

    def take_idle(self, count: int) -> list[Worker]:
        """Take up to `count` workers that have nothing to do, and start none."""
        workers: list[Worker] = []
        with self._lock:
            while self._idle and len(workers) < count:
                worker = self._idle.pop()
                if worker.usable:
                    workers.append(worker)
                else:
                    worker.kill()
            self._out.update(workers)
        return workers

    @property
    def spare(self) -> int:
        """How many more may work so that there is one to a core; below none where there are more."""
        return cores() - len(self._out)

    def give(self, workers: Iterable[Worker]) -> None:
        """Take workers back; those still busy, and more than there are cores, are ended."""
        for worker in workers:
            with self._lock:
                self._out.discard(worker)
                keep = worker.usable and len(self._idle) < cores()
                if keep:
                    # The one used last is taken first, one that is still starting last.
                    self._idle.insert(len(self._idle) if worker.versions else 0, worker)
            if not keep:
                worker.kill()

    def end(self, worker: Worker) -> None:
        """End a worker that was taken."""
        with self._lock:
            self._out.discard(worker)
        worker.kill()

    def close(self) -> None:
        """End every idle worker."""
        with self._lock:
            idle, self._idle = self._idle, []
        if os.getpid() == self._owner:
            for worker in idle:
                worker.kill()

    def forget(self) -> None:
        """Start empty in a forked process, whose simulators belong to its parent."""
        for worker in self._idle:
            worker.let_go()
        self.__init__()  # type: ignore[misc]


def _start_folder() -> str:
    """Return a folder that outlives every worker, which goes to its own by itself.

    On Windows a console host starts beside each worker, in the same folder, and holds it after the worker was killed.
    """
    return os.path.dirname(os.path.abspath(sys.executable))


def _environment() -> dict[str, str]:
    """Give a worker this process's import path and none of the variables that direct ngspice."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("SPICE", "NGSPICE"))}
    package_root = str(Path(__file__).resolve().parents[3])
    path = [os.path.abspath(entry) for entry in [*sys.path, package_root] if os.pathsep not in entry]
    # One simulator uses one core: threads inside would only compete.
    threads = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    return kept | threads | {"PYTHONPATH": os.pathsep.join(dict.fromkeys(path))}


POOL = Pool()
atexit.register(POOL.close)
after_fork(POOL.forget)
