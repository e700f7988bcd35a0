"""A private JupyterLab with one notebook open in Chromium, and the panel in it as a person finds it: by its words."""

from __future__ import annotations

import json
import secrets
import subprocess
import time
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import nbformat

from ampsim.interface.jupyter import command, environment
from tests.browser.patience import WAIT, PatientBrowser

CHROMIUM = Path("/usr/bin/chromium")
_FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
_NEEDED = ("playwright", "jupyterlab", "ipywidgets", "anywidget")

PANEL = """\
import ampsim
from ampsim import explore

job = ampsim.load_audition("bright-cathode-depth")
panel = explore(job.stock, job.modded, values={"C101": ("47p", "22n", "E6")})
panel"""


def missing() -> list[str]:
    """What the browser tests need and this machine lacks."""
    lacks = [name for name in _NEEDED if find_spec(name) is None]
    return lacks + ([] if CHROMIUM.exists() else [str(CHROMIUM)])


@dataclass
class Lab:
    """A running server and the page of its notebook."""

    page: Any
    address: str
    folder: Path

    def run_all(self) -> None:
        """Run every cell, as the menu does."""
        self.page.evaluate("window.jupyterapp.commands.execute('notebook:run-all-cells')")

    def python(self, code: str) -> str:
        """Run code in the notebook's kernel and return what it prints."""
        return str(self.page.evaluate(_EXECUTE, code)).strip()

    def value(self, expression: str) -> Any:
        """A value of the kernel, by way of JSON."""
        return json.loads(self.python(f"import json; print(json.dumps({expression}))"))


_EXECUTE = """async (code) => {
  const kernel = window.jupyterapp.shell.currentWidget.sessionContext.session.kernel;
  let printed = '';
  const future = kernel.requestExecute({ code, silent: false, store_history: false });
  future.onIOPub = (message) => {
    // How far simulations are goes to the other stream.
    if (message.header.msg_type === 'stream' && message.content.name === 'stdout') printed += message.content.text;
    if (message.header.msg_type === 'error') printed += message.content.traceback.join('\\n');
  };
  await future.done;
  return printed;
}"""
_IDLE = "() => window.jupyterapp?.shell?.currentWidget?.sessionContext?.session?.kernel?.status === 'idle'"


@contextmanager
def lab(
    folder: Path,
    cells: Sequence[str] = (PANEL,),
    size: tuple[int, int] = (1280, 900),
    sharp: float = 1.0,
    prompt: bool = True,
) -> Iterator[Lab]:
    """A server of its own on a free port, with private settings, and a notebook of these cells open in Chromium.

    `prompt` is the connection that `ampsim notebooks` uses; without it, the server's own. The kernel, the browser and
    the server are ended at the end.
    """
    from playwright.sync_api import sync_playwright

    _write_notebook(folder / "sheet.ipynb", cells)
    token = secrets.token_hex(16)
    with _server(folder, token, prompt) as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), headless=True, args=_FLAGS)
        try:
            context = PatientBrowser(browser).new_context(
                viewport={"width": size[0], "height": size[1]}, device_scale_factor=sharp
            )
            page = context.new_page()
            page.goto(f"{address}/doc/tree/sheet.ipynb?token={token}&reset")
            page.wait_for_function(_IDLE)
            yield Lab(page, address, folder)
        finally:
            browser.close()


def _write_notebook(path: Path, cells: Sequence[str]) -> None:
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell) for cell in cells])
    book.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(book, str(path))


@contextmanager
def _server(folder: Path, token: str, prompt: bool) -> Iterator[str]:
    private = folder / ".private"
    places = {name: str(private / name.lower()) for name in (
        "JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR"
    )}  # fmt: skip
    for place in places.values():
        Path(place).mkdir(parents=True, exist_ok=True)
    # Which port is free only the server can know: it tries one after the other, and writes down which it has.
    more = [
        "--no-browser", "--allow-root", f"--ServerApp.port={20_000 + secrets.randbelow(10_000)}",
        "--ServerApp.port_retries=100", f"--IdentityProvider.token={token}", "--LabApp.expose_app_in_browser=True",
    ]  # fmt: skip
    line = [each for each in command(folder, more) if prompt or "websocket_connection_class" not in each]
    with (private / "server.log").open("wb") as log:
        server = subprocess.Popen(line, env=environment() | places, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        try:
            yield _address(server, Path(places["JUPYTER_RUNTIME_DIR"]), token, private / "server.log")
        finally:
            server.terminate()  # ends its kernels too
            server.wait(WAIT)


def _address(server: subprocess.Popen[bytes], noted: Path, token: str, log: Path) -> str:
    until = time.monotonic() + WAIT
    while time.monotonic() < until and server.poll() is None:
        try:
            port = json.loads(next(noted.glob("jpserver-*.json")).read_text("utf-8"))["port"]
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/api?token={token}", timeout=WAIT):
                return f"http://127.0.0.1:{port}"
        except (StopIteration, ValueError, OSError):
            time.sleep(0.2)
    raise RuntimeError(f"JupyterLab did not start:\n{log.read_text('utf-8', 'replace')[-3000:]}")
