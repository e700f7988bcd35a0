"""The panel on the page, used as a person uses it; and what is drawn there, read back."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.browser.lab import Lab

ROOT = ".ampsim-panel"
MOVING = ("stock-0", "modded-0", "change-0", "between", "change-area")


class PagePanel:
    """The panel of a page."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def current(self) -> None:
        """Wait until the curves belong to where the controls stand."""
        self._until(curves="current")

    def drawn(self) -> None:
        """Wait until the picture is that of where the controls stand, by ngspice or by the page itself."""
        self._until(drawn="current")

    def agreed(self) -> None:
        """Wait until ngspice agrees with what the page worked out for where the controls stand."""
        self._look()
        self._until(curves="current", proof="agreed")

    def settled(self) -> None:
        """Wait until the tables do too."""
        self._look()
        self._until(curves="current", tables="current")

    def _until(self, **states: str) -> None:
        """Wait until the panel says so of itself; what it says instead is in the error."""
        from playwright.sync_api import TimeoutError

        try:
            self.page.wait_for_selector(ROOT + "".join(f'[data-{name}="{state}"]' for name, state in states.items()))
        except TimeoutError:
            says = self.page.evaluate(
                "(root) => [...document.querySelectorAll(root)].map((el) => [{ ...el.dataset },"
                "...[...el.querySelectorAll('.proof, .trouble, .said')].map((each) => each.textContent)])",
                ROOT,
            )
            raise AssertionError(f"waited for {states}; the panel says {says}") from None

    def _look(self) -> None:
        """Wait for two frames: what was moved last is on the page then, and no longer what stood before."""
        self.page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")

    def slider(self, name: str) -> Any:
        """A slider by its label."""
        return self.page.locator(ROOT).get_by_label(name, exact=True)

    def choose(self, switch: str, position: str) -> None:
        """Put a switch into a position."""
        self.page.locator(ROOT).get_by_role("group", name=switch, exact=True).get_by_label(position, exact=True).check()

    def press(self, button: str) -> None:
        """Press a button."""
        self.page.locator(ROOT).get_by_role("button", name=button, exact=True).click()

    def put(self, name: str, *steps: int) -> None:
        """Put a slider on a step, as a drag that ends there does; on several, one in each frame."""
        self.slider(name).evaluate(
            """async (input, steps) => {
                for (const [number, step] of steps.entries()) {
                    if (number) await new Promise((done) => requestAnimationFrame(done));
                    input.value = step;
                    input.dispatchEvent(new Event('input', { bubbles: true }));
                }
            }""",
            steps,
        )

    def paths(self) -> dict[str, str]:
        """The `d` of every moving path on the page."""
        found = self.page.evaluate(
            """(gids) => Object.fromEntries(gids.map((gid) => [gid,
                document.querySelector(`.ampsim-panel .picture [id="${gid}"] path`).getAttribute('d')]))""",
            list(MOVING),
        )
        return {gid: " ".join(d.split()) for gid, d in found.items()}

    def pixels(self) -> NDArray[np.uint8]:
        """The picture as it is on the screen, shape (height, width, 3)."""
        shot = self.page.locator(f"{ROOT} .picture svg").first.screenshot()
        return np.asarray(Image.open(io.BytesIO(shot)).convert("RGB"))

    def repaint(self) -> None:
        """Have the live picture painted anew, all of it."""
        self.page.evaluate(
            """() => {
                const drawn = document.querySelector('.ampsim-panel .picture svg');
                drawn.style.display = 'none';
                drawn.getBoundingClientRect();
                drawn.style.display = '';
            }"""
        )

    def show_instead(self, svg: str) -> None:
        """Put another picture in the place of the live one, at the same size."""
        self.page.evaluate(
            """(svg) => {
                const box = document.querySelector('.ampsim-panel .picture');
                box.innerHTML = svg;
                const drawn = box.querySelector('svg');
                drawn.removeAttribute('width');
                drawn.removeAttribute('height');
            }""",
            svg[svg.index("<svg ") :],
        )

    def tables(self) -> list[list[list[str]]]:
        """The cells of every table."""
        return self.page.evaluate(  # type: ignore[no-any-return]
            """() => [...document.querySelectorAll('.ampsim-panel .tables table')].map((table) =>
                [...table.rows].map((row) => [...row.cells].map((cell) => cell.textContent)))"""
        )


class Sheet(PagePanel):
    """The panel of a notebook."""

    def __init__(self, lab: Lab) -> None:
        super().__init__(lab.page)
        self.lab = lab

    def rested(self) -> None:
        """Wait until nothing more comes: all is settled, and the picture is the kernel's last, with its limits."""
        self.agreed()
        self.settled()
        self.page.wait_for_selector(f'{ROOT}[data-limits="drawn"]')
        drawn = self.lab.value("panel.drawing[:99]").split('id="')[1].split('"')[0]
        self.page.wait_for_selector(f"{ROOT} .picture svg#{drawn}")

    def run(self) -> None:
        """Run the notebook and wait until picture and tables stand."""
        self.lab.run_all()
        self.page.wait_for_selector(f"{ROOT} .picture svg")
        self.settled()
