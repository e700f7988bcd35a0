"""Tables of any shape on paper and screen: every word and number whole, nothing beyond the margins."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from ampsim.base.html import fitted_table, render
from ampsim.base.table_fit import fit_table
from ampsim.studies.sheet.page import sheet_style
from tests.browser.page_figures import missing
from tests.browser.paper_words import on_paper, split_words

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"missing: {', '.join(missing())}")
WORDS = (
    "bright switch", "mode=warm", "cathode at 2k7 and 1u", "3530/0.0", "bright=390p", "V12A.cathode", "as drawn",
    "electrolytic, plus at C103.1, 105 degrees", "between P1.top and P1.wiper", "not measured", "WWWWMMMM", "−",
    "make before break", "a switch that has a very-long-name-with-hyphens", "primary_a", "1e+03 kohm", "acum",
)  # fmt: skip


def random_table(rng: random.Random) -> pd.DataFrame:
    rows = rng.randrange(1, 9)
    columns: dict[str, list[Any]] = {"place": [f"V{n}A.plate" for n in range(rows)]}
    for number in range(rng.randrange(1, 16)):
        head = f"{rng.choice(WORDS)} [{rng.choice(('V', 'dB(A) against 1 W into 8 ohm', '%', 'degrees'))}] {number}"
        numbers = [rng.choice((1e-3, 1.0, 1e4)) * rng.uniform(-9.0, 9.0) for _ in range(rows)]
        columns[head] = numbers if rng.random() < 0.6 else [rng.choice(WORDS) for _ in range(rows)]
    return pd.DataFrame(columns)


def page_of(tables: list[pd.DataFrame], path: Path) -> Path:
    body = "".join(fitted_table(each, "a caption") for each in tables)
    text = str(render("ampsim.base", "document.html"))
    text = text.replace("<style>", f"<style>{sheet_style()}", 1).replace("<main>", f"<main>{body}", 1)
    path.write_text(text, "utf-8")
    return path


def test_no_table_splits_a_word_or_leaves_the_paper(chromium: Any, tmp_path: Path) -> None:
    rng = random.Random(13)
    tables = [random_table(rng) for _ in range(150)]
    fits = [fit_table(each) for each in tables]
    assert {len(each) > 1 for each in fits} == {True, False}
    assert {look.name for each in fits for look, _ in each} == {"narrow", "middle", "wide"}
    page = chromium.new_page(viewport={"width": 1280, "height": 800})
    page.goto(page_of(tables, tmp_path / "t.html").as_uri())
    assert split_words(page) == []
    assert on_paper(page) == []
    assert split_words(page) == []
    page.close()


def test_a_word_that_no_paper_has_room_for_breaks(chromium: Any, tmp_path: Path) -> None:
    table = pd.DataFrame({"name": ["x" * 300, "ab" * 32], "volts": [1.0, 2.0]})
    page = chromium.new_page()
    page.goto(page_of([table], tmp_path / "t.html").as_uri())
    assert on_paper(page) == []
    assert split_words(page) == []  # it breaks between pieces of text, and the digest stays whole
    assert "x" * 300 in page.locator("td").first.text_content()
    page.close()
