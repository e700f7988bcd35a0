"""The page to hand over, measured in Chromium: `python -m tests.browser.page_figures`."""

from __future__ import annotations

import http.server
import json
import statistics
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from ampsim.circuit.mods import apply_mods
from ampsim.job.page.write import write_page
from ampsim.library.loader import load_amp, load_audition, load_mod
from ampsim.studies.audition_request import Audition, default_audition
from tests.browser.patience import PatientBrowser
from tests.browser.watch import KEY_TO_PIXELS

CHROMIUM = Path("/usr/bin/chromium")
PRESSES = 60
_FLAGS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync"]

_MEASURED = """(count) => new Promise((done) => {
  const look = () => (window.keyTimes.length >= count ? done() : setTimeout(look, 5));
  look();
})"""


def missing() -> list[str]:
    """What a browser test of the page needs and this machine lacks."""
    lacks = [] if find_spec("playwright") else ["playwright"]
    return lacks + ([] if CHROMIUM.exists() else [str(CHROMIUM)])


@contextmanager
def browser() -> Iterator[Any]:
    """A headless Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as tools:
        running = tools.chromium.launch(executable_path=str(CHROMIUM), args=_FLAGS)
        yield PatientBrowser(running)
        running.close()


def job_of_two_mods() -> Audition:
    """A job with a switch of three positions and a knob."""
    amp = load_amp("workshop-a")
    return default_audition(amp, apply_mods(amp, load_mod("cathode-switch"), load_mod("depth")))


def measure_page(presses: int = PRESSES) -> dict[str, float]:
    """Size [bytes], key press to changed picture [ms], and requests beside the page itself, of the demo job's page.

    Requests are counted twice and added: what the browser asks for when the page is opened from disk, and what a
    server on this machine is asked for when it comes from there; in both, every control is used.
    """
    with tempfile.TemporaryDirectory() as folder, browser() as running:
        return measured(running, write_page(load_audition("bright-cathode-depth"), Path(folder) / "page.html"), presses)


def measured(running: Any, path: Path, presses: int) -> dict[str, float]:
    """As `measure_page`, of a page that is there, alone in its folder, in a browser that runs."""
    times, asked = _used(running, path.as_uri(), presses)
    with _served(path.parent) as (address, log):
        _used(running, f"{address}/{path.name}", 8)
    served = [line for line in log if line != f"/{path.name}"]
    return {
        "bytes": path.stat().st_size,
        "presses": len(times),
        "median_ms": statistics.median(times),
        "p95_ms": statistics.quantiles(times, n=20)[-1],
        "requests": len(asked) - 1 + len(served),
    }


def _used(running: Any, address: str, presses: int) -> tuple[list[float], list[str]]:
    """Times of key presses [ms] on the slider, and every address asked for."""
    asked: list[str] = []
    page = running.new_page(viewport={"width": 1024, "height": 768})
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address)
    page.get_by_role("radio").first.check()
    page.evaluate(KEY_TO_PIXELS, "figure")
    page.get_by_role("slider").first.focus()
    for press in range(presses):
        page.keyboard.press("ArrowLeft" if press % 20 < 10 else "ArrowRight")
        # The page allows no script but its own, so the browser's own waiting for a condition is refused.
        page.evaluate(_MEASURED, press + 1)
    times = page.evaluate("window.keyTimes")
    page.wait_for_timeout(300)
    page.close()
    return times, asked


class _Quiet(http.server.SimpleHTTPRequestHandler):
    asked: list[str]

    def log_message(self, *_: object) -> None:
        self.asked.append(self.path)


@contextmanager
def _served(folder: Path) -> Iterator[tuple[str, list[str]]]:
    log: list[str] = []
    handler = type("Handler", (_Quiet,), {"asked": log})
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), partial(handler, directory=str(folder))) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}", log
        finally:
            server.shutdown()
            thread.join()


if __name__ == "__main__":
    print(json.dumps(measure_page(), indent=1))
