"""One program at a time writes into a job folder, where the system has such locks."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator
from pathlib import Path

from .errors import DescriptionError

_NAME = ".job.lock"
_PATIENCE = 10.0  # s
_PAUSE = 0.02  # s


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[bool]:
    """Hold the job folder for oneself; says whether the system has such locks.

    A program that is killed lets go of it by being killed. The folder is made when it is missing.

    Raises
    ------
    DescriptionError
        When another program holds it for longer than ten seconds, or nothing can be written there.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(folder / _NAME, os.O_RDWR | os.O_CREAT, 0o666)
    except OSError as problem:
        raise DescriptionError(f"{folder}: nothing can be written here: {problem.strerror}") from None
    try:
        yield _taken(handle, folder)
    finally:
        os.close(handle)


def _taken(handle: int, folder: Path) -> bool:
    try:
        import fcntl
    except ImportError:
        return False
    begin = time.monotonic()
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() - begin > _PATIENCE:
                raise DescriptionError(f"{folder}: another program is writing this job; try again") from None
            time.sleep(_PAUSE)
        except OSError:  # a file system without locks
            return False
        else:
            return True
