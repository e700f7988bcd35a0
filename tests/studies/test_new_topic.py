"""A topic that stands outside: one folder and one word, and it is everywhere it belongs."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from ampsim import studies
from ampsim.circuit.mods import apply_mods
from ampsim.interface.commands.main import main
from ampsim.library.loader import load_amp, load_mod
from ampsim.studies import topics
from ampsim.studies.sheet.page import sheet_html
from ampsim.studies.sheet.sheet import consequences, examine

SECTION = '''
import pandas as pd

from ampsim.studies.findings import Finding, grade_below
from ampsim.base.progress import Progress
from ampsim.studies.section import Examination, Section

from . import TITLE


def section(examined: Examination, progress: Progress | None = None) -> Section:
    """Weigh the mod: parts that it adds, 100 g each."""
    added = len(examined.modded.parts) - len(examined.stock.parts)
    grams = 100.0 * (added + 1)
    finding = Finding(TITLE, "amp", examined.modded.variant, "as drawn", grams, "g", 50.0, grade_below(grams, 50.0),
                      f"the mod weighs {grams:g} g", "counted", "none")
    return Section(TITLE, (finding,), {"weighed": pd.DataFrame({"mass [g]": [grams]})}, {})
'''


@pytest.fixture
def toy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    folder = tmp_path / "weight"
    folder.mkdir()
    (folder / "__init__.py").write_text('TITLE = "weight of the amp"\n', "utf-8")
    (folder / "section.py").write_text(SECTION, "utf-8")
    monkeypatch.setattr(studies, "__path__", [*studies.__path__, str(tmp_path)])
    monkeypatch.setattr(topics, "TOPICS", (*topics.TOPICS, "weight"))
    return "weight"


def test_a_new_topic_is_in_the_text_and_on_the_page(toy: str) -> None:
    stock = load_amp("workshop-a")
    lines: list[str] = []
    assert topics.chosen_topics()[-1] == toy
    found = consequences(
        examine(stock, apply_mods(stock, load_mod("depth"))), [toy], lambda done, total, text: lines.append(text)
    )
    assert "weight of the amp: change this first" in found.text
    assert "as drawn: the mod weighs" in found.text
    assert lines == ["weight of the amp ...", "weight of the amp: change this first"]
    page = sheet_html(found)
    assert '<details class="topic" id="weight-of-the-amp">' in page
    assert 'href="#weight-of-the-amp"' in page
    assert "mass [g]" in page
    assert "weight of the amp" in found._repr_html_()


def test_the_command_knows_it(toy: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    order = ["consequences", "--amp", "workshop-a", "--mod", "depth", "--to", str(tmp_path / "sheet.html")]
    assert main([*order, "--topic", toy]) == 0
    assert "Must be decided:\n  weight of the amp: as drawn: the mod weighs 100 g" in capsys.readouterr().out
    assert main([*order, "--topic", toy, "--all"]) == 0
    assert "weight of the amp: change this first" in capsys.readouterr().out
    assert main([*order, "--topic", "weigth"]) == 1
    assert "nearest: weight" in capsys.readouterr().err


def rows_missing() -> set[str]:
    """Topics without a row in the table of the README, and rows without a topic."""
    readme = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    table = re.search(r"^\| topic \|.*\n\|.*\n((?:\|.*\n)+)", readme, re.MULTILINE)
    assert table is not None
    return set(re.findall(r"^\| (\w+) \|", table[1], re.MULTILINE)) ^ set(topics.TOPICS)


def test_the_readme_has_a_row_for_each_topic() -> None:
    assert rows_missing() == set()


def test_the_readme_would_lack_a_new_one(toy: str) -> None:
    assert rows_missing() == {toy}
