"""How long a browser test waits for what must come: an end for what hangs, far beyond what a busy machine needs."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

WAIT = 240.0  # s


def patient(opened: Any) -> Any:
    """A page, or a context and all its pages, that waits so long."""
    opened.set_default_timeout(1e3 * WAIT)
    return opened


class PatientBrowser:
    """A browser whose pages all wait so long."""

    def __init__(self, running: Any) -> None:
        from playwright.sync_api import expect

        expect.set_options(timeout=1e3 * WAIT)
        self._running = running

    def new_page(self, **how: Any) -> Any:
        """A tab in a context of its own."""
        return patient(self._running.new_page(**how))

    def new_context(self, **how: Any) -> Any:
        """What tabs share."""
        return patient(self._running.new_context(**how))


def wait_for(holds: Callable[[], object]) -> None:
    """Wait for what no selector sees: what a file holds, or how far a page has moved."""
    until = time.monotonic() + WAIT
    while not holds():
        assert time.monotonic() < until, "it never came"
        time.sleep(0.02)
