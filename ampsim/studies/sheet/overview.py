"""Grades and an overview of sections as HTML: a row to each, with its verdict and its most worrying finding."""

from __future__ import annotations

import re
from collections.abc import Sequence

from markupsafe import Markup

from ...base.files import file_word
from ...base.html import render
from ..findings import Grade
from ..section import Section

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
    return _first_sentence(first.sentence if first else "; ".join(section.notes[:1]))


def _first_sentence(words: str) -> str:
    """Up to the first full stop that ends a sentence, not a number."""
    return re.split(r"(?<=[a-z\d%])\. (?=[A-Z])", words, maxsplit=1)[0].rstrip(".") + "."
