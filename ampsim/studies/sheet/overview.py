"""Grades, the first answer and an overview of sections as HTML."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from ...base.files import file_word
from ...base.html import render
from ...base.wording import keep_units
from ..findings import Grade
from ..section import Section
from .matters import HEADINGS, NOTHING, Matter, fine_words, first_sentence, matter_words, matters, silent_words

# Sign, and class of the style sheet, of each grade: colour is never alone.
_SIGNS = {
    Grade.FINE: ("✓", "fine"),
    Grade.UNKNOWN: ("?", "unknown"),
    Grade.NEAR: ("!", "near"),
    Grade.BEYOND: ("✗", "beyond"),
}


def overview_html(sections: Sequence[Section], linked: bool = False) -> Markup:
    """A table with a row to each section; `linked` to the anchors of a page that holds the sections too."""
    rows = [(section, _stands_out(section)) for section in sections]
    return render(__package__, "overview.html", rows=rows, linked=linked, anchor=anchor, verdict=verdict_html)


def answer_html(sections: Sequence[Section], linked: bool = False) -> Markup:
    """What must be decided, what is near a limit, and all that is fine in one line; `linked` as `overview_html`."""
    found = {grade: matters(sections, grade) for grade in HEADINGS}
    groups = [(HEADINGS[grade], _said(each)) for grade, each in found.items() if each]
    groups = groups if found[Grade.BEYOND] else [(NOTHING, []), *groups]
    return render(
        __package__,
        "answer.html",
        groups=groups,
        fine=fine_words(sections),
        silent=silent_words(sections),
        best=Grade.FINE,
        linked=linked,
        anchor=anchor,
        grade=grade_html,
    )


def _said(found: Sequence[Matter]) -> list[tuple[Matter, str]]:
    return [(matter, keep_units(words)) for matter, words in zip(found, matter_words(found), strict=True)]


def verdict_html(section: Section) -> Markup:
    """The grade of a section as sign and words; words alone where there is nothing to judge."""
    return grade_html(section.grade) if section.findings else _mark("", "", section.verdict)


def grade_html(grade: Grade) -> Markup:
    """A grade as sign and words."""
    return _mark(*_SIGNS[grade], grade.advice)


def anchor(*words: str) -> str:
    """An `id` made of words."""
    return "-".join(file_word(word) for word in words)


def _mark(sign: str, kind: str, words: str) -> Markup:
    return render(__package__, "grade.html", sign=sign, kind=kind, words=words)


def _stands_out(section: Section) -> str:
    first = next(iter(section.in_order), None)
    return first_sentence(first.sentence if first else "; ".join(section.notes[:1]))
