"""Work steps: a safe order, what to measure after each, and the way back."""

from __future__ import annotations

from .checks import Check
from .work_plan import Step, WorkPlan, work_steps

__all__ = ["Check", "Step", "WorkPlan", "work_steps"]
