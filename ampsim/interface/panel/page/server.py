"""Serving the page: to this computer only, and there only to who has the address with its token."""

from __future__ import annotations

import secrets
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tornado.httpserver import HTTPServer
from tornado.netutil import bind_sockets
from tornado.web import Application, RequestHandler
from tornado.websocket import WebSocketHandler

from ....base.caution import CAUTION
from ....base.html import render
from ..widget import Panel
from .tabs import Tabs

_HERE = Path(__file__).parent
_LOOPBACK = "127.0.0.1"
_MOST_SENT = 100_000  # bytes of one message of a tab; names and steps need a hundredth
_REMEDY = "The command that shows this page was stopped or is busy: look at its terminal."
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src data:; "
    "connect-src 'self' ws://{host}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)


@dataclass(frozen=True)
class Address:
    """Where a served panel is found: `url` as long as it is served, `once` a single time.

    The command line of a browser can be read by everyone on the computer, so it is given the one that is used up.
    """

    url: str
    once: str


@dataclass
class _Served:
    """What the handlers share."""

    tabs: Tabs
    files: dict[str, tuple[str, str]]  # by name: type and text
    hosts: list[str] = field(default_factory=list)
    url: str = ""
    ticket: str = ""


@asynccontextmanager
async def served(panel: Panel, title: str) -> AsyncIterator[Address]:
    """Serve a panel as a page until this is left.

    Parameters
    ----------
    panel : Panel
        Its state is one for all tabs, and stays when they are closed.
    title : str
        The heading of the page.

    Raises
    ------
    OSError
        When this computer has no port left.
    """
    panel.remedy = _REMEDY
    token, ticket = secrets.token_urlsafe(24), secrets.token_urlsafe(24)
    shared = _Served(Tabs(panel), _files(panel, title), ticket=ticket)
    routes: list[Any] = [
        (f"/{token}/socket", _Socket, {"shared": shared}),
        (f"/{token}/([a-z.]*)", _File, {"shared": shared}),
        ("/once/([A-Za-z0-9_-]+)", _Once, {"shared": shared}),
    ]
    settings: dict[str, Any] = {
        "default_handler_class": _Refused,
        "default_handler_args": {"shared": shared},
        "log_function": lambda _: None,
        "websocket_max_message_size": _MOST_SENT,
    }
    (socket,) = bind_sockets(0, _LOOPBACK)
    port = socket.getsockname()[1]
    shared.hosts = [f"{_LOOPBACK}:{port}", f"localhost:{port}"]
    shared.url = f"http://{_LOOPBACK}:{port}/{token}/"
    server = HTTPServer(Application(routes, **settings))
    server.add_sockets([socket])
    try:
        yield Address(shared.url, f"http://{_LOOPBACK}:{port}/once/{ticket}")
    finally:
        server.stop()
        panel.cancel_wave()
        panel.cancel_sound()
        panel.knob_tables.stop()
        await server.close_all_connections()


def _files(panel: Panel, title: str) -> dict[str, tuple[str, str]]:
    style = f"{_read('page.css')}\n{panel._css}"
    return {
        "": ("text/html", render(__package__, "page.html", title=title, caution=CAUTION)),
        "page.js": ("text/javascript", _read("page.js")),
        "panel.js": ("text/javascript", str(panel._esm)),
        "panel.css": ("text/css", style),
    }


def _read(name: str) -> str:
    return (_HERE / name).read_text("utf-8")


class _Checked(RequestHandler):
    """Answers only a request to this computer's own name, and says nothing about itself."""

    def initialize(self, shared: _Served) -> None:
        self.shared = shared

    def set_default_headers(self) -> None:
        self.clear_header("Server")
        self.set_header("Cache-Control", "no-store")
        self.set_header("Cross-Origin-Resource-Policy", "same-origin")
        self.set_header("Referrer-Policy", "no-referrer")
        self.set_header("X-Content-Type-Options", "nosniff")

    def prepare(self) -> None:
        # Another name that leads here is a foreign page's way round the browser's same-origin policy.
        if self.request.host not in self.shared.hosts:
            self.send_error(404)

    def write_error(self, status_code: int, **kwargs: Any) -> None:
        self.finish()


class _Refused(_Checked):
    def prepare(self) -> None:
        self.send_error(404)


class _File(_Checked):
    def get(self, name: str) -> None:
        if name not in self.shared.files:
            self.send_error(404)
            return
        kind, text = self.shared.files[name]
        self.set_header("Content-Type", f"{kind}; charset=utf-8")
        self.set_header("Content-Security-Policy", _POLICY.format(host=self.request.host))
        self.finish(text)


class _Once(_Checked):
    def get(self, ticket: str) -> None:
        known, self.shared.ticket = self.shared.ticket, ""
        if not known or not secrets.compare_digest(ticket, known):
            self.shared.ticket = known
            self.send_error(404)
            return
        self.redirect(self.shared.url)


class _Socket(WebSocketHandler, _Checked):
    def check_origin(self, origin: str) -> bool:
        """Only the page itself may talk to the panel."""
        return origin == f"http://{self.request.host}"

    def open(self, *_: str, **__: str) -> None:
        # Small messages leave at once: see `panel.server`.
        self.set_nodelay(True)
        self.shared.tabs.add(self)

    def on_message(self, message: str | bytes) -> None:
        self.shared.tabs.receive(self, message)

    def on_close(self) -> None:
        self.shared.tabs.remove(self)
