"""The picture that a notebook keeps of a panel: as it was left, not as it was when its cell ran."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import Any

PAUSE = 2.0  # s without a move before it is drawn anew: drawing takes longer than a move


class Still:
    """An output below the panel's own, hidden by the panel's style where the panel itself can be seen.

    `bundle` gives what it shows, by type of content.
    """

    def __init__(self, bundle: Callable[[], Mapping[str, str]]) -> None:
        self._bundle = bundle
        self._handle: Any = None  # IPython's, once it was shown
        self._waiting: asyncio.TimerHandle | None = None

    def show(self) -> None:
        """Show it in the cell that runs; several cells show the same."""
        from IPython.display import display

        known = self._handle.display_id if self._handle else True
        self._handle = display(dict(self._bundle()), raw=True, display_id=known)

    def renew(self) -> None:
        """Draw it anew as soon as nothing has moved for a while; nothing is done where it was never shown."""
        if self._handle is None:
            return
        if self._waiting is not None:
            self._waiting.cancel()
        try:
            self._waiting = asyncio.get_running_loop().call_later(PAUSE, self._draw)
        except RuntimeError:  # no notebook's loop runs here
            self._draw()

    def _draw(self) -> None:
        self._handle.update(dict(self._bundle()), raw=True)
