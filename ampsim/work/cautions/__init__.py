"""Nobody gets hurt: stored charge, bleeders and cautions of an amp."""

from __future__ import annotations

from .stored_charges import (SAFE_COULOMBS, SAFE_VOLTS, StoredCharge)
from .sheet import CautionSheet, caution_sheet

__all__ = ["SAFE_COULOMBS", "SAFE_VOLTS", "CautionSheet", "StoredCharge", "caution_sheet"]
