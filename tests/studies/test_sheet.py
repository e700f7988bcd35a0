"""The consequence sheet as a whole: bad mods are caught, good ones pass, and the page is safe and complete."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.base.html import script_digests
from ampsim.circuit.mods import apply_mods
from ampsim.interface.commands.main import main
from ampsim.library.loader import load_amp, load_mod, parse_mod
from ampsim.studies.findings import Finding, Grade, grade_above, grade_below, worries_first, worst
from ampsim.studies.section import Section
from ampsim.studies.sheet.matters import matters
from ampsim.studies.sheet.page import sheet_html, write_sheet
from ampsim.studies.sheet.sheet import Sheet, consequences, examine
from ampsim.studies.sheet.text import first_answer
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
    (script,) = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    assert page.count("<script") == 1
    assert f"script-src {script_digests([script])}; " in unescape(page)
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


def test_everything_is_printed_on_request(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    order = ["consequences", "--amp", "lesson-stage", "--mod", str(tmp_path / "m.toml"), "--topic", "ratings"]
    (tmp_path / "m.toml").write_text('name = "m"\nreason = "r"\n[[edits]]\nreplace = "R4"\nwith = "2k2"\n', "utf-8")
    said = []
    for more in ([], ["--all"]):
        assert main([*order, *more, "--to", str(tmp_path / "s.html")]) == 0
        said.append(capsys.readouterr().out)
    first, everything = said
    assert "plate volts at rest" not in first
    assert "--all" in first
    assert "Fine: " in first
    assert "valves against their limits" in everything
    assert len(first.splitlines()) < 12
    assert first.count("lethal") == everything.count("lethal") == 1


# The first answer

SUBJECTS = ("V1 plate volts", "hiss", "a longer subject of a finding")
POSITIONS = ("as drawn", "bright 120p", "gain 3, cathode 2k7 and 1u", "any position")
LONG = (
    "It carries 219 V of at most 180 V (design centre), and so much is said of it that it takes a line. More follows."
)
findings = st.builds(
    lambda subject, position, value, limit, grade, length: Finding(
        "t",
        subject,
        "v",
        position,
        value,
        "V",
        limit,
        grade,
        f"{subject} {value:.3g} V, {grade}: {LONG[:length]}",
        "h",
        "s",
    ),
    st.sampled_from(SUBJECTS),
    st.sampled_from(POSITIONS),
    st.floats(-300.0, 300.0),
    st.one_of(st.none(), st.floats(-100.0, 100.0)),
    st.sampled_from(Grade),
    st.integers(10, len(LONG)),
)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.lists(findings, max_size=25), min_size=1, max_size=7))
def test_the_first_answer_fits_a_screen_and_loses_nothing_that_must_be_decided(drawn: list[list[Finding]]) -> None:
    sections = [Section(f"topic {number}", tuple(each), {}, {}, ("No loop.",)) for number, each in enumerate(drawn)]
    lines = first_answer(sections).splitlines()
    assert all(len(line) <= 100 for line in lines)
    decided, _, worries = "\n".join(lines).partition("\n\n")
    # What must be decided may take more; what is near a limit is then named alone.
    assert len(lines) <= 40 or "\n  topic" not in worries.partition("\n\nFine: ")[0].partition("nothing to judge")[0]
    said = " ".join(" ".join(lines).split())
    for section in sections:
        stand = {(each.subject, each.grade) for each in section.findings}
        for subject, grade in stand:
            if grade == Grade.BEYOND:
                assert f"{section.title}: " in decided
                assert any(each.words.split(": It")[0] in " ".join(decided.split()) for each in section.findings
                           if (each.subject, each.grade) == (subject, grade))  # fmt: skip
            elif grade != Grade.FINE:
                assert f"{section.title}: " in said or f"{section.title}, {subject}" in said
            else:
                assert section.title in said.partition("Fine: ")[2]
        if not section.findings:
            assert f"{section.title}: nothing to judge. No loop." in said


def test_a_matter_is_told_by_the_finding_that_stands_worst() -> None:
    found = [
        replace(
            _finding(grade, "w"),
            subject=subject,
            position=position,
            value=value,
            limit=limit,
            words=position,
            least=subject == "margin",
        )
        for grade, subject, position, value, limit in (
            ("beyond the limit", "a", "as drawn", 2.5, 2.0),
            ("beyond the limit", "a", "high", 4.0, 2.0),
            ("beyond the limit", "a", "as high", 4.01, 2.0),
            ("near the limit", "margin", "good", 44.0, 30.0),
            ("near the limit", "margin", "poor", 31.0, 30.0),
            ("near the limit", "no limit", "x", 1.0, None),
        )
    ]
    section = Section("t", tuple(found), {}, {})
    (first,) = matters([section], Grade.BEYOND)
    assert (first.finding.position, first.others) == ("high", ("as drawn", "as high"))
    assert first.sentence == "high: high. Likewise as drawn and at as high."
    assert [each.finding.position for each in matters([section], Grade.NEAR)] == ["poor", "x"]


@settings(max_examples=60)
@given(st.lists(st.floats(-30.0, 30.0).map(lambda each: round(each, 1)), min_size=1, max_size=6), st.booleans())
def test_of_one_grade_the_one_past_its_limit_is_told(values: list[float], least: bool) -> None:
    """What is past a limit as stock is, or for a good reason, is near it by grade: the farthest past it is told."""
    found = [
        Finding("t", "s", "v", f"at {number}", value, "dB", 6.0, Grade.NEAR, "w", "h", "s", least=least)
        for number, value in enumerate(values)
    ]
    (told,) = matters([Section("t", tuple(found), {}, {})], Grade.NEAR)
    worst_value = min(values) if least else max(values)
    assert abs(told.finding.value - worst_value) <= 0.02 * abs(worst_value - 6.0) * 1.03
    assert len(told.others) == len(values) - 1


def _finding(grade: str, words: str) -> Finding:
    return Finding("t", "s", "v", "as drawn", 1.0, "V", 2.0, Grade(grade), words, "h", "s")


def test_worries_come_first_and_the_same_words_once() -> None:
    found = [
        _finding("fine", "a"),
        _finding("beyond the limit", "b"),
        _finding("fine", "a"),
        _finding("not known", "c"),
        _finding("fine", "b"),
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
