"""A panel served as a page by a thread of this process, so that a test sees both ends."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass
from threading import Thread
from typing import Any

from ampsim.interface.panel import Panel
from ampsim.interface.panel.page.server import Address, served

_WAIT = 240.0  # s, an end for what hangs


@dataclass
class ServedPanel:
    """The panel, where it is found, and the loop that it lives in."""

    panel: Panel
    address: Address
    loop: asyncio.AbstractEventLoop

    def run(self, what: Callable[[], Any]) -> Any:
        """Do something with the panel where its own messages are handled, and return what came of it."""

        async def there() -> Any:
            return what()

        return asyncio.run_coroutine_threadsafe(there(), self.loop).result(_WAIT)


@contextmanager
def serving(panel: Panel, title: str = "a panel") -> Iterator[ServedPanel]:
    """Serve a panel until this is left."""
    ready: Future[tuple[Address, asyncio.AbstractEventLoop, asyncio.Event]] = Future()

    async def run() -> None:
        end = asyncio.Event()
        async with served(panel, title) as address:
            ready.set_result((address, asyncio.get_running_loop(), end))
            await end.wait()

    thread = Thread(target=lambda: asyncio.run(run()), daemon=True)
    thread.start()
    address, loop, end = ready.result(_WAIT)
    try:
        yield ServedPanel(panel, address, loop)
    finally:
        loop.call_soon_threadsafe(end.set)
        thread.join(_WAIT)
        assert not thread.is_alive()
