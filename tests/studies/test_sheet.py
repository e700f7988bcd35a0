"""The consequence sheet as a whole: bad mods are caught, good ones pass, and the page is safe and complete."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.mods import apply_mods
from ampsim.interface.commands.main import main
from ampsim.library.loader import load_amp, load_mod, parse_mod
from ampsim.studies.findings import Finding, Grade, grade_above, grade_below, worries_first, worst
from ampsim.studies.section import Section
from ampsim.studies.sheet.page import sheet_html, write_sheet
from ampsim.studies.sheet.sheet import Sheet, consequences, examine
from ampsim.studies.topics import TOPICS, topic_title

BAD = Path(__file__).resolve().parents[1] / "bad_mods"
# Each deliberately wrong mod and the topic that must catch it.
WRONG = {
    "hot-output": "ratings",
    "bare-screens": "ratings",
    "cold-filter": "ratings",
    "cold-third-stage": "headroom",
    "slow-coupling": "blocking",
    "more-feedback": "stability",
    "noisy-input": "noise",
    "thin-filter": "noise",
    "popping": "pop",
}
EVIL = "</script><script>alert(1)</script>\"' onload='x' &amp;"


@pytest.fixture(scope="module")
def stock():  # type: ignore[no-untyped-def]
    return load_amp("workshop-a")


@pytest.mark.parametrize(("name", "topic"), WRONG.items())
def test_a_deliberately_wrong_mod_is_caught(stock, name: str, topic: str) -> None:  # type: ignore[no-untyped-def]
    modded = apply_mods(stock, load_mod(BAD / f"{name}.toml"))
    found = consequences(examine(stock, modded), [topic])
    assert found.grade == "beyond the limit"
    assert Grade.BEYOND.advice in found.text


@pytest.fixture(scope="module")
def good(stock) -> Sheet:  # type: ignore[no-untyped-def]
    mod = {"name": "gentle", "reason": EVIL, "edits": [{"replace": "C5", "with": "270p"}]}
    return consequences(examine(stock, apply_mods(stock, parse_mod(mod))))


def test_a_good_mod_passes_every_topic(good: Sheet) -> None:
    assert [section.title for section in good.sections] == [topic_title(topic) for topic in TOPICS]
    for section in good.sections:
        assert section.grade != "beyond the limit", [each.words for each in section.in_order][:2]
    # What already stood near a limit in the stock amp may be told again; nothing of it is the mod's doing.
    worries = [each for each in good.findings if each.grade == "near the limit"]
    assert all("stock" in each.words for each in worries), [each.words for each in worries]


def test_every_finding_says_how_it_was_got_and_points_at_a_picture_that_is_there(good: Sheet) -> None:
    assert good.findings
    for section in good.sections:
        for finding in section.findings:
            assert finding.words
            assert finding.how
            assert finding.source
            assert finding.unit
            assert not finding.picture or finding.picture in section.pictures


def test_the_page_escapes_links_and_fetches_nothing(good: Sheet, tmp_path: Path) -> None:
    page = write_sheet(good, tmp_path / "made" / "sheet.html").read_text("utf-8")
    assert page == sheet_html(good)
    assert "<script" not in page
    assert "alert(1)&lt;/script&gt;" in page
    anchors = set(re.findall(r'href="#([^"]+)"', page))
    assert anchors
    assert anchors <= set(re.findall(r'id="([^"]+)"', page))
    assert not re.findall(r'(?:src|href)="(?!#|data:)', page)
    for words in {finding.grade.advice for finding in good.findings}:
        assert words in page
    assert "lethal voltages" in page


def test_positions_are_those_of_what_the_mods_add(stock) -> None:  # type: ignore[no-untyped-def]
    modded = apply_mods(stock, load_mod("bright-switch"), load_mod("depth"))
    assert examine(stock, modded).positions == ({}, {"depth": 1.0}, {"bright": "120p"}, {"bright": "390p"})


def test_an_unknown_topic_is_refused(stock) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(DescriptionError, match="'rating' is no topic of the sheet; nearest: ratings"):
        consequences(examine(stock, stock), ["rating"])


def test_the_command_prints_the_sheet_and_leaves_the_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "s.html"
    order = ["consequences", "--amp", "workshop-b", "--mod", "smaller-coupling", "--topic", "stability"]
    assert main([*order, "--to", str(target)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("workshop amp B with smaller coupling capacitor")
    assert "no feedback" in said
    assert "stability: nothing to judge" in said
    assert '"grade fine"' not in target.read_text("utf-8")
    assert target.stat().st_size > 3000


def _finding(grade: str, words: str) -> Finding:
    return Finding("t", "s", "v", "as drawn", 1.0, "V", 2.0, Grade(grade), words, "h", "s")


def test_worries_come_first_and_the_same_words_once() -> None:
    found = [
        _finding("fine", "a"),
        _finding("beyond the limit", "b"),
        _finding("fine", "a"),
        _finding("not known", "c"),
    ]
    assert [each.words for each in worries_first(found)] == ["b", "c", "a"]
    assert worst(found) == "beyond the limit"
    assert worst([]) == "fine"
    assert Section("t", tuple(found), {}, {}).grade == "beyond the limit"


def test_grades() -> None:
    assert [grade_below(value, 10.0) for value in (9.0, 9.5, 10.0, 10.1, float("nan"))] == [
        "fine", "near the limit", "near the limit", "beyond the limit", "not known",
    ]  # fmt: skip
    assert grade_below(1.0, None) == "not known"
    assert [grade_above(value, 30.0, 45.0) for value in (50.0, 44.0, 29.0)] == [
        "fine", "near the limit", "beyond the limit",
    ]  # fmt: skip
    assert [grade.worry for grade in Grade] == [0, 1, 2, 3]
