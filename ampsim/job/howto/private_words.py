"""What tells whose amp it is, looked for in what people wrote: names, serial number, addresses of mail, sums."""

from __future__ import annotations

import dataclasses
import re
import unicodedata
from collections.abc import Iterator, Mapping
from typing import Any

from ..record.data import Record

BLANK = "[\u2026]"
_COMMON = {
    "the", "and", "of", "von", "van", "den", "der", "de", "la", "le", "el", "mr", "mrs", "ms", "miss", "dr", "herr",
    "frau",
}  # fmt: skip
_SHORTEST_SERIAL = 4  # signs; a shorter one may be any number
_AMOUNT = r"\d+(?:[ .,']\d{3})*(?:[.,]\d+|[.,]-)?"
_COIN = r"[€$£¥]|\b(?:EUR|USD|GBP|CHF|SEK|NOK|DKK|PLN|CZK|JPY|AUD|CAD|euros?|dollars?|pounds?|francs?|bucks|quid)\b"
_CONTACTS = (
    re.compile(r"[\w.+-]+@[\w-]+(\.[\w-]+)+"),
    re.compile(r"(?:https?://|www\.)\S+", re.IGNORECASE),
    re.compile(r"(?<![\w.])\+?\(?\d(?:[ ()/.-]{0,2}\d){6,}(?![\w.]*\w)"),
    re.compile(rf"(?:{_COIN})\s?{_AMOUNT}|{_AMOUNT}\s?(?:{_COIN})", re.IGNORECASE),
)
_DAY = re.compile(r"(?: (?:on|by|until|since|from))? ?\b(?:19|20)\d\d-[01]\d-[0-3]\d\b", re.IGNORECASE)
_DEEPEST = 12


class PrivateWords:
    """The names of one job's owner and its amp's serial number, as they may stand in a text: any case, any accents."""

    def __init__(self, record: Record) -> None:
        pieces = re.findall(r"\w+", _folded(record.owner))
        self._names = [each for each in pieces if len(each) > 1 and each not in _COMMON and not each.isdecimal()]
        self._whole = [r"[^\w()]{0,3}".join(map(_pattern, pieces))] if len(pieces) > 1 or self._names else []
        signs = re.findall(r"\w", _folded(record.serial))
        self._serial = [r"\W?".join(map(re.escape, signs))] if len(signs) >= _SHORTEST_SERIAL else []

        short = bool(signs) and not self._serial
        # In words: what cannot be looked for.
        self.remarks = (
            ["The serial number is too short to be told from other numbers: read the texts."] if short else []
        )

    def blank(self, text: str) -> str:
        """A text that a person wrote about an amp, without names and serial number."""
        return _blanked(text, [*self._whole, *self._serial, *map(_pattern, self._names)])

    def blank_letter(self, text: str) -> str:
        """A text in which a person may have said anything: without days, what leads to them, what they pay."""
        text = _DAY.sub("", self.blank(text))
        for pattern in _CONTACTS:
            text = pattern.sub(BLANK, text)
        return text

    def holds(self, text: str) -> bool:
        """Whether the whole name or the serial number stands in a text."""
        return _blanked(text, [*self._whole, *self._serial]).count(BLANK) > text.count(BLANK)


def _pattern(name: str) -> str:
    """A folded name, with either way to write a sharp s."""
    return re.sub("ss|ß", "(?:ss|ß)", re.escape(name))


def _blanked(text: str, patterns: list[str]) -> str:
    """The text with every find, a word of its own, left out."""
    composed = unicodedata.normalize("NFC", text)
    for pattern in patterns:
        folded = _folded(composed)
        for found in reversed([*re.finditer(rf"(?<![^\W_]){pattern}(?![^\W_])", folded)]):
            composed = composed[: found.start()] + BLANK + composed[found.end() :]
    return composed if BLANK in composed else text


def _folded(text: str) -> str:
    """Small letters without accents, sign for sign."""
    return "".join(
        (unicodedata.normalize("NFKD", sign)[0].lower() or sign)[0] for sign in unicodedata.normalize("NFC", text)
    )


def strings_within(value: Any, depth: int = 0) -> Iterator[str]:
    """Every text in a value: of its fields, items and entries."""
    if depth > _DEEPEST:
        return
    if isinstance(value, str):
        yield value
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        for each in dataclasses.fields(value):
            yield from strings_within(getattr(value, each.name, None), depth + 1)
    elif isinstance(value, Mapping):
        for key, each in value.items():
            yield from strings_within(key, depth + 1)
            yield from strings_within(each, depth + 1)
    elif isinstance(value, (tuple, list, set, frozenset)):
        for each in value:
            yield from strings_within(each, depth + 1)
