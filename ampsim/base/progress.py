"""How far a long call has come: one kind of callback, one way to stop, and a bar with the time that remains."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from types import TracebackType
from typing import TYPE_CHECKING, Any

from .notebook import in_notebook
from .system import TICK

if TYPE_CHECKING:
    from typing import Self

# Called with what is done, of how much, and of what ("simulations"). Raising `Stopped` in it stops the work.
Progress = Callable[[int, int, str], object]

SIMULATIONS = "simulations"
_DELAY = 1.0  # s
_PAUSE = 0.2  # s


_instead: ContextVar[Progress | None] = ContextVar("instead of a bar", default=None)


@contextmanager
def told_instead(progress: Progress) -> Iterator[None]:
    """Within it bars of this thread are not shown: `progress` is told, and may stop the work."""
    before = _instead.set(progress)
    try:
        yield
    finally:
        _instead.reset(before)


class ProgressBar:
    """A bar with the remaining time, from the second second on, at a terminal or in a notebook only.

    Gone when left as a context manager.
    """

    def __init__(self) -> None:
        self._begin = time.monotonic()
        self._bar: Any = None
        self._instead = _instead.get()
        self._notebook = in_notebook()
        self._shown = self._notebook or (sys.stderr is not None and sys.stderr.isatty())

    def __call__(self, done: int, total: int, text: str) -> None:
        """Show the state, five times a second at most."""
        if self._instead is not None:
            self._instead(done, total, text)
            return
        if not self._shown or (self._bar is None and time.monotonic() - self._begin < _DELAY):
            return
        if self._bar is None:
            self._bar = _NotebookLine() if self._notebook else _bar(done, total, text)
        self._bar.total = total
        self._bar.set_description_str(text, refresh=False)
        self._bar.update(done - self._bar.n)

    def close(self) -> None:
        """Leave an empty line behind."""
        if self._bar is not None:
            self._bar.close()
            self._bar = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self.close()


class _NotebookLine:
    """A line in the cell that runs, not red as errors are, and nothing of it stays in the notebook."""

    def __init__(self) -> None:
        self.n, self.total, self._text = 0, 0, ""
        self._begin = self._last = time.monotonic()
        self._first = 0
        self._handle: Any = None

    def set_description_str(self, text: str, refresh: bool) -> None:
        """Of what it counts."""
        self._text = text

    def update(self, more: int) -> None:
        """Count, and show it five times a second at most."""
        self.n += more
        now = time.monotonic()
        if self._handle is None:
            from IPython.display import display

            self._first, self._begin = self.n, now
            self._handle = display(_plain(self._words(now)), raw=True, display_id=True)
        elif now - self._last >= _PAUSE:
            self._handle.update(_plain(self._words(now)), raw=True)
            self._last = now

    def close(self) -> None:
        """Leave nothing to be seen."""
        if self._handle is not None:
            self._handle.update({"text/html": "", "text/plain": ""}, raw=True)

    def _words(self, now: float) -> str:
        done = self.n - self._first
        left = f", {(self.total - self.n) * (now - self._begin) / done:.0f} s left" if done > 0 else ""
        return f"{self._text}: {self.n} of {self.total}{left}"


def _plain(words: str) -> dict[str, str]:
    return {"text/plain": words}


def quiet(_done: int, _total: int, _text: str) -> None:
    """Progress that nobody asks for."""


def part_of(progress: Progress | None, before: int, total: int) -> Progress | None:
    """Progress of one of several passes as part of the whole: `before` steps of `total` are done when it begins."""
    return None if progress is None else lambda done, _, text: progress(before + done, total, text)


def throttled(progress: Progress) -> Progress:
    """Calls `progress` when the number done has changed, and every tick besides: a caller may want to stop the work."""
    told, then = 0, time.monotonic()

    def report(done: int, total: int, text: str) -> None:
        nonlocal told, then
        now = time.monotonic()
        if done != told or now - then >= TICK:
            told, then = done, now
            progress(done, total, text)

    return report


def _bar(done: int, total: int, text: str) -> Any:
    from tqdm import tqdm

    class Bar(tqdm):  # type: ignore[misc]
        # No thread beside that watches the bar: a call that forks or is killed leaves nothing behind.
        monitor_interval = 0

    return Bar(
        desc=text, total=total, initial=done, file=sys.stderr, leave=False, mininterval=_PAUSE, miniters=1,
        dynamic_ncols=True,
    )  # fmt: skip
