"""Sections as plain text."""

from __future__ import annotations

from ...base.tables import text_table
from ..section import Section


def section_text(section: Section) -> str:
    """One section: its verdict, what was found (worries first), tables and notes."""
    lines = [f"{section.title}: {section.verdict}"]
    lines += [f"  {finding.grade.advice}: {finding.sentence}" for finding in section.in_order]
    lines += [f"\n{title}\n{text_table(table)}" for title, table in section.tables.items() if not table.empty]
    return "\n".join([*lines, *(f"  Note: {note}" for note in section.notes)])
