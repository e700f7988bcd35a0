"""Handing a job over: the record for the shop, the page for the owner, the exercise for apprentices, all on paper."""

from __future__ import annotations

from .exercise import ExerciseSheet, Question, exercise, write_exercise
from .gathering import Handover, gather
from .paper import PAPERS
from .pdf import browser_path, write_pdf
from .shop import shop_html, shop_record
from .together import owner_page, together

__all__ = [
    "PAPERS",
    "ExerciseSheet",
    "Handover",
    "Question",
    "browser_path",
    "exercise",
    "gather",
    "owner_page",
    "shop_html",
    "shop_record",
    "together",
    "write_exercise",
    "write_pdf",
]
