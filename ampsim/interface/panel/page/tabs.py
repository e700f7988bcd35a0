"""What the panel and its open pages say to one another, in place of a kernel: states, buttons, sounds."""

from __future__ import annotations

import json
from asyncio import Future
from collections.abc import Mapping, Sequence
from typing import Any

from comm import get_comm_manager
from comm.base_comm import BaseComm
from tornado.websocket import WebSocketClosedError, WebSocketHandler

from ..widget import Panel

_LAYOUT = ("layout", "tabbable", "tooltip")  # of every widget; the page has its own


class Tabs(BaseComm):
    """The other end of a panel: every tab that is open on it.

    A text message holds "state" (traits that changed) or "content" (a button, or sounds, whose bytes follow it as
    "buffers" binary messages). Each message of a tab is answered with "done" when all that came of it has been sent.
    """

    def __init__(self, panel: Panel) -> None:
        self._panel = panel
        self.tabs: list[WebSocketHandler] = []
        super().__init__(primary=False)
        get_comm_manager().register_comm(self)  # which forgets it when the panel is closed
        panel.comm = self

    def publish_msg(
        self,
        msg_type: str,
        data: Any = None,
        metadata: Any = None,
        buffers: Any = None,
        **keys: Any,
    ) -> None:
        """Send to every tab what the panel says.

        Parameters
        ----------
        msg_type : str
            As in Jupyter; only "comm_msg" concerns a page.
        data : mapping
            "update" with a state, or "custom" with its content.
        metadata : mapping
            Not used.
        buffers : sequence of bytes
            The samples of sounds.
        **keys
            Not used.
        """
        if msg_type != "comm_msg" or data["method"] == "echo_update":  # `receive` tells the other tabs
            return
        told = {"content": data["content"]} if data["method"] == "custom" else {"state": data["state"]}
        for tab in self.tabs:
            _send(tab, told, buffers or ())

    def add(self, tab: WebSocketHandler) -> None:
        """Take in a tab that was opened, or opened again: it shows where the panel stands."""
        self.tabs.append(tab)
        whole = self._panel.get_state()
        _send(tab, {"state": {name: whole[name] for name in whole if name[0] != "_" and name not in _LAYOUT}})

    def remove(self, tab: WebSocketHandler) -> None:
        """Forget a tab that was closed; a last move that it made is kept like any other."""
        self.tabs.remove(tab)
        self._take({"method": "custom", "content": {"do": "rest"}})

    def receive(self, tab: WebSocketHandler, text: str | bytes) -> None:
        """Hand what a tab says to the panel, which checks it, and to the other tabs where controls moved."""
        try:
            said = json.loads(text)
        except (ValueError, RecursionError):
            said = None
        if not isinstance(said, Mapping):
            tab.close(1003, "not understood")
            return
        if "state" in said:
            self._take({"method": "update", "state": said["state"]})
            for other in self.tabs:
                if other is not tab:
                    _send(other, {"state": {"at": self._panel.at}})
        else:
            self._take({"method": "custom", "content": said.get("content")})
        _send(tab, {"done": True})

    def _take(self, data: Mapping[str, Any]) -> None:
        self.handle_msg({"content": {"data": data}, "buffers": []})


def _send(tab: WebSocketHandler, message: Mapping[str, Any], buffers: Sequence[bytes] = ()) -> None:
    try:
        _quietly(tab.write_message(json.dumps({**message, "buffers": len(buffers)})))
        for each in buffers:
            _quietly(tab.write_message(bytes(each), binary=True))
    except WebSocketClosedError:
        pass  # it is being forgotten


def _quietly(sent: Future[None]) -> None:
    """A tab that is closed while a message is on its way is no mistake to tell in the terminal."""
    sent.add_done_callback(lambda done: done.cancelled() or done.exception())
