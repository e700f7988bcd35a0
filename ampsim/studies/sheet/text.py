"""The sheet as plain text: the first answer, which fits a screen, and everything."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from ...base.tables import text_table
from ...base.wording import keep_units
from ..section import Section
from .matters import HEADINGS, NOTHING, Matter, fine_words, matter_words, matters, silent_words

WIDTH = 100  # columns
_LINES = 36  # of the first answer, as long as decisions leave room; the command adds a headline, files and the caution


def first_answer(sections: Sequence[Section]) -> str:
    """What must be decided, then what is near a limit or not known, as far as a screen goes, then all that is fine."""
    blocks = [(HEADINGS[grade], _entries(matters(sections, grade))) for grade in HEADINGS]
    decisions, *worries = [(heading, entries) for heading, entries in blocks]
    lines = _block(*decisions) or [f"{NOTHING}."]
    last = [*_entry(f"Fine: {fine_words(sections)}", "  ")] if fine_words(sections) else []
    last += [line for words in silent_words(sections) for line in _entry(words, "  ")]
    room = _LINES - len(lines) - len(last)
    # No group takes the lines in which the ones after it are at least named.
    named = [min(_size([], entries), _size(entries, entries)) if entries else 0 for _, entries in worries]
    for number, (heading, entries) in enumerate(worries, 1):
        shown = _fitting(entries, room - sum(named[number:]))
        lines += ["", *_block(heading, shown)] if shown else []
        room -= 2 + sum(len(each) for _, each in shown) if shown else 0
    return "\n".join([*lines, "", *last] if last else lines)


def section_text(section: Section) -> str:
    """One section: its verdict, what was found (worries first), tables and notes."""
    lines = [f"{section.title}: {section.verdict}"]
    lines += [f"  {finding.grade.advice}: {finding.sentence}" for finding in section.in_order]
    lines += [f"\n{title}\n{text_table(table)}" for title, table in section.tables.items() if not table.empty]
    return "\n".join([*lines, *(f"  Note: {note}" for note in section.notes)])


Entry = tuple[str, list[str]]
"""What an entry is on, and its lines."""


def _entries(found: Sequence[Matter]) -> list[Entry]:
    words = matter_words(found)
    names = [f"{each.section.title}, {each.finding.subject}" for each in found]
    titles = [each.section.title for each in found]
    return [(name, _entry(f"{title}: {said}", "    ")) for name, title, said in zip(names, titles, words, strict=True)]


def _entry(words: str, indent: str) -> list[str]:
    first = indent.removesuffix("  ") if len(indent) > 2 else ""
    how: dict[str, Any] = {"initial_indent": first, "subsequent_indent": indent, "break_on_hyphens": False}
    return [line.replace("\u00a0", " ") for line in textwrap.wrap(keep_units(words), WIDTH, **how)]


def _block(heading: str, entries: Sequence[Entry]) -> list[str]:
    return [f"{heading}:", *(line for _, lines in entries for line in lines)] if entries else []


def _fitting(entries: Sequence[Entry], room: int) -> list[Entry]:
    """As many entries as there is room for [lines], the others by name."""
    shown = list(entries)
    while shown and _size(shown, entries) > room:
        shown.pop()
    return [*shown, *_rest(entries[len(shown) :])]


def _size(shown: Sequence[Entry], entries: Sequence[Entry]) -> int:
    return 2 + sum(len(lines) for _, lines in [*shown, *_rest(entries[len(shown) :])])


def _rest(entries: Sequence[Entry]) -> list[Entry]:
    names = "; ".join(dict.fromkeys(name for name, _ in entries))
    return [("", _entry(f"and {len(entries)} more: {names}.", "    "))] if entries else []
