"""Papers as PDF, read back: words and numbers whole, fonts embedded, and texts of others that stay texts."""

from __future__ import annotations

import base64
import os
from pathlib import Path
from typing import Any

import pandas as pd
import pypdfium2
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from markupsafe import Markup

from ampsim.base.errors import DescriptionError
from ampsim.base.html import fitted_table, render
from ampsim.job.papers.exercise import ExerciseSheet
from ampsim.job.papers.exercise_questions import Question
from ampsim.job.papers.page_tree import read_page
from ampsim.job.papers.pdf import pdf_of, write_pdf
from tests.tools.read_pdf import beyond_margins, fonts, joined, kinds_of_objects, links, open_pdf, sizes, texts

A4, LETTER = (595, 842), (612, 792)
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="400pt" height="{}pt"><desc>a line</desc>'
    '<path d="M0 0L9 9" stroke="black"/>'
    "<text x='20' y='20' font-size='12' font-family='DejaVu Sans'>4k7 in a drawing</text></svg>"
)
TYPST = (
    '#read("/etc/passwd")', "#import \"@preview/x:1.0.0\"", "$x^2$", "*b* _i_ `r`", "= head", "- item", "\\u{41} \\",
    "<at-x>",
    "@ref", "/* c", "// c", "#{", "]", "[", "#eval(sys.inputs.page)", "https://example.org/", "~~", "\"", "#panic()",
    "</p><script>1</script>", "&lt;b&gt;", "<img src=x>", "{{ 7*7 }}", "<svg onload='1'>", "</main>", "a--b...", "'q'",
)  # fmt: skip


def page(content: str, title: str = "a page") -> str:
    return f"<html><head><title>{title}</title></head><body><main>{content}</main></body></html>"


def made(content: str, paper: str = "", appendix: bool = False) -> Any:
    return open_pdf(pdf_of(read_page(page(content), appendix), paper))


def test_a_paper_has_its_size_its_fonts_and_pages_that_say_their_number() -> None:
    long = "".join(f"<section><h2>part {n}</h2><p>{'some words of it ' * 60}</p></section>" for n in range(12))
    for paper, size in (("", A4), ("A4", A4), ("Letter", LETTER)):
        pdf = made(long, paper)
        assert sizes(pdf) == {size}
        assert len(pdf) > 2
        assert fonts(pdf)
        assert all(fonts(pdf).values())
        assert beyond_margins(pdf) == []
        for number, words in enumerate(texts(pdf), 1):
            assert f"{number} / {len(pdf)}" in words
    assert [each.get_title() for each in pdf.get_toc()] == [f"Part {n}" for n in range(12)]
    assert pdf.get_metadata_value("Title") == "a page"
    assert pdf_of(read_page(page(long))) == pdf_of(read_page(page(long)))


def test_no_heading_or_caption_stands_alone_at_the_end_of_a_page() -> None:
    # The more lines stand before it, the nearer a heading comes to the end of the page, over it and away from it.
    rows = pd.DataFrame({"place": ["V1A.plate", "V1A.cathode"], "volts [V]": [167.0, 1.25]})
    for lines in (36, 38, 39, 40, 41, 43):
        begun = f"<p>{'line ' * 14}</p>" * lines
        for under in ("<p>under it</p>", str(fitted_table(rows, "volts")), f"<figure>{SVG.format(60)}</figure>"):
            for each in texts(made(f"{begun}<section><h2>heading</h2>{under}</section>")):
                assert ("Heading" in each) == any(word in each for word in ("under it", "V1A.plate", "in a drawing")), (
                    lines
                )


def test_no_line_of_a_short_end_stands_alone_on_the_next_page() -> None:
    asked = "".join(f'<div class="question"><p>question {n}</p></div>' for n in (1, 2))
    rows = "".join(f'<div class="row"><h4>row {n}</h4><p class="said">said {n}</p></div>' for n in range(1, 7))
    ends = {
        f"<section><h2>Parts</h2>{asked}</section>": [("question 1", "question 2")],
        f'<section><div class="heard">{rows}</div></section>': [("said 1", "said 2"), ("said 5", "said 6")],
        '<section><h2>the shop</h2><p class="quiet">line 1<br>line 2<br>line 3<br>line 4</p></section>':
            [("line 2", "line 3")],
    }  # fmt: skip
    for end, pairs in ends.items():
        alone = 0
        for lines in range(33, 44):
            pages = texts(made(f"<p>{'word ' * 14}</p>" * lines + end))
            alone += not any("word" in each and any(pair[0] in each for pair in pairs) for each in pages)
            for pair in pairs:
                assert all((pair[0] in each) == (pair[1] in each) for each in pages), (lines, pair)
        assert alone  # some lengths do bring it over the end of the page


def test_a_section_below_the_header_has_no_rule_of_its_own() -> None:
    def rules(content: str) -> int:
        return sum(each.type == pypdfium2.raw.FPDF_PAGEOBJ_PATH for each in made(content)[0].get_objects())

    header, section = "<header><h1>Quote</h1></header>", "<section><h2>Work</h2><p>words</p></section>"
    assert rules(header + section) == rules(header)
    assert rules(header + section + section) == rules(header) + 1


def test_a_long_table_repeats_its_heads_and_keeps_words_and_numbers_whole() -> None:
    rows = pd.DataFrame({
        "place": [f"V{n}A.plate" for n in range(150)],
        "expected as it came [V]": [1234.5678 * (n + 1) for n in range(150)],
        "what is said of it": ["electrolytic, plus at the cathode, and more words than one line has"] * 150,
        **{f"column {n} [V]": [311.25 + n] * 150 for n in range(5)},
    })  # fmt: skip
    for paper in ("A4", "Letter"):
        pdf = made(str(fitted_table(rows, "readings")), paper)
        pages = texts(pdf)
        assert len(pages) > 3
        assert all("expected" in each and "place" in each for each in pages)
        words = set(" ".join(pages).split())
        assert {f"V{n}A.plate" for n in range(150)} <= words
        assert {f"{round(1234.5678 * (n + 1), 0):.0f}" for n in range(9, 150)} <= words
        assert beyond_margins(pdf) == []


def test_a_short_table_stays_on_one_page_unless_no_page_holds_it() -> None:
    for count, words, most in ((12, "short", 1), (12, "long " * 400, 99)):
        rows = pd.DataFrame({"place": [f"V{n}A" for n in range(count)], "said": [words] * count})
        pdf = made("<p>line</p>" * 38 + str(fitted_table(rows)))
        assert beyond_margins(pdf) == []
        pages = texts(pdf)
        held = [each for each in pages if "V0A" in each or "V11A" in each]
        assert 1 <= len(held) <= most
        assert all(f"V{n}A" in " ".join(pages) for n in range(count))


def test_pictures_are_vectors_with_words_and_a_drawing_lies_on_a_page_of_its_own() -> None:
    url = "data:image/svg+xml;base64," + base64.b64encode(SVG.format(300).encode()).decode()
    drawn = f'<figure class="sheet"><figcaption>c</figcaption><img alt="x" src="{url}"></figure>'
    sheet = f"<section><h2>d</h2>{drawn}</section>"
    pdf = made(f"<p>before</p>{sheet}<figure>{SVG.format(300)}</figure>")
    assert [each.get_size()[0] > each.get_size()[1] for each in pdf] == [False, True, False]
    assert "image" not in kinds_of_objects(pdf)
    assert ["4k7 in a drawing" in each for each in texts(pdf)] == [False, True, True]
    assert not any("a line" in each for each in texts(pdf))  # the description is for those who do not see


def test_what_is_folded_hidden_or_runs_is_left_out_and_links_lead_inside() -> None:
    content = (
        '<a href="#far">to far</a> <a href="#none">to none</a> <a href="https://example.org/">web</a>'
        '<p hidden>hidden</p><script>run</script><form>form</form><div class="picture narrow">narrow</div>'
        '<details class="appendix"><summary>appendix</summary><p id="far">folded</p><p id="far">twice</p></details>'
    )
    closed, opened = made(content), made(content, appendix=True)
    for pdf in (closed, opened):
        words = joined(pdf)
        assert "tofar" in words
        assert "web" in words
        assert not any(each in words for each in ("hidden", "run", "form", "narrow"))
    assert "folded" not in joined(closed)
    assert links(closed) == []
    assert "folded" in joined(opened)
    assert links(opened) == [2]  # the page it leads to, of the one link that has a place


@settings(max_examples=10)
@example([*["#read(x)"] * 2, "A-", *["#read(x)"] * 21], False)
@given(
    st.lists(
        st.one_of(
            st.sampled_from(TYPST),
            st.text(st.characters(min_codepoint=33, max_codepoint=126), min_size=1, max_size=40),
            st.lists(st.sampled_from(TYPST), min_size=2, max_size=4).map(" ".join),
        ),
        min_size=24, max_size=24,
    ),
    st.booleans(),
)  # fmt: skip
def test_a_text_of_another_s_making_stands_on_paper_as_it_is(said: list[str], answers: bool) -> None:
    asked = tuple(
        (said[n], Question(f"{said[n]} {n}", said[n + 1], said[2], reason=said[3], data=said[4])) for n in range(8, 23)
    )
    changes = pd.DataFrame({"mod": said[3:7], said[7]: said[8:12]})
    sheet = ExerciseSheet(said[0], said[1], said[2], changes, asked)
    text = sheet.answers_html() if answers else sheet.questions_html()
    data = pdf_of(read_page(text))
    pdf = open_pdf(data)
    seen = joined(pdf)
    shown = [*said[:3], *(f"{each} {n}" for n, each in enumerate(said[8:23], 8)), *(said[9:] if answers else said[3:8])]
    for each in shown:
        assert "".join(each.split()) in seen, each
    assert links(pdf) == []
    assert not any(each in data for each in (b"/URI", b"/JavaScript", b"/Launch", b"/EmbeddedFile", b"root:"))


@settings(max_examples=10)
@given(st.lists(st.text(max_size=60), min_size=6, max_size=6))
def test_any_text_at_all_comes_to_paper(said: list[str]) -> None:
    sheet = ExerciseSheet(
        said[0], said[1], said[2], pd.DataFrame({said[3]: [said[4]]}), ((said[5], Question(said[3], said[4])),)
    )
    assert len(open_pdf(pdf_of(read_page(sheet.questions_html())))) >= 1


def test_a_drawing_reads_no_file_and_a_broken_one_is_told(tmp_path: Path) -> None:
    (tmp_path / "far.svg").write_text(SVG.format(100), "utf-8")
    reads = SVG.format(100).replace("<path", f'<image href="{tmp_path}/far.svg" width="90" height="90"/><path')
    try:
        drawn = joined(made(f"<figure>{reads}</figure>"))
    except DescriptionError:
        drawn = ""
    assert drawn.count("4k7inadrawing") <= 1
    path = tmp_path / "p.html"
    broken = base64.b64encode(b"<svg width='9'><broken").decode()
    path.write_text(page(f'<img alt="x" src="data:image/svg+xml;base64,{broken}">'), "utf-8")
    (tmp_path / "p.pdf").write_text("old", "utf-8")
    with pytest.raises(DescriptionError, match=r"p\.html: no PDF can be made of it.*any browser prints it"):
        write_pdf(path)
    assert (tmp_path / "p.pdf").read_text("utf-8") == "old"
    assert sorted(os.listdir(tmp_path)) == ["far.svg", "p.html", "p.pdf"]


NO_PAGES = {
    "<p>x</p>": "no page that ampsim wrote",
    "": "no page",
    page("<svg>"): "no page",
    page("<div>" * 5000): "too deep",
}


@pytest.mark.parametrize(("text", "told"), [*NO_PAGES.items(), (None, "cannot be read")])
def test_what_is_no_page_is_refused(tmp_path: Path, text: str | None, told: str) -> None:
    path = tmp_path / "p.html"
    if text is not None:
        path.write_text(text, "utf-8")
    with pytest.raises(DescriptionError, match=told):
        write_pdf(path)
    with pytest.raises(DescriptionError, match="no paper"):
        write_pdf(tmp_path / "p.html" if text is not None else __file__, paper="A3")
    assert not (tmp_path / "p.pdf").exists()


def test_a_page_of_ours_says_its_own_paper_and_letters_of_any_script_are_looked_for(tmp_path: Path) -> None:
    facts = {"style": Markup(""), "size": "letter", "title": "日本語 Ω", "above": "", "intro": "", "caution": "c"}
    frame = render("ampsim.job.papers", "paper.html", **facts)
    (tmp_path / "p.html").write_text(frame, "utf-8")
    pdf = pypdfium2.PdfDocument(write_pdf(tmp_path / "p.html"))
    assert sizes(pdf) == {LETTER}
    assert "Ω" in joined(pdf)
