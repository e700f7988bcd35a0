"""From a wish to part values: every allowed set of values tried, the best ranked, the nearest miss shown."""

from __future__ import annotations

from ...base.lazy_names import lazy_names

_HOME = {
    "result": ("CHECK_DB", "Candidate", "SearchResult", "pareto_front", "ranking", "value_counts"),
    "search": ("find_values",),
    "text": ("best_table", "find_text", "miss_words"),
}
__getattr__ = lazy_names(__name__, _HOME)
