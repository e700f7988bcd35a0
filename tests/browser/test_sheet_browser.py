"""The consequence sheet in Chromium: sizes of screens, links to pictures, nothing fetched, paper."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, load_mod
from ampsim.studies.sheet.page import write_sheet
from ampsim.studies.sheet.sheet import consequences, examine
from tests.browser.page_figures import missing

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"missing: {', '.join(missing())}")


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    stock = load_amp("workshop-a")
    examined = examine(stock, apply_mods(stock, load_mod("depth")))
    found = consequences(examined, ["ratings", "stability", "noise"])
    return write_sheet(found, tmp_path_factory.mktemp("sheet") / "sheet.html")


def opened(chromium: Any, path: Path, width: int) -> Any:
    page = chromium.new_page(viewport={"width": width, "height": 800})
    page.problems = []
    page.on("pageerror", lambda problem: page.problems.append(str(problem)))
    page.on("console", lambda line: page.problems.append(line.text))
    page.on("request", lambda request: page.problems.append(request.url) if "http" in request.url else None)
    page.goto(path.as_uri())
    return page


@pytest.mark.parametrize("width", [320, 390, 768, 1440])
def test_nothing_sticks_out_and_nothing_is_fetched(chromium: Any, sheet: Path, width: int) -> None:
    page = opened(chromium, sheet, width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.problems == []
    page.close()


def test_a_finding_leads_to_its_picture(chromium: Any, sheet: Path) -> None:
    page = opened(chromium, sheet, 1024)
    link = page.locator("#stability .findings a").first
    link.click()
    target = page.locator("figure:target")
    assert target.count() == 1
    box = target.bounding_box()
    assert box["y"] + 1 >= 0
    assert box["y"] < 800
    assert box["width"] > 500
    page.close()


def test_grades_are_told_in_words_and_the_paper_shows_every_picture(chromium: Any, sheet: Path, tmp_path: Path) -> None:
    page = opened(chromium, sheet, 1024)
    words = page.locator(".grade").all_inner_texts()
    assert words
    assert all(any(sign.isalpha() for sign in each) for each in words)
    page.pdf(path=tmp_path / "sheet.pdf", format="A4")
    assert (tmp_path / "sheet.pdf").stat().st_size > 20_000
    page.close()
