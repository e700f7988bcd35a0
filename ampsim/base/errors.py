"""The errors a user can meet; every one of them is an `AmpsimError`."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class AmpsimError(Exception):
    """Common parent of every error that ampsim raises on purpose."""


class DescriptionError(AmpsimError):
    """A file, a value or a request says something impossible; the message says what, where and what would do."""


class EngineError(AmpsimError):
    """ngspice could not be reached, did not finish, or gave an answer that cannot be trusted."""


class Stopped(AmpsimError):
    """The caller asked to stop before the end; nothing half computed is handed out."""


def shown(value: object, limit: int = 60) -> str:
    """Quote a value from a file for a message: one line, no control characters, at most `limit` characters."""
    try:
        text = ascii(value)
    except (ValueError, RecursionError):  # an integer with thousands of digits, tables within tables
        text = f"(a {type(value).__name__} too large to show)"
    return text if len(text) <= limit else text[: limit - 3] + "..."


def nearest(word: object, known: Iterable[str]) -> str:
    """Return "; nearest: ..." with the closest known names, or the known names themselves when few."""
    # Some known names come from a file: one with line ends or escapes in it must not garble the message.
    names = sorted({name if name.isprintable() and len(name) <= 60 else shown(name) for name in known})
    text = word if isinstance(word, str) else shown(word)
    close = difflib.get_close_matches(text[:80], names, n=3, cutoff=0.5)
    if close:
        return f"; nearest: {', '.join(close)}"
    if not names:
        return ""
    listed = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
    return f"; known: {listed}"
