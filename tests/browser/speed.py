"""How quick the panel is in the browser, and whether it grows: `python -m tests.browser.speed`."""

from __future__ import annotations

import random
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tests.browser.lab import lab, missing
from tests.browser.sheet import ROOT, PagePanel, Sheet
from tests.browser.watch import KEY_TO_PIXELS

# A hand that moves a knob with every tick of a clock: for each move the time to the task after its frame [ms].
_DRAG = """([root, name, seconds, rate]) => new Promise((done) => {
  const panel = document.querySelector(root);
  const input = [...panel.querySelectorAll('input')].find((each) => each.labels[0]?.textContent === name);
  const curve = () => panel.querySelector('.picture [id="modded-0"] path').getAttribute('d');
  const [times, start] = [[], performance.now()];
  let [sent, moved, last] = [0, 0, curve()];
  const frame = () => requestAnimationFrame(() => {
    const now = performance.now();
    if (sent >= seconds * rate) { done({ times, moved, seconds: (now - start) / 1000 }); return; }
    if ((now - start) * rate / 1000 >= sent) {
      sent += 1;
      input.value = 20 + Math.abs((sent % 120) - 60);
      input.dispatchEvent(new Event('input', { bubbles: true }));
      moved += curve() !== last;
      last = curve();
      const channel = new MessageChannel();
      channel.port1.onmessage = () => times.push(performance.now() - now);
      channel.port2.postMessage(0);
    }
    frame();
  });
  frame();
})"""


@dataclass(frozen=True)
class Speed:
    """Key press to changed pixels [ms], pictures a second in a drag of 60 moves a second and the time from its end to
    ngspice's answer [s], growth of kernel and page over many moves [%].
    """

    median_ms: float
    p95_ms: float
    presses: int
    pictures_per_second: float
    settle_s: float
    last_matches: bool
    kernel_growth: float
    page_growth: float
    moves: int
    first_picture_s: float


def measure(folder: Path, prompt: bool = True, presses: int = 100, moves: int = 1000, seconds: float = 10.0) -> Speed:
    """Run the panel of the demo job and measure it; `prompt` is the connection that `ampsim notebooks` uses."""
    with lab(folder, prompt=prompt) as opened:
        sheet = Sheet(opened)
        start = time.perf_counter()
        opened.run_all()
        opened.page.wait_for_selector(f"{ROOT} .picture svg")
        first = time.perf_counter() - start
        sheet.settled()
        sheet.choose("bright", "120p")
        sheet.agreed()
        times = key_to_pixels(sheet, presses)
        moves_made = drag(sheet, seconds)
        rate = moves_made["moved"] / moves_made["seconds"]
        matches = opened.value("panel.position['gain']") == int(sheet.slider("gain").input_value()) / 100
        kernel, page = growth(sheet, moves)
    median, p95 = np.percentile(times, [50, 95])
    return Speed(float(median), float(p95), len(times), rate, moves_made["settle"], matches, kernel, page, moves, first)


def key_to_pixels(sheet: PagePanel, presses: int) -> list[float]:
    """Milliseconds from a key press to the frame with the new curves, at uneven pauses, on two knobs in turn."""
    pause = random.Random(1)
    sheet.page.evaluate(KEY_TO_PIXELS, f"{ROOT} .picture")
    for number in range(presses):
        sheet.slider(("depth", "gain")[number // 10 % 2]).focus()
        sheet.page.keyboard.press("ArrowRight" if number % 20 < 15 else "ArrowLeft")
        sheet.page.wait_for_timeout(pause.uniform(90, 400))
    sheet.settled()
    return list(sheet.page.evaluate("window.keyTimes"))


def drag(sheet: PagePanel, seconds: float, rate: int = 60) -> dict[str, Any]:
    """So many moves a second of a knob for so many seconds: `times` to its frame [ms], `moved` pictures, `seconds`.

    Behind the last move nothing may be left to do but what one move at rest asks for: `settle` is how long that takes
    until ngspice has answered [s].
    """
    sheet.agreed()
    found = dict(sheet.page.evaluate(_DRAG, [ROOT, "gain", seconds, rate]))
    begin = time.perf_counter()
    sheet.page.wait_for_selector(f'{ROOT}[data-curves="current"]')
    return {**found, "settle": time.perf_counter() - begin}


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
        if move % 10:
            sheet.drawn()
        else:
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
