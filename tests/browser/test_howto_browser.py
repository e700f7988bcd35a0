"""The how-to on a phone, a screen and paper: nothing sticks out, drawings and photos are seen, nothing is asked for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from ampsim.job.howto.content import howto_of
from ampsim.job.howto.public import public_job
from ampsim.job.howto.write import write_howto
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.photos import keep_photo
from tests.browser.paper_words import on_paper, split_words

pytest.importorskip("playwright")
MOD = """
name = "less treble"
reason = "A duller plate."
parts = { C109 = "470p" }
edits = [{ fit = "C109", across = "R3" }]
"""
_SEEN = """() => [...document.querySelectorAll("figure > img, figure > svg")].map((each) => {
  const box = each.getBoundingClientRect();
  return box.width > 200 && box.height > 100;
})"""


def test_the_how_to_fits_phone_screen_and_paper(chromium: Any, tmp_path: Path) -> None:
    (tmp_path / "mod.toml").write_text(MOD, "utf-8")
    Image.new("RGB", (800, 600), (30, 60, 30)).save(tmp_path / "board.jpg")
    folder = tmp_path / "job"
    record = begin_job(folder, "lesson-stage", [tmp_path / "mod.toml"], words="Softer, please.")
    record = keep_photo(record, folder, tmp_path / "board.jpg", "C109", shown_to=["howto"])
    path = write_howto(howto_of(public_job(record, folder)), folder, tmp_path / "howto.html").page
    page = chromium.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url.partition(",")[0]))
    page.on("console", lambda told: asked.append(told.text))
    page.goto(path.as_uri())
    for width in (400, 1200):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert page.evaluate(_SEEN) == [True] * 3
        assert split_words(page) == []
    assert on_paper(page) == []
    assert {each for each in asked if not each.startswith("data:")} == {path.as_uri()}
    page.close()
