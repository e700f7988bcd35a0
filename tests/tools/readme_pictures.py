"""The pictures of the README from the demo job, in Chromium: `python -m tests.tools.readme_pictures [NAME ...]`.

Look at each before it is kept: overlay, sheet, page (and the player), panel.
"""

from __future__ import annotations

import io
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PIL import Image

from ampsim.interface.commands.main import main
from ampsim.interface.panel import audition_panel
from ampsim.library.loader import load_audition
from tests.browser.page_figures import browser
from tests.browser.sheet import ROOT, PagePanel
from tests.tools.served_panel import serving

JOB = "bright-cathode-depth"
FOLDER = Path(__file__).parents[2] / ".pictures"
_COLOURS = 256


def _keep(name: str, data: bytes) -> None:
    """With a palette a picture takes a third of the room."""
    drawn = Image.open(io.BytesIO(data)).convert("RGB")
    few = drawn.quantize(_COLOURS, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    few.save(FOLDER / f"{name}.png", optimize=True)
    print(f"{FOLDER / name}.png: {drawn.size[0]} x {drawn.size[1]}")


def _command(*words: str | Path) -> None:
    if main([str(each) for each in words]):
        sys.exit(f"ampsim {words[0]} failed")


def _part(page: Any, first: str, last: str, room: int = 12) -> bytes:
    """The page over its whole width, from the top of an element to the end of another."""
    top, end = (page.locator(each).bounding_box() for each in (first, last))
    above = max(top["y"] - room, 0)
    tall = end["y"] + end["height"] + room - above
    size = {"x": 0, "y": above, "width": page.viewport_size["width"], "height": tall}
    return bytes(page.screenshot(full_page=True, clip=size))


def overlay(_: Any, folder: Path) -> None:
    """Stock against modded, as `ampsim audition` leaves it."""
    _command("audition", JOB, "--to", folder)
    _keep("overlay", (folder / "overlay.png").read_bytes())


def sheet(running: Any, folder: Path) -> None:
    """What must be decided, on one screen."""
    _command("consequences", JOB, "--to", folder / "sheet.html")
    page = running.new_page(viewport={"width": 1000, "height": 1200})
    page.goto((folder / "sheet.html").as_uri())
    _keep("sheet", _part(page, "main", "details.topic >> nth=-1"))


def owners_page(running: Any, folder: Path) -> None:
    """The owner's page down to the end of its answers; and its player."""
    _command("page", JOB, "--hear", "--to", folder / "page.html")
    page = running.new_page(viewport={"width": 1024, "height": 1200})
    page.goto((folder / "page.html").as_uri())
    _keep("page", _part(page, "main", "div.heard >> nth=0"))
    _keep("player", _part(page, "#player", "#player button >> text=Compare blind"))


def panel(running: Any, _: Path) -> None:
    """The live panel where both switches of the mods are moved."""
    job = load_audition(JOB)
    with serving(audition_panel(job), job.name) as served:
        shown = PagePanel(running.new_page(viewport={"width": 1232, "height": 1200}))
        shown.page.goto(served.address.url)
        shown.settled()
        for switch, position in (("bright", "120p"), ("cathode", "6k8")):
            shown.choose(switch, position)
        shown.settled()
        _keep("panel", shown.page.locator(ROOT).screenshot())


PICTURES: dict[str, Callable[[Any, Path], None]] = {
    "overlay": overlay,
    "sheet": sheet,
    "page": owners_page,
    "panel": panel,
}

if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made, browser() as opened:
        for wanted in sys.argv[1:] or PICTURES:
            PICTURES[wanted](opened, Path(made))
