"""Where Linux, macOS and Windows differ; no other module asks which system this is, but for where libraries lie."""

from __future__ import annotations

import contextlib
import errno
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, wait
from typing import Any, TypeVar

_Result = TypeVar("_Result")

TICK = 0.1  # s; a wait without an end hears no Ctrl-C on Windows
# Windows: access denied, in use by another process, a part of it locked.
_HELD = (5, 32, 33)
# Between tries, 0.75 s in all: a scanner, an indexer or a reader lets go of a file soon.
_PAUSES = (0.05, 0.1, 0.2, 0.4)


def cores() -> int:
    """Count the processor cores this process may use."""
    if sys.platform == "linux":
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def apart() -> dict[str, Any]:
    """Options of `subprocess.Popen` for a process that keys typed at the terminal do not reach, without a window."""
    if sys.platform == "win32":
        return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.CREATE_NO_WINDOW}
    return {"start_new_session": True}


def is_suspended(process: int) -> bool:
    """Whether a process, given by its number, was stopped and not ended: it may never go on."""
    import psutil

    with contextlib.suppress(psutil.Error):
        return bool(psutil.Process(process).status() == psutil.STATUS_STOPPED)
    return False


def ending(code: int) -> str:
    """How a process ended, in words, from its exit status."""
    if code < 0:
        return f"killed by signal {-code}"
    # Windows gives a fault as a large number, known by its hexadecimal digits.
    return f"exit status {code if code < 1 << 31 else hex(code)}"


def after_fork(function: Callable[[], object]) -> None:
    """Call a function in every process that is forked from this one, where the system forks."""
    if sys.platform != "win32":
        os.register_at_fork(after_in_child=function)


def as_done(futures: Iterable[Future[_Result]]) -> Iterator[Future[_Result]]:
    """Futures one by one as they are done, waited for in short steps, so that Ctrl-C ends the wait on every system."""
    waiting = set(futures)
    while waiting:
        done, waiting = wait(waiting, TICK, FIRST_COMPLETED)
        yield from done


def lacks_signs() -> bool:
    """Whether files and pipes get a code page without many a sign of the trade, unless told otherwise."""
    return sys.platform == "win32"


def is_reader_gone(problem: OSError) -> bool:
    """Whether something could not be written because the program that read our output has ended."""
    return isinstance(problem, BrokenPipeError) or (
        sys.platform == "win32" and problem.errno == errno.EINVAL and problem.filename is None
    )


def patiently(action: Callable[[], _Result]) -> _Result:
    """Do something with a file; while another program holds it, as Windows lets programs do, a few times more.

    Raises
    ------
    OSError
        That of the last try; any other kind of the first one.
    """
    for pause in _PAUSES:
        try:
            return action()
        except OSError as problem:
            if getattr(problem, "winerror", None) not in _HELD:
                raise
        time.sleep(pause)
    return action()
