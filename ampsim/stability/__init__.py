"""How steady the feedback loop is with every control anywhere, on other loads, and after a knock at the input."""

from .loads import LOADS, OPEN, loaded, loop_knock, loop_on_loads
from .search import Corners, control_effects, worst_corners

__all__ = [
    "LOADS",
    "OPEN",
    "Corners",
    "control_effects",
    "loaded",
    "loop_knock",
    "loop_on_loads",
    "worst_corners",
]
