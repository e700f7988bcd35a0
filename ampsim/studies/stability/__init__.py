"""How steady the feedback loop is with every control anywhere, on other loads, and after a knock at the input."""

from .loads import LOADS, OPEN, loaded, loop_knock, loop_on_loads
from .worst_corner import Corners, control_effects, has_feedback, loop_on_travel, worst_corners

__all__ = [
    "LOADS",
    "OPEN",
    "Corners",
    "control_effects",
    "has_feedback",
    "loaded",
    "loop_knock",
    "loop_on_loads",
    "loop_on_travel",
    "worst_corners",
]
