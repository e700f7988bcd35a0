"""Handing a job over: the record for the shop, the page for the owner, the exercise for apprentices, all on paper."""

from __future__ import annotations

from ..sweep_proof import sweep_over
from .exercise import ExerciseSheet, Question, exercise, write_exercise
from .gathering import CHECKED, Handover, gather, proof_of
from .paper import PAPERS
from .papers import write_papers
from .pdf import browser_path, write_pdf
from .shop import shop_html, shop_record
from .sweeps import measured_sweeps, read_sweep
from .together import owner_page, together
from .wires import wiring_tables, wiring_text

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
    "read_sweep",
    "shop_html",
    "shop_record",
    "sweep_over",
    "together",
    "wiring_tables",
    "wiring_text",
    "write_exercise",
    "write_papers",
    "write_pdf",
]
