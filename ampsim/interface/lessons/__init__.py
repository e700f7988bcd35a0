"""Lessons that compute: an exercise asks, helps, marks, and says why; the same seed gives the same sheet."""

from __future__ import annotations

from ...base.lazy_names import lazy_names

_HOME = {
    "own_amp": ("gain_stage", "lesson_amp", "shop_amp"),
    "own_mods": ("Lesson", "fit_what_fits", "lesson_mods", "settings_of"),
    "stage": ("formula_beside", "lesson_stage", "textbook_stage"),
    "question": ("Exercise", "Why"),
    "topics": ("TOPICS", "exercise"),
    "sheet": ("Sheet", "exercise_sheet"),
}
__getattr__ = lazy_names(__name__, _HOME)
