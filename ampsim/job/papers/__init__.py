"""Handing a job over: the record for the shop, the page for the owner, the exercise for apprentices, all on paper."""

from __future__ import annotations

from .exercise import ExerciseSheet, Question, exercise, write_exercise
from .gather import CHECKED, Handover, gather, proof_of
from .html import PAPERS
from .owner_page import owner_page, together
from .pdf import browser_path, write_pdf
from .shop_record import shop_html, shop_record
from .sweeps import measured_sweeps
from .wiring import wiring_tables, wiring_text
from .write_all import write_papers

__all__ = [
    "CHECKED",
    "PAPERS",
    "ExerciseSheet",
    "Handover",
    "Question",
    "browser_path",
    "exercise",
    "gather",
    "measured_sweeps",
    "owner_page",
    "proof_of",
    "shop_html",
    "shop_record",
    "together",
    "wiring_tables",
    "wiring_text",
    "write_exercise",
    "write_papers",
    "write_pdf",
]
