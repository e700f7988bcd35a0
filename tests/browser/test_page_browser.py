"""The page to hand over in Chromium: keys, pictures, sizes of screens, paper."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from ampsim.base.wording import one_line
from ampsim.job.page.write import write_page
from ampsim.library.loader import load_audition
from tests.browser.page_figures import PRESSES, job_of_33, missing
from tests.job.test_page import hostile_job

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"missing: {', '.join(missing())}")
WIDE, NARROW = ".picture.wide svg", ".picture.narrow svg"
SCREENS = [(320, 640), (390, 844), (768, 1024), (1024, 768), (1440, 900)]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_page(load_audition("bright-cathode-depth"), tmp_path_factory.mktemp("page") / "page.html")


def opened(chromium: Any, path: Path, size: tuple[int, int] = (1024, 768), **more: Any) -> Any:
    page = chromium.new_page(viewport={"width": size[0], "height": size[1]}, **more)
    page.set_default_timeout(10_000)
    page.problems = []
    page.on("pageerror", lambda problem: page.problems.append(str(problem)))
    page.on("console", lambda line: page.problems.append(line.text))
    page.on("dialog", lambda dialog: (page.problems.append(dialog.message), dialog.dismiss()))
    page.goto(path.as_uri())
    return page


def facts_of(path: Path) -> dict[str, Any]:
    return dict(json.loads(re.findall(r'id="facts">(.*?)</script>', path.read_text("utf-8"), re.DOTALL)[0]))


def pixels(page: Any, where: str) -> NDArray[np.float64]:
    return np.asarray(Image.open(io.BytesIO(page.locator(where).screenshot())).convert("L"), float)


def differing(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    """Share of pixels that differ by more than a sixteenth of the range."""
    assert one.shape == other.shape
    return float((np.abs(one - other) > 16.0).mean())


def test_keys_move_picture_numbers_and_words_together(chromium: Any, demo: Path) -> None:
    page, facts = opened(chromium, demo), facts_of(demo)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('fieldset').querySelector('legend').textContent") == "bright"
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowLeft")
    reading = next(each for each in facts["readings"] if each["name"] == "bright 390p, cathode 6k8, depth 6")
    assert page.locator("[data-now]").inner_text() == reading["name"]
    assert page.get_by_role("status").inner_text() == reading["sentence"]
    rows = [row.split("\t")[1:] for row in page.locator("tbody").inner_text().splitlines()]
    assert rows == reading["rows"]
    assert page.get_by_role("img").get_attribute("aria-labelledby")
    assert page.locator("figure .wide desc").text_content() == reading["sentence"]
    assert page.locator("[data-reason]:visible h3").inner_text() == "bright 390p, cathode 6k8"
    assert page.get_by_role("slider", name="depth").get_attribute("aria-valuetext") == "6 of 10"
    line = facts["lines"][facts["places"][facts["readings"].index(reading)][1]]
    assert page.locator("#modded-0 path").get_attribute("d") == f"M{line}"
    assert page.problems == []


def test_every_control_has_a_name(chromium: Any, demo: Path) -> None:
    page = opened(chromium, demo)
    for switch, names in (
        ("bright", ["open as drawn", "120p", "390p"]),
        ("cathode", ["as drawn", "6k8", "2k7 and 1u"]),
    ):
        group = page.get_by_role("group", name=switch, exact=True)
        assert [group.get_by_role("radio", name=name, exact=True).count() for name in names] == [1, 1, 1]
    assert page.get_by_role("slider", name="depth", exact=True).count() == 1
    assert page.get_by_role("img", name="Stock against modded").count() == 1


def moved_and_fresh(chromium: Any, folder: Path, size: tuple[int, int]) -> tuple[Any, Any, Any]:
    """A page moved by keys; one opened at that place, as drawn and without its script; and one never moved."""
    job = job_of_33()
    moved = opened(chromium, write_page(job, folder / "moved.html"), size)
    moved.get_by_label("6k8").check()
    moved.get_by_role("slider").focus()
    for _ in range(6):
        moved.keyboard.press("ArrowLeft")
    there = replace(job, compare_at={"cathode": "6k8", "depth": 0.4})
    fresh = opened(chromium, write_page(there, folder / "fresh.html"), size, java_script_enabled=False)
    start = opened(chromium, write_page(job, folder / "start.html"), size, java_script_enabled=False)
    assert moved.problems == []
    return moved, fresh, start


def test_a_moved_picture_is_the_picture_drawn_there(chromium: Any, tmp_path: Path) -> None:
    moved, fresh, start = (pixels(page, WIDE) for page in moved_and_fresh(chromium, tmp_path, (1024, 768)))
    assert differing(moved, start) > 0.01
    assert differing(moved, fresh) < 0.001


def test_the_narrow_picture_moves_to_where_it_would_be_drawn(chromium: Any, tmp_path: Path) -> None:
    """Within the ninth of a point that matplotlib may leave out of a line: 'path.simplify_threshold'."""
    pages = moved_and_fresh(chromium, tmp_path, (390, 844))
    for name in ("stock-0", "modded-0", "change-0"):
        moved, fresh, start = (_points(page, f"#narrow-{name}") for page in pages)
        assert np.abs(np.interp(fresh[:, 0], *moved.T) - fresh[:, 1]).max() < 1.0 / 9.0
        if name != "stock-0":
            assert np.abs(np.interp(start[:, 0], *moved.T) - start[:, 1]).max() > 3.0


def _points(page: Any, where: str) -> NDArray[np.float64]:
    path = page.locator(f"{where} path").get_attribute("d")
    return np.array(re.findall(r"-?[\d.]+", path), float).reshape(-1, 2)


@pytest.mark.parametrize("size", SCREENS)
def test_nothing_is_cut_off_or_too_small(chromium: Any, demo: Path, size: tuple[int, int]) -> None:
    page = opened(chromium, demo, size)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    shown = page.locator(f"{NARROW if size[0] <= 520 else WIDE}").bounding_box()
    assert shown["x"] >= 0
    assert shown["x"] + shown["width"] <= size[0]
    for each in page.locator(".buttons label, input[type=range]").all():
        assert each.bounding_box()["height"] >= 44.0
    smallest = page.evaluate(
        """() => Math.min(...[...document.querySelectorAll('.picture svg text')].filter((each) => each.getClientRects()
        .length).map((each) => parseFloat(getComputedStyle(each).fontSize) * each.ownerSVGElement.getScreenCTM().a))"""
    )
    assert smallest >= (8.0 if size[0] == 320 else 9.0)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_as_vectors_on_two_sheets(chromium: Any, demo: Path, paper: str) -> None:
    page = opened(chromium, demo)
    page.get_by_label("390p").check()
    printed = page.pdf(format=paper)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 2
    assert not re.search(rb"/Subtype\s*/Image", printed)
    page.emulate_media(media="print")
    assert not page.locator("form").is_visible()
    assert not page.locator(NARROW).is_visible()
    assert page.get_by_text("bright 390p, cathode 6k8, depth 7", exact=True).is_visible()


def test_texts_that_mean_harm_do_none(chromium: Any, tmp_path: Path) -> None:
    job = hostile_job()
    page = opened(chromium, write_page(job, tmp_path / "page.html"))
    page.get_by_role("radio").first.check()
    assert page.locator("h1").text_content() == one_line(job.name)
    assert page.locator("[data-now]").text_content() == f"{job.name} open {job.name}"
    page.set_viewport_size({"width": 320, "height": 640})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.problems == []


def test_the_command_measures_the_page() -> None:
    command = [sys.executable, "-m", "tests.browser.page_figures"]
    done = subprocess.run(command, capture_output=True, encoding="utf-8", check=True, timeout=120)
    found = json.loads(done.stdout)
    assert found["bytes"] <= 500_000
    assert found["requests"] == 0
    assert found["presses"] == PRESSES
