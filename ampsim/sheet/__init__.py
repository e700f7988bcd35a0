"""The consequence sheet: what a mod does besides tone, a section to each topic."""

from .section import Examined, Section
from .whole import IN_WORDS, TOPICS, Sheet, consequences, examine
from .writing import sheet_html, write_sheet

__all__ = [
    "IN_WORDS",
    "TOPICS",
    "Examined",
    "Section",
    "Sheet",
    "consequences",
    "examine",
    "sheet_html",
    "write_sheet",
]
