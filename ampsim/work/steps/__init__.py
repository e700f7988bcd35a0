"""Work steps: a safe order, what to measure after each, and the way back."""

from .work_plan import work_steps

__all__ = ["work_steps"]
