"""A simulator process, run as a module with the path of the library and a folder to work in.

It answers tasks on its input until that closes, and removes the folder.
"""

from __future__ import annotations

import contextlib
import io
import os
import signal
import sys
from pathlib import Path
from queue import SimpleQueue
from threading import Thread
from typing import TYPE_CHECKING

from ...base.errors import EngineError
from .protocol import Answer, Form, Ready, Task, Unusable, receive, send

if TYPE_CHECKING:
    from .session import Session

# Runs after which the process asks to be replaced; ngspice 39 grew by 0.2 % in 10,000.
_MOST_RUNS = 20_000


def main() -> None:
    """Serve tasks; never returns."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Before the library is loaded, which runs the start file of the folder it is in.
    os.chdir(sys.argv[2])
    tasks_from, answers_to = io.FileIO(os.dup(0)), io.FileIO(os.dup(1), "w")
    # Whatever else reads or prints must not touch the messages.
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    os.dup2(2, 1)
    tasks: SimpleQueue[Task] = SimpleQueue()
    Thread(target=_listen, args=(tasks_from, tasks), daemon=True).start()
    try:
        _serve(tasks, answers_to)
    except OSError:
        # The caller is gone: a BrokenPipeError, but not on every system.
        _leave()


def _listen(pipe: io.FileIO, tasks: SimpleQueue[Task]) -> None:
    """Hand tasks on; end the process, even in the middle of a simulation, when the caller is gone."""
    while True:
        try:
            task, _ = receive(pipe)
        except (EOFError, OSError):
            _leave()
        tasks.put(task)


def _leave() -> None:
    _remove_folder()
    os._exit(0)


def _remove_folder() -> None:
    """Remove the private working folder; ngspice has read its empty start file and needs it no more."""
    with contextlib.suppress(OSError):
        # Not every system removes a folder that a process works in. Its parent is asked of nobody: `tempfile` tries a
        # folder by a file, which stays there when the caller ends this process meanwhile.
        os.chdir(os.path.dirname(sys.argv[2]))
        os.unlink(os.path.join(sys.argv[2], ".spiceinit"))
        os.rmdir(sys.argv[2])


def _serve(tasks: SimpleQueue[Task], pipe: io.FileIO) -> None:
    try:
        session, versions = _begin(Path(sys.argv[1]))
    except Exception as problem:
        send(pipe, Unusable(f"ngspice could not be started: {problem}"))
        return
    _remove_folder()
    send(pipe, Ready(versions))
    runs = 0
    while True:
        task = tasks.get()
        for number, values in task.netlists:
            runs += 1
            answer, body = _answer(session, task.forms[number], values)
            send(pipe, answer._replace(spent=answer.spent or runs >= _MOST_RUNS), body)


def _begin(library: Path) -> tuple[Session, dict[str, str]]:
    from .library import load
    from .session import Session

    load(library)
    session = Session(library)
    return session, session.versions()


def _answer(session: Session, form: Form, values: tuple[float, ...]) -> tuple[Answer, bytes]:
    from .session import LoadError

    try:
        numbers = session.simulate(form, values)
    except EngineError as problem:
        return Answer(0, False, False, fault=str(problem), spent=isinstance(problem, LoadError)), b""
    except Exception as problem:
        # A fault in the binding itself belongs to this netlist; the process is not trusted any further.
        return Answer(0, False, False, fault=f"{type(problem).__name__}: {problem}", spent=True), b""
    scale = b"" if numbers.scale is None else numbers.scale.tobytes()
    head = Answer(numbers.rows.shape[1], bool(scale), numbers.rows.dtype.kind == "c", numbers.notes)
    return head, scale + numbers.rows.tobytes()


if __name__ == "__main__":
    main()
