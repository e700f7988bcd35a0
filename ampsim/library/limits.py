"""Limits in words: "3 to 5 dB", "at least 45 degrees", "within 10 %"."""

from __future__ import annotations

import math
import re

from ..base.entries import Entry
from ..base.errors import shown

_NUMBER = r"[+-]?[0-9]{1,6}(?:[.,][0-9]{1,6})?"
_FORM = re.compile(rf"(?:(at least|above|at most|below|within)\s+)?({_NUMBER})(?:\s+to\s+({_NUMBER}))?\s*(\S{{1,8}})")
_LEAST, _MOST = ("at least", "above"), ("at most", "below")
_UNITS = {
    "more": ("dB",),
    "less": ("dB",),
    "change": ("dB",),
    "plate_current": ("%", "mA"),
    "plate_voltage": ("%", "V"),
    "margin": ("degrees",),
}
_EXAMPLES = {
    "more": '"3 to 5 dB", "at least 3 dB"',
    "less": '"3 to 5 dB", "at most 2 dB"',
    "change": '"at most 1 dB", "-1 to 2 dB"',
    "plate_current": '"within 10 %", "0.8 to 1.2 mA"',
    "plate_voltage": '"within 10 %", "at least 150 V"',
    "margin": '"at least 45 degrees"',
}


def read_limits(entry: Entry, key: str) -> tuple[float, float, str, str]:
    """Read the limits of a wish: least, most [its unit] (infinite where there is none), unit, and the limits in words.

    "less" counts downwards: 3 to 5 dB less lies between -5 and -3 dB. A change "at most" or "within" a number may go
    either way.

    Raises
    ------
    DescriptionError
        For what cannot be read, has another unit, or whose upper limit is below the lower one.
    """
    text = entry.text(key, most=80)
    found = _FORM.fullmatch(text.strip())
    if not found:
        raise entry.fail(key, f"{shown(text)} is not a wish; written for example {_EXAMPLES[key]}")
    bound, first, last, unit = found.groups()
    numbers = [float(each.replace(",", ".")) for each in (first, last) if each]
    if unit not in _UNITS[key]:
        raise entry.fail(key, f"{shown(text)} is not in {' or '.join(_UNITS[key])}; written: {_EXAMPLES[key]}")
    if (bound and last) or (not bound and not last):
        raise entry.fail(key, f"{shown(text)} says no limits; written for example {_EXAMPLES[key]}")
    both = key == "change" or unit == "%"
    least, most = _limits(entry, key, text, bound, numbers, both)
    if key == "less":
        least, most = -most, -least
    return least, most, unit, text


def _limits(
    entry: Entry, key: str, text: str, bound: str | None, numbers: list[float], both: bool
) -> tuple[float, float]:
    if bound is None:
        if numbers[0] > numbers[1]:
            raise entry.fail(key, f"{shown(text)}: the lower limit comes first")
        return numbers[0], numbers[1]
    if numbers[0] < 0.0 and (both or bound == "within"):
        raise entry.fail(key, f"{shown(text)} cannot be met; a change is counted without sign here")
    if both:
        if bound in _LEAST:
            instead = "more or less" if key == "change" else "for example 10 to 30 %"
            raise entry.fail(key, f"{shown(text)} does not say which way; say {instead}")
        return -numbers[0], numbers[0]
    if bound == "within":
        raise entry.fail(key, f"{shown(text)} does not say of what; written for example {_EXAMPLES[key]}")
    return (numbers[0], math.inf) if bound in _LEAST else (-math.inf, numbers[0])
