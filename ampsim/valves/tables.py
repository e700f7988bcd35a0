"""Reading one table of a valve file: each entry is known, of the right kind and within bounds, or refused."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from ..errors import DescriptionError, nearest, shown

NAME = re.compile(r"[A-Za-z0-9_-]{1,60}")
LONGEST = 2000


class Table:
    """One table of a file, with its place for messages.

    Parameters
    ----------
    data
        What the TOML reader gave.
    place
        File and table, as "12AX7.toml: limits".
    required, optional
        Names of the entries that must and may be there.

    Raises
    ------
    DescriptionError
        Not a table, an unknown entry, or a missing one.
    """

    def __init__(self, data: object, place: str, required: Iterable[str], optional: Iterable[str] = ()) -> None:
        self.place, self.required = place, tuple(required)
        if not isinstance(data, Mapping):
            raise DescriptionError(f"{place}: {shown(data)} is not a table")
        known = (*self.required, *optional)
        for key in data:
            if key not in known:
                raise DescriptionError(f"{place}: unknown entry {shown(key)}{nearest(key, known)}")
        for key in self.required:
            if key not in data:
                raise DescriptionError(f"{place}: the entry {key!r} is missing")
        self.data = data

    def wrong(self, key: str, needed: str) -> DescriptionError:
        """Build the error for an entry that is there but will not do."""
        return DescriptionError(f"{self.place}: {key} is {shown(self.data[key])}; {needed}")

    def number(self, key: str, lowest: float, highest: float) -> float:
        """Return a finite number within bounds."""
        value = self.data[key]
        # NaN fails every comparison, infinity one of them.
        if not _is_number(value) or not lowest <= value <= highest:
            raise self.wrong(key, f"it must be a number from {lowest:g} to {highest:g}")
        return float(value)

    def optional_number(self, key: str, lowest: float, highest: float) -> float | None:
        """Return a finite number within bounds, or None where there is no such entry."""
        return self.number(key, lowest, highest) if key in self.data else None

    def span(self, key: str, lowest: float, highest: float) -> tuple[float, float]:
        """Return a pair [low, high] within bounds."""
        value = self.data[key]
        if not isinstance(value, list) or len(value) != 2 or not all(_is_number(one) for one in value):
            raise self.wrong(key, "it must be two numbers [low, high]")
        if not lowest <= value[0] <= value[1] <= highest:
            raise self.wrong(key, f"it must rise and lie within {lowest:g} to {highest:g}")
        return float(value[0]), float(value[1])

    def text(self, key: str) -> str:
        """Return printable text of bounded length, on one line."""
        value = self.data[key]
        if not isinstance(value, str) or not value.isprintable() or not 0 < len(value.strip()) <= LONGEST:
            raise self.wrong(key, f"it must be one line of text, at most {LONGEST} characters")
        return value

    def name(self, key: str) -> str:
        """Return a name of letters, digits, "_" and "-"."""
        value = self.data[key]
        if not isinstance(value, str) or not NAME.fullmatch(value):
            raise self.wrong(key, "only letters, digits, '_' and '-' are allowed, at most 60")
        return value

    def choice(self, key: str, allowed: Iterable[str]) -> str:
        """Return one of the allowed words."""
        value, words = self.data[key], tuple(allowed)
        if not isinstance(value, str) or value not in words:
            raise self.wrong(key, f"it must be one of the known ones{nearest(value, words)}")
        return value

    def truth(self, key: str) -> bool:
        """Return true or false."""
        value = self.data[key]
        if not isinstance(value, bool):
            raise self.wrong(key, "it must be true or false")
        return value

    def rows(self, key: str) -> list[object]:
        """Return a list of at most a thousand tables, still unread."""
        value = self.data.get(key, [])
        if not isinstance(value, list) or len(value) > 1000:
            raise self.wrong(key, "it must be a list of at most 1000 tables")
        return value


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
