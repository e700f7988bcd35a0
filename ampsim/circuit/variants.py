"""The name of a variant: the mods fitted to it, shortened where they are many."""

from __future__ import annotations

import hashlib

_LONGEST_VARIANT = 48  # signs in tables and pictures


def short_variant(names: list[str]) -> str:
    """Names joined, as many as stay readable; a mark keeps apart what is left alike."""
    whole = " + ".join(names)
    if len(names) < 2 or len(whole) <= _LONGEST_VARIANT:
        return whole
    mark = hashlib.sha256(whole.encode("utf-8", "replace")).hexdigest()[:3]
    ends = [f" + {len(names) - count} more #{mark}" for count in range(1, len(names))]
    for count in range(len(names) - 1, 0, -1):
        kept = " + ".join(names[:count]) + ends[count - 1]
        if len(kept) <= _LONGEST_VARIANT:
            return kept
    return f"{names[0][: _LONGEST_VARIANT - len(ends[0]) - 1].rstrip()}\u2026{ends[0]}"
