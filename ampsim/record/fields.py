"""Fields of a job file: each one bounded and checked, texts made plain."""

from __future__ import annotations

import datetime
import math
from typing import Any

from ..entries import Entry
from ..errors import shown
from .data import plain
from .inside import bare_name

MOST_WORDS = 20_000
_DEEPEST = 8


def text_of(entry: Entry, key: str, most: int, default: str | None = None, lines: bool = False) -> str:
    """A text made plain: one line, or several with `lines`; without a default it must hold words."""
    if default is not None and not entry.has(key):
        return default
    value = entry.raw(key)
    if not isinstance(value, str):
        raise entry.fail(key, f"{shown(value)} is not a text; texts stand between quotes")
    if len(value) > most:
        raise entry.fail(key, f"{len(value)} characters are too many; at most {most}")
    text = plain(value, lines)
    if default is None and not text:
        raise entry.fail(key, f"{shown(value)} holds no words")
    return text


def whole_number(entry: Entry, key: str, least: int, most: int, default: int) -> int:
    """A whole number between two limits."""
    value = entry.raw(key) if entry.has(key) else default
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise entry.fail(key, f"{shown(value)} is not a whole number from {least} to {most}")
    return value


def date_of(entry: Entry) -> datetime.date:
    """The entry `date`, as TOML writes dates or as a text."""
    value = entry.raw("date")
    if isinstance(value, datetime.datetime) or not isinstance(value, (str, datetime.date)):
        raise entry.fail("date", f"{shown(value)} is not a date; written for example 2025-03-01")
    try:
        return datetime.date.fromisoformat(value) if isinstance(value, str) else value
    except ValueError:
        raise entry.fail("date", f"{shown(value)} is not a date; written for example 2025-03-01") from None


def list_of(top: Entry, key: str, most: int) -> list[Any]:
    """A list, not too long; an empty one when it is missing."""
    value = top.raw(key) if top.has(key) else []
    if not isinstance(value, list) or len(value) > most:
        raise top.fail(key, f"{shown(value)} is not a list of at most {most}")
    return value


def bare_file(entry: Entry, key: str, value: object, ending: str = "") -> str:
    """The bare name of a frozen file: no folder, no way out."""
    bare = bare_name(value)
    if bare is None or (ending and not str(value).endswith(ending)):
        raise entry.fail(key, f"{shown(value)} is not the bare name of a file; letters, digits, blanks, - and _")
    return bare + ending


def as_it_stands(entry: Entry, key: str, value: object, depth: int = 0) -> Any:
    """Values that others read: bounded in depth, numbers that are numbers, texts that print."""
    if isinstance(value, dict) and depth < _DEEPEST:
        return {plain(name): as_it_stands(entry, key, each, depth + 1) for name, each in value.items()}
    if isinstance(value, list) and depth < _DEEPEST:
        return [as_it_stands(entry, key, each, depth + 1) for each in value]
    if isinstance(value, str) and len(value) <= MOST_WORDS:
        return plain(value, lines=True)
    if isinstance(value, (bool, datetime.date, datetime.time)) or (isinstance(value, int) and abs(value) < 2**63):
        return value
    if isinstance(value, float) and math.isfinite(value):
        return value
    raise entry.fail(key, f"{shown(value)} does not belong in a job")
