"""The consequence sheet in Chromium: sizes of screens, links, whole words; the record of its job on paper."""

from __future__ import annotations

import datetime
import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from ampsim.bench.proof.sheet import proof_of_rounds, proof_sheet
from ampsim.job.papers.handover import gather_handover, rounds_of
from ampsim.job.papers.pdf import write_pdf
from ampsim.job.papers.shop_record import shop_record
from ampsim.job.record.data import Frozen, Measured, Note, Record, State
from ampsim.job.record.words import Phase, Status
from ampsim.library.loader import load_audition
from ampsim.studies.findings import Grade
from ampsim.studies.sheet.page import write_sheet
from ampsim.studies.sheet.sheet import Sheet, consequences, examine
from tests.browser.page_figures import missing
from tests.browser.paper_words import on_paper, split_words
from tests.tools import read_pdf

in_chromium = pytest.mark.skipif(bool(missing()), reason=f"missing: {', '.join(missing())}")

DAY = datetime.date(2026, 3, 1)


@pytest.fixture(scope="module")
def found() -> Sheet:
    """The sheet of the job that comes along, whole."""
    asked = load_audition("bright-cathode-depth")
    return consequences(examine(asked.stock, asked.modded))


@pytest.fixture(scope="module")
def sheet(found: Sheet, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_sheet(found, tmp_path_factory.mktemp("sheet") / "sheet.html")


@pytest.fixture(scope="module")
def record(found: Sheet, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shop's record of the same job, three small mods, with every place read as it came and after the work."""
    asked = load_audition("bright-cathode-depth")
    told = []
    for phase, amp in ((Phase.ARRIVAL, asked.stock), (Phase.AFTER, asked.modded)):
        volts = tuple((row.place, row.expected) for row in proof_sheet(amp, count=5).rows)
        told.append(Measured(phase, DAY, volts, 230.0, 10e6, 230.0))
    words = "Dull at home with the gain turned down; warmer at times, and more bass from the power amp."
    kept = Record("a job", "workshop-a", owner="A. Owner", words=words, measured=tuple(told), frozen=(
        Frozen("workshop-a.toml", "ab" * 32, "0.1", DAY),), states=(State(Status.TAKEN_IN, DAY),),
        arrival=(Note(DAY, "smells of dust"),))  # fmt: skip
    tested = proof_of_rounds(asked.modded, rounds_of(kept), count=5)
    gathered = gather_handover(asked, kept, sheet=found, tested=tested)
    return shop_record(gathered, tmp_path_factory.mktemp("record") / "record.html")


def pages(pdf: Path) -> int:
    return len(re.findall(rb"/Type\s*/Page\b", pdf.read_bytes()))


def opened(chromium: Any, path: Path, width: int) -> Any:
    page = chromium.new_page(viewport={"width": width, "height": 800})
    page.problems = []
    page.on("pageerror", lambda problem: page.problems.append(str(problem)))
    page.on("console", lambda line: page.problems.append(line.text))
    page.on("request", lambda request: page.problems.append(request.url) if "http" in request.url else None)
    page.goto(path.as_uri())
    return page


@in_chromium
@pytest.mark.parametrize("width", [320, 390, 768, 1440])
def test_nothing_sticks_out_and_nothing_is_fetched(chromium: Any, sheet: Path, width: int) -> None:
    page = opened(chromium, sheet, width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.problems == []
    page.close()


@in_chromium
def test_the_first_answer_is_a_screen(chromium: Any, found: Sheet, sheet: Path) -> None:
    lines = found.first_answer.splitlines()
    assert len(lines) <= 40  # the command adds where the file is and the caution
    assert max(map(len, lines)) <= 100
    page = opened(chromium, sheet, 1280)
    must = page.locator(".answer h2").first.inner_text()
    decisions = page.locator(".answer .grade.beyond")
    subjects = {(each.topic, each.subject) for each in found.findings if each.grade == Grade.BEYOND}
    assert must == ("Must be decided" if subjects else "Nothing must be decided")
    assert decisions.count() == len(subjects)
    boxes = page.locator(".answer li:has(.beyond)").evaluate_all(
        "(all) => all.map((each) => each.getBoundingClientRect().bottom)"
    )
    assert all(bottom < 800 for bottom in boxes)
    assert page.evaluate("document.documentElement.scrollHeight") < 2000
    page.close()


@in_chromium
def test_everything_unfolds_on_request_and_prints(chromium: Any, sheet: Path, tmp_path: Path) -> None:
    page = opened(chromium, sheet, 1280)
    counts = []
    for name in ("folded", "unfolded"):
        page.pdf(path=tmp_path / f"{name}.pdf", format="A4")
        counts.append(pages(tmp_path / f"{name}.pdf"))
        page.get_by_label("Unfold everything").check()
    assert counts[0] == 1
    assert counts[1] > 10
    assert page.locator("details:not([open])").count() == 0
    page.get_by_label("Unfold everything").uncheck()
    assert page.locator("details[open]").count() == 0
    page.close()


@in_chromium
def test_a_finding_leads_to_its_picture(chromium: Any, sheet: Path) -> None:
    page = opened(chromium, sheet, 1024)
    link = page.locator(".answer a", has_text="picture").last
    link.click()
    target = page.locator("figure:target")
    assert target.count() == 1
    box = target.bounding_box()
    assert box["y"] + 1 >= 0
    assert box["y"] < 800
    assert box["width"] > 500
    page.close()


@in_chromium
def test_grades_are_told_in_words_and_the_paper_shows_every_picture(chromium: Any, sheet: Path, tmp_path: Path) -> None:
    page = opened(chromium, sheet, 1024)
    page.get_by_label("Unfold everything").check()
    words = page.locator(".grade").all_inner_texts()
    assert words
    assert all(any(sign.isalpha() for sign in each) for each in words)
    page.pdf(path=tmp_path / "sheet.pdf", format="A4")
    assert (tmp_path / "sheet.pdf").stat().st_size > 20_000
    page.close()


@in_chromium
def test_no_table_of_the_sheet_splits_words_or_leaves_the_paper(chromium: Any, sheet: Path) -> None:
    page = opened(chromium, sheet, 1280)
    page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    assert page.locator("td").count() > 100
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 800})
        assert split_words(page) == []
    assert on_paper(page) == []
    assert split_words(page) == []
    page.close()


def test_the_record_has_what_is_needed_first_on_eight_pages(record: Path, tmp_path: Path) -> None:
    for paper in ("A4", "Letter"):
        pdf = read_pdf.open_pdf(write_pdf(record, tmp_path / f"{paper}.pdf", paper).read_bytes())
        assert 4 <= len(pdf) <= 8
        assert [width > height for width, height in (page.get_size() for page in pdf)].count(True) == 1
    text = record.read_text("utf-8")
    headings = ("Test sheet", "What differs", "Parts fitted", "What it does", "Wiring", "Drawings", "How to undo")
    places = [text.index(f"<h2>{heading}") for heading in headings]
    assert places == sorted(places)
    assert places[-1] < text.index('<details class="appendix">') < text.index("<h2>Caution sheet")


def test_every_word_and_number_of_the_record_s_tables_stands_whole_on_paper(record: Path, tmp_path: Path) -> None:
    path = write_pdf(record, tmp_path / "all.pdf", appendix=True)
    pdf = read_pdf.open_pdf(path.read_bytes())
    assert len(pdf) > 8
    printed = " ".join(read_pdf.texts(pdf))
    seen = set(re.split(r"[\s-]+", printed))
    cells = re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", record.read_text("utf-8"))
    words = {word for cell in cells if "<" not in cell for word in re.split(r"[\s-]+", unescape(cell))}
    assert len(words) > 200
    assert words - seen <= {""}
    assert read_pdf.beyond_margins(pdf) == []
    assert all(read_pdf.fonts(pdf).values())
    assert "image" not in read_pdf.kinds_of_objects(pdf)
    titles = [each.get_title() for each in pdf.get_toc()]
    assert titles.index("Wiring") < titles.index("How to undo it") < titles.index("Caution sheet")
