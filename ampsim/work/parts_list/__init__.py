"""The parts list: what to get for a mod, rated for what it carries."""

from __future__ import annotations

from .lines import PartLine
from .parts_list import PartsList, fitting_positions, parts_list
from .switch_need import SwitchNeed, switch_need

__all__ = ["PartLine", "PartsList", "SwitchNeed", "fitting_positions", "parts_list", "switch_need"]
