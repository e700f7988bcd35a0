"""How quick the panel is in the browser, and whether it grows: `python -m tests.browser.speed`."""

from __future__ import annotations

import random
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.browser.lab import lab, missing
from tests.browser.sheet import ROOT, Sheet
from tests.browser.watch import KEY_TO_PIXELS

_COUNT = """(root) => {
  window.ampsimFrames = 0;
  let changed = false;
  new MutationObserver(() => {
    if (changed) return;
    changed = true;
    requestAnimationFrame(() => { changed = false; window.ampsimFrames += 1; });
  }).observe(document.querySelector(`${root} .picture`),
    { subtree: true, childList: true, attributes: true, attributeFilter: ['d'] });
}"""


@dataclass(frozen=True)
class Speed:
    """Key press to changed pixels [ms], pictures a second in a drag, growth of kernel and page over many moves [%]."""

    median_ms: float
    p95_ms: float
    presses: int
    pictures_per_second: float
    last_matches: bool
    kernel_growth: float
    page_growth: float
    moves: int
    first_picture_s: float


def measure(folder: Path, prompt: bool = True, presses: int = 100, moves: int = 1000, seconds: float = 4.0) -> Speed:
    """Run the panel of the demo job and measure it; `prompt` is the connection that `ampsim notebooks` uses."""
    with lab(folder, prompt=prompt) as opened:
        sheet = Sheet(opened)
        start = time.perf_counter()
        opened.run_all()
        opened.page.wait_for_selector(f"{ROOT} .picture svg")
        first = time.perf_counter() - start
        sheet.settled()
        sheet.choose("bright", "120p")
        sheet.settled()
        times = key_to_pixels(sheet, presses)
        rate = drag_rate(sheet, seconds)
        matches = opened.value("panel.position['gain']") == int(sheet.slider("gain").input_value()) / 100
        kernel, page = growth(sheet, moves)
    median, p95 = np.percentile(times, [50, 95])
    return Speed(float(median), float(p95), len(times), rate, matches, kernel, page, moves, first)


def key_to_pixels(sheet: Sheet, presses: int) -> list[float]:
    """Milliseconds from a key press to the frame with the new curves, at uneven pauses, on two knobs in turn."""
    pause = random.Random(1)
    sheet.page.evaluate(KEY_TO_PIXELS, f"{ROOT} .picture")
    for number in range(presses):
        sheet.slider(("depth", "gain")[number // 10 % 2]).focus()
        sheet.page.keyboard.press("ArrowRight" if number % 20 < 15 else "ArrowLeft")
        sheet.page.wait_for_timeout(pause.uniform(90, 400))
    sheet.settled()
    return list(sheet.page.evaluate("window.keyTimes"))


def drag_rate(sheet: Sheet, seconds: float) -> float:
    """Pictures a second while the mouse drags a knob to and fro."""
    sheet.page.evaluate(_COUNT, ROOT)
    box = sheet.slider("gain").bounding_box()
    y = box["y"] + box["height"] / 2
    spots = [box["x"] + box["width"] * (0.55 + 0.3 * np.sin(place / 15)) for place in range(100_000)]
    sheet.page.mouse.move(spots[0], y)
    sheet.page.mouse.down()
    before = sheet.page.evaluate("window.ampsimFrames")
    start = time.perf_counter()
    for x in spots:
        sheet.page.mouse.move(x, y)
        if time.perf_counter() - start > seconds:
            break
    frames = sheet.page.evaluate("window.ampsimFrames") - before
    taken = time.perf_counter() - start
    sheet.page.mouse.up()
    sheet.settled()
    return float(frames / taken)


def growth(sheet: Sheet, moves: int) -> tuple[float, float]:
    """Growth [%] of the kernel's memory and of the page's over `moves` moves, after as many to warm up."""
    _wander(sheet, moves)
    before = _memory(sheet)
    _wander(sheet, moves)
    after = _memory(sheet)
    kernel, page = (100.0 * (late / early - 1.0) for early, late in zip(before, after, strict=True))
    return kernel, page


def _wander(sheet: Sheet, moves: int) -> None:
    for move in range(moves):
        sheet.put(("depth", "gain", "C101")[move % 3], move * 7 % (101 if move % 3 < 2 else 17))
        sheet.current()
    sheet.settled()


def _memory(sheet: Sheet) -> tuple[float, float]:
    kernel = sheet.lab.value("int(open('/proc/self/statm').read().split()[1])")
    session = sheet.page.context.new_cdp_session(sheet.page)
    session.send("HeapProfiler.collectGarbage")
    page = session.send("Runtime.getHeapUsage")["usedSize"]
    session.detach()
    return float(kernel), float(page)


def main() -> int:
    """Print the figures with both connections."""
    lacks = missing()
    if lacks:
        print(f"not measured: {', '.join(lacks)} missing")
        return 1
    for prompt in (True, False):
        with tempfile.TemporaryDirectory() as folder:
            found = measure(Path(folder), prompt, moves=1000 if prompt else 50)
        print(f"{'connection of ampsim notebooks' if prompt else 'connection of a plain server'}: {found}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
