"""From a wish to part values: every allowed set of values tried, the best ranked, the nearest miss shown."""

from .result import CHECK_DB, Candidate, Found, front, ranked, spread
from .search import find_values
from .text import best_table, find_text, miss_words

__all__ = [
    "CHECK_DB",
    "Candidate",
    "Found",
    "best_table",
    "find_text",
    "find_values",
    "front",
    "miss_words",
    "ranked",
    "spread",
]
