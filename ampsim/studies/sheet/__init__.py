"""The consequence sheet: what a mod does besides tone, a section to each topic."""

from .page import sheet_html, write_sheet
from .sheet import TOPICS, Sheet, consequences, examine
from .summary import IN_WORDS

__all__ = ["IN_WORDS", "TOPICS", "Sheet", "consequences", "examine", "sheet_html", "write_sheet"]
