"""A line on stderr that shows how far a long call has come."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable


def simulations(done: int, total: int) -> str:
    """How far simulations are."""
    return f"{done} of {total} simulations"


class Line:
    """Progress on one line, from the second second on, at a terminal or in a notebook only."""

    def __init__(self, words: Callable[[int, int], str] = simulations) -> None:
        self._words = words
        self._next = time.monotonic() + 1.0
        self._width = 0
        self._shown = sys.stderr is not None and (sys.stderr.isatty() or "ipykernel" in sys.modules)

    def show(self, done: int, total: int) -> None:
        """Show the state, five times a second at most."""
        now = time.monotonic()
        if self._shown and now >= self._next:
            self._next = now + 0.2
            self._write(self._words(done, total))

    def clear(self) -> None:
        """Leave an empty line behind."""
        if self._width:
            self._write("")
            self._write("")

    def _write(self, text: str) -> None:
        print("\r" + text.ljust(self._width), end="", file=sys.stderr, flush=True)
        self._width = len(text)
