"""How a mod is wired: from-to list, the contact truth table of every switch, and the table read back."""

from .from_to import Wire, Wiring, list_wiring, soldered_to
from .readback import compare_circuits, every_setting, listening_places, mismatches, read_back, wiring
from .switch_plan import Pole, Row, SwitchPlan, plan_switch, share_poles
from .wire_pieces import Joint, Piece, Pieces, find_pieces

__all__ = [
    "Joint",
    "Piece",
    "Pieces",
    "Pole",
    "Row",
    "SwitchPlan",
    "Wire",
    "Wiring",
    "compare_circuits",
    "every_setting",
    "find_pieces",
    "list_wiring",
    "listening_places",
    "mismatches",
    "plan_switch",
    "read_back",
    "share_poles",
    "soldered_to",
    "wiring",
]
