"""Sections in words: the grade of each, its findings with the worries first, and an overview with a row to each."""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import escape

from ...base.files import file_word
from ...base.tables import text_table
from ..findings import GRADES, Finding, Grade
from ..section import Section

IN_WORDS: dict[Grade, str] = {
    "fine": "fine",
    "not known": "not known",
    "near the limit": "look again",
    "beyond the limit": "change this first",
}


def section_text(section: Section) -> str:
    """One section as plain text: its grade, what was found (worries first), tables and notes."""
    lines = [f"{section.title}: {in_a_word(section.grade, section.findings)}"]
    lines += [f"  {IN_WORDS[finding.grade]}: {said(finding)}" for finding in in_order(section.findings)]
    lines += [f"\n{title}\n{text_table(table)}" for title, table in section.tables.items() if not table.empty]
    return "\n".join([*lines, *(f"  Note: {note}" for note in section.notes)])


def in_a_word(grade: Grade, findings: Sequence[Finding]) -> str:
    """The grade in words; where nothing was found there is none, such as stability without feedback."""
    return IN_WORDS[grade] if findings else "nothing to judge"


def in_order(findings: Sequence[Finding]) -> list[Finding]:
    """Findings with the worries first, otherwise in their order; what is said in the same words is said once."""
    told: dict[str, Finding] = {}
    for finding in findings:
        told.setdefault(said(finding), finding)
    return sorted(told.values(), key=lambda finding: -GRADES.index(finding.grade))


def said(finding: Finding) -> str:
    """A finding's sentence, with its position in front where the sentence does not name it."""
    known = finding.position in finding.words or finding.position == "every position"
    return finding.words if known else f"{finding.position}: {finding.words}"


# Sign, and word of the style sheet, of each grade: colour is never alone.
_SIGNS = {
    "fine": ("✓", "fine"),
    "not known": ("?", "unknown"),
    "near the limit": ("!", "near"),
    "beyond the limit": ("✗", "beyond"),
}


def overview(sections: Sequence[Section], linked: bool = False) -> str:
    """One row to each section: its grade in words and sign, and its most worrying finding."""
    rows = "\n".join(_overview_row(section, linked) for section in sections)
    return (
        '<table class="overview"><thead><tr><th scope="col">topic</th><th scope="col">in a word</th>'
        f'<th scope="col">what stands out</th></tr></thead>\n<tbody>\n{rows}\n</tbody></table>'
    )


def _overview_row(section: Section, linked: bool) -> str:
    first = next(iter(in_order(section.findings)), None)
    name = escape(section.title)
    title = f'<a href="#{_anchor(section.title)}">{name}</a>' if linked else name
    stands_out = escape(_first_sentence(said(first) if first else "; ".join(section.notes[:1])))
    return (
        f'<tr><th scope="row" style="text-align:left">{title}</th><td style="text-align:left">{_mark_of(section)}'
        f'</td><td style="text-align:left">{stands_out}</td></tr>'
    )


def _first_sentence(words: str) -> str:
    """Up to the first full stop that ends a sentence, not a number."""
    return re.split(r"(?<=[a-z\d%])\. (?=[A-Z])", words, maxsplit=1)[0].rstrip(".") + "."


def mark(grade: str) -> str:
    """A grade as sign and words."""
    sign, word = _SIGNS[grade]
    return f'<span class="grade {word}"><span aria-hidden="true">{sign}</span> {escape(IN_WORDS[grade])}</span>'  # type: ignore[index]


def _mark_of(section: Section) -> str:
    return (
        mark(section.grade)
        if section.findings
        else f'<span class="grade">{in_a_word(section.grade, section.findings)}</span>'
    )


def _anchor(*words: str) -> str:
    return "-".join(file_word(word) for word in words)
