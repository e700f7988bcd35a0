"""How a mod is wired: from-to list, the contact truth table of every switch, and the table read back."""

from .from_to import Wire, Wiring, listed, soldered_to
from .wire_pieces import (Joint, Piece, Pieces, take_apart)
from .switch_plan import (Pole, Row, SwitchPlan, plan, share)
from .readback import compare, every_stand, listening, mismatches, read_back, wiring

__all__ = [
    "Joint",
    "Piece",
    "Pieces",
    "Pole",
    "Row",
    "SwitchPlan",
    "Wire",
    "Wiring",
    "compare",
    "every_stand",
    "listed",
    "listening",
    "mismatches",
    "plan",
    "read_back",
    "share",
    "soldered_to",
    "take_apart",
    "wiring",
]
