"""One long computation at a time, in a thread of its own; a newer one, or a stop, makes the older one's answer void."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext, suppress
from functools import wraps
from typing import Any, Concatenate, Generic, ParamSpec, Protocol, TypeVar

from ...base.errors import AmpsimError, Stopped
from ...base.progress import Progress

Answer = TypeVar("Answer")
Given = ParamSpec("Given")
Guard = AbstractContextManager[Any]
"""What is held while something changes: a lock that lets its holder in again."""


class HasGuard(Protocol):
    """What is changed by one thread at a time."""

    _guard: Guard


Self = TypeVar("Self", bound=HasGuard)


def one_at_a_time(
    method: Callable[Concatenate[Self, Given], Answer],
) -> Callable[Concatenate[Self, Given], Answer]:
    """Have a method wait until no other thread changes the same: messages of a browser come beside a cell that runs."""

    @wraps(method)
    def waiting(self: Self, /, *given: Given.args, **named: Given.kwargs) -> Answer:
        with self._guard:
            return method(self, *given, **named)

    return waiting


class BackgroundTask(Generic[Answer]):
    """Work that takes too long for a slider.

    `start` returns at once; the answer, or the error, is delivered on the event loop of the thread that called, or
    from the working thread where no loop runs; `guard` is held while it is.
    """

    def __init__(self, guard: Guard | None = None) -> None:
        self._guard = guard or nullcontext()
        self._ticket = 0
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def start(
        self,
        work: Callable[[Progress], Answer],
        deliver: Callable[[Answer | AmpsimError], None],
        report: Progress | None = None,
    ) -> None:
        """Do some work and deliver its answer, unless something newer was started or all was stopped meanwhile.

        `report` is called on the way with how far it is, where the answer is delivered.
        """
        ticket = self.stop()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            loop = None
        with self._lock:
            how = (ticket, work, deliver, report, loop, self._thread)
            self._thread = threading.Thread(target=self._go, args=how, name="ampsim-panel", daemon=True)
            self._thread.start()

    def stop(self) -> int:
        """Make whatever is under way void."""
        with self._lock:
            self._ticket += 1
            return self._ticket

    def join(self, seconds: float) -> None:
        """Wait for the work under way, so long at most [s]."""
        with self._lock:
            thread = self._thread
        if thread is not None:
            thread.join(seconds)

    def _go(
        self,
        ticket: int,
        work: Callable[[Progress], Answer],
        deliver: Callable[[Answer | AmpsimError], None],
        report: Progress | None,
        loop: asyncio.AbstractEventLoop | None,
        previous: threading.Thread | None,
    ) -> None:
        if previous is not None:
            previous.join()

        def progress(done: int, total: int, text: str) -> None:
            self._check_wanted(ticket)
            if report is not None:
                self._hand_over(ticket, loop, lambda: report(done, total, text))

        try:
            self._check_wanted(ticket)
            answer: Answer | AmpsimError = work(progress)
        except Stopped:
            return
        except AmpsimError as problem:
            answer = problem
        except Exception as fault:
            told = AmpsimError(f"a fault of the program, {type(fault).__name__}: {fault}")
            self._hand_over(ticket, loop, lambda: deliver(told))  # or who asked would wait for ever
            raise
        self._hand_over(ticket, loop, lambda: deliver(answer))

    def _hand_over(self, ticket: int, loop: asyncio.AbstractEventLoop | None, tell: Callable[[], object]) -> None:
        """Tell something where it was asked for, if it is still wanted there."""

        def tell_if_wanted() -> None:
            with self._guard:
                if ticket == self._ticket:
                    tell()

        if loop is None:
            tell_if_wanted()
        else:
            with suppress(RuntimeError):  # the loop is closed: nobody is there to be told
                loop.call_soon_threadsafe(tell_if_wanted)

    def _check_wanted(self, ticket: int) -> None:
        if ticket != self._ticket:
            raise Stopped("the answer is not wanted any more")
