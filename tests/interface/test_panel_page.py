"""The panel as a page: nobody gets anything without the token, from elsewhere, or under another name; and it ends."""

from __future__ import annotations

import asyncio
import gc
import http.client
import json
import os
import re
import shlex
import signal
import socket
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Iterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

pytest.importorskip("anywidget", reason="the extra 'notebooks' is not installed")

import psutil
from tornado.httpclient import HTTPClientError, HTTPRequest
from tornado.websocket import WebSocketClientConnection, WebSocketClosedError, websocket_connect

from ampsim.base.caution import CAUTION
from ampsim.interface import panel as panel_package
from ampsim.interface.commands.main import main
from ampsim.interface.panel import audition_panel
from ampsim.interface.panel.page.tabs import _send
from ampsim.library.loader import load_audition
from tests.tools.served_panel import ServedPanel, serving
from tests.tools.systems import workers

JOB = load_audition("bright-cathode-depth")
WAIT = 240.0  # s, an end for what hangs


@pytest.fixture(scope="module")
def page() -> Iterator[ServedPanel]:
    with serving(audition_panel(JOB), "<b>a panel</b>") as found:
        yield found


def fetch(url: str, method: str = "GET", **headers: str) -> http.client.HTTPResponse:
    """The answer, with its body read, and its headers as they came."""
    place = urlsplit(url)
    link = http.client.HTTPConnection(place.hostname or "", place.port, timeout=240)
    link.request(method, place.path, headers=headers)
    answer = link.getresponse()
    answer.body = answer.read()  # type: ignore[attr-defined]
    link.close()
    return answer


def base(page: ServedPanel) -> str:
    place = urlsplit(page.address.url)
    return f"http://{place.netloc}"


@asynccontextmanager
async def tab(page: ServedPanel, url: str = "", **headers: str) -> AsyncIterator[WebSocketClientConnection]:
    """A tab that is open on the panel, at an address and with headers of its own."""
    address = (url or page.address.url + "socket").replace("http:", "ws:")
    link = await websocket_connect(HTTPRequest(address, headers={"Origin": base(page), **headers}))
    yield link
    link.close()
    # The end of a closed one is told once.
    while link.close_code is None and await asyncio.wait_for(link.read_message(), WAIT) is not None:
        pass


async def next_told(link: WebSocketClientConnection) -> dict[str, Any]:
    text = await asyncio.wait_for(link.read_message(), WAIT)
    found: dict[str, Any] = {"closed": link.close_code} if text is None else json.loads(text)
    return found


def talk(page: ServedPanel, said: Sequence[Any], **how: str) -> list[dict[str, Any]]:
    """What a tab is told before it has said anything, and in answer to each message up to "done"."""

    async def run() -> list[dict[str, Any]]:
        async with tab(page, **how) as link:
            told = [await next_told(link)]
            for each in said:
                await link.write_message(each if isinstance(each, str) else json.dumps(each))
                told.append(await next_told(link))
                while not {"done", "closed"} & set(told[-1]):
                    told.append(await next_told(link))
            return told

    return asyncio.run(run())


def refused(page: ServedPanel, **how: str) -> int:
    with pytest.raises(HTTPClientError) as problem:
        talk(page, [], **how)
    return int(problem.value.code)


def test_without_the_token_there_is_nothing(page: ServedPanel) -> None:
    token = urlsplit(page.address.url).path.strip("/")
    assert len(token) >= 32
    paths = [
        "/",
        "/page.js",
        "/socket",
        "/api/kernels",
        f"/{token}",
        f"/{token[:-1]}/",
        f"/{token}x/",
        "/once/",
        "/once/x",
    ]
    paths += [f"/{token}/../", f"/{token}/none.js", f"/{token[:-1]}/socket", f"/{token}/socket/kernels"]
    for path in paths:
        for method in ("GET", "POST", "PUT", "OPTIONS"):
            answer = fetch(base(page) + path, method)
            assert (answer.status in (404, 405), answer.body) == (True, b""), (method, path)  # type: ignore[attr-defined]
    for path in ("/socket", f"/{token[:-1]}/socket", "/api/kernels/1/channels"):
        assert refused(page, url=base(page) + path) == 404


def test_with_the_token_there_is_the_panel_and_no_more_is_allowed(page: ServedPanel) -> None:
    answer = fetch(page.address.url)
    assert answer.status == 200
    assert b"<h1>&lt;b&gt;a panel&lt;/b&gt;</h1>" in answer.body  # type: ignore[attr-defined]
    assert f"<p>{CAUTION}</p>".encode() in answer.body  # type: ignore[attr-defined]
    names = {name.lower() for name, _ in answer.getheaders()}
    assert not any(name.startswith("access-control") for name in names)
    assert {"server", "set-cookie"} & names == set()
    policy = answer.getheader("Content-Security-Policy") or ""
    assert "default-src 'none'" in policy
    assert set(re.findall(r"(?:http|ws)s?://[^\s;]+", policy)) == {f"ws://{urlsplit(page.address.url).netloc}"}
    for name in ("page.js", "panel.js", "panel.css"):
        body = fetch(page.address.url + name).body  # type: ignore[attr-defined]
        assert re.findall(rb"https?://(?!www\.w3\.org)", body) == [], name


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:80", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example"]
)
def test_another_host_is_refused(page: ServedPanel, host: str) -> None:
    answer = fetch(page.address.url, Host=host)
    assert (answer.status, answer.body) == (404, b"")  # type: ignore[attr-defined]
    assert refused(page, Host=host) == 404


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1", "https://127.0.0.1:1"])
def test_another_page_may_not_talk_to_the_panel(page: ServedPanel, origin: str) -> None:
    assert refused(page, Origin=origin) == 403


def test_it_listens_on_this_computer_alone(page: ServedPanel) -> None:
    port = urlsplit(page.address.url).port
    listening = [each.laddr for each in psutil.Process().net_connections() if each.status == psutil.CONN_LISTEN]
    assert [each.ip for each in listening if each.port == port] == ["127.0.0.1"]
    others = {
        each.address for found in psutil.net_if_addrs().values() for each in found if each.family == socket.AF_INET
    }
    for address in others - {"127.0.0.1"}:
        with (
            pytest.raises((ConnectionRefusedError, TimeoutError)),
            socket.create_connection((address, port), timeout=2),
        ):
            pass


def test_the_address_for_the_browser_works_once(page: ServedPanel) -> None:
    first, second = fetch(page.address.once), fetch(page.address.once)
    assert (first.status, first.getheader("Location")) == (302, page.address.url)
    assert (second.status, second.getheader("Location")) == (404, None)


def test_a_tab_hears_what_another_did_and_one_opened_later_too(page: ServedPanel) -> None:
    at = page.panel.at

    async def two() -> int:
        async with tab(page) as one, tab(page) as other:
            await next_told(other)
            await one.write_message(json.dumps({"state": {"at": {**at, "knob gain": 7}}}))
            while "at" not in (told := (await next_told(other))["state"]):
                pass
            return int(told["at"]["knob gain"])

    assert asyncio.run(two()) == 7
    whole = talk(page, [])[0]["state"]
    assert (whole["at"]["knob gain"], whole["curves"]["of"]["knob gain"]) == (7, 7)
    assert not [name for name in whole if name.startswith("_")]


@pytest.mark.parametrize(
    "said",
    [
        "no json", "[1]", "[" * 50_000, {"state": 3}, {"state": {"at": {"knob gain": 1e9}}}, {"state": {"_esm": "x"}},
        {"state": {"held": [1], "file": "/etc/x"}}, {"content": 3}, {}, {"content": {"do": "run", "with": "code"}},
    ],
)  # fmt: skip
def test_nothing_that_is_sent_breaks_the_panel(page: ServedPanel, said: Any) -> None:
    before = page.run(lambda: (page.panel.at, page.panel.held, page.panel.file, page.panel._esm))
    last = talk(page, [said])[-1]
    assert "done" in last or last == {"closed": 1003}
    assert page.run(lambda: (page.panel.at, page.panel.held, page.panel.file, page.panel._esm)) == before
    assert "state" in talk(page, [])[0]


def test_a_last_move_is_kept_when_the_tab_is_closed(page: ServedPanel, tmp_path: Path) -> None:
    job, panel = tmp_path / "mine.toml", page.panel
    page.run(lambda: panel.save(job))
    try:
        talk(page, [{"state": {"at": {**panel.at, "knob gain": 12}}}])
        until = time.monotonic() + 240
        while "gain = 0.12" not in job.read_text("utf-8"):
            assert time.monotonic() < until
            time.sleep(0.02)
    finally:
        panel._keeps = False


def test_a_tab_that_is_closed_while_something_is_sent_leaves_no_fault_in_the_terminal() -> None:
    class Leaving:
        def write_message(self, *_: Any, **__: Any) -> Any:
            sent = asyncio.get_running_loop().create_future()
            sent.set_exception(WebSocketClosedError())
            return sent

    async def send() -> None:
        asyncio.get_running_loop().set_exception_handler(lambda _, told: faults.append(told))
        _send(Leaving(), {"done": True}, (b"samples",))
        await asyncio.sleep(0)  # what was set is told to who asked
        gc.collect()

    faults: list[Any] = []
    asyncio.run(send())
    assert faults == []


def test_a_job_file_keeps_positions_once_they_were_saved_there(tmp_path: Path) -> None:
    job = tmp_path / "mine.toml"
    job.write_text('name = "mine"\namp = "workshop-a"\nmods = ["bright-switch"]\n', "utf-8")
    audition, text = load_audition(job), job.read_text("utf-8")
    panel = audition_panel(audition, job)
    assert (panel.file, panel.position["bright"]) == (str(job), audition.compare_at["bright"])
    panel.turn({"gain": 0.2})
    panel._rest()
    assert job.read_text("utf-8") == text
    panel.save()
    again = audition_panel(load_audition(job), job)
    assert again.position["gain"] == 0.2
    again.turn({"gain": 0.3})
    again._rest()
    assert "gain = 0.3" in job.read_text("utf-8")


def test_mistakes_are_said_before_anything_is_served(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "wrong.toml").write_text('name = "wrong"\namp = "workshop-z"\n', "utf-8")
    for words, told in (
        ([str(tmp_path / "wrong.toml")], "workshop-z"),
        (["none"], "is not a file"),
        (["--amp", "workshop-a"], "--mod"),
        (["--try", "C999", "1n", "2n", "E6"], "C999"),
        (["--source", "trumpet"], "trumpet"),
    ):
        assert main(["panel", "--no-browser", *words]) == 1
        error = capsys.readouterr()
        assert told in error.err
        assert "http" not in error.out + error.err
        assert "Traceback" not in error.err


def test_without_jupyters_parts_it_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in [each for each in sys.modules if each.startswith(panel_package.__name__ + ".")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.delattr(panel_package, "opening", raising=False)
    monkeypatch.setitem(sys.modules, "anywidget", None)
    assert main(["panel", "--no-browser"]) == 1
    assert "pip install 'ampsim[notebooks]'" in capsys.readouterr().err


# What a shell starts in the background ignores Ctrl-C, and so does all that it starts; as at a terminal it does not.
_PANEL = """
import signal, sys
from ampsim.interface.commands.main import main
signal.signal(signal.SIGINT, signal.default_int_handler)
sys.exit(main(["panel", *sys.argv[1:]]))
"""


@pytest.mark.skipif(os.name == "nt", reason="there Ctrl-C goes to a console and all that it runs, these tests too")
def test_control_c_ends_it_and_leaves_nothing(tmp_path: Path) -> None:
    # A browser that notes what it was given.
    note, browser = tmp_path / "note", tmp_path / "browser.py"
    browser.write_text(f"import sys\nopen({str(note)!r}, 'w').write(sys.argv[1])\n", "utf-8")
    env = {**os.environ, "BROWSER": f"{shlex.quote(sys.executable)} {shlex.quote(str(browser))} %s"}
    line = [sys.executable, "-c", _PANEL, "--amp", "workshop-b", "--mod", "bright-switch"]
    with subprocess.Popen(
        line, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8", start_new_session=True
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        try:
            url = re.findall(r"http://127\.0\.0\.1:\d+/[\w-]{32}/", running.stdout.readline())[0]
            until = time.monotonic() + 240
            while not note.exists() or not note.read_text("utf-8"):
                assert time.monotonic() < until
                time.sleep(0.05)
            assert fetch(note.read_text("utf-8")).getheader("Location") == url
            family = psutil.Process(running.pid).children(recursive=True)
            assert workers(running.pid)
            running.send_signal(signal.SIGINT)
            assert running.wait(240) == 0
        finally:
            running.kill()
        errors = running.stderr.read()
    assert errors.splitlines()[-1] == "The panel is closed; nothing is left running."
    assert "Traceback" not in errors
    _, left = psutil.wait_procs(family, WAIT)
    assert left == []
    with pytest.raises(ConnectionRefusedError):
        fetch(url)
