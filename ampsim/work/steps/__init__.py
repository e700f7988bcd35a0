"""Work steps: a safe order, what to measure after each, and the way back."""

from __future__ import annotations

from .checks import Check
from .step import Phase, Step
from .work_plan import WorkPlan, work_steps

__all__ = ["Check", "Phase", "Step", "WorkPlan", "work_steps"]
