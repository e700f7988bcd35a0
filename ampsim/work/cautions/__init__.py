"""Nobody gets hurt: stored charge, bleeders and cautions of an amp."""

from __future__ import annotations

from .sheet import CautionSheet, caution_sheet
from .stored_charges import SAFE_COULOMBS, SAFE_VOLTS, StoredCharge

__all__ = ["SAFE_COULOMBS", "SAFE_VOLTS", "CautionSheet", "StoredCharge", "caution_sheet"]
