"""Reading tables of files that come from others: every entry is taken by name, checked, and nothing is left over."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Iterable
from typing import Any

from .entry_texts import MOST_WORDS, Texts
from .errors import nearest, shown
from .keys import PLACE
from .quantities import Quantity, parse_value
from .wording import plain

UNITS = ("SI", "US")
_DEEPEST = 8
_DESIGNATOR = re.compile(r"[A-Z]{1,4}[0-9]{1,4}[A-Z]?")
_TYPE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")


class Entry(Texts):
    """One table of a file. Take its entries by name; `finish` refuses what nobody asked for.

    Parameters
    ----------
    data, file, name
        As those of `Keys`.
    us : bool
        Bare capacitances are as on old drawings of the USA, here and in the tables within.
    """

    def __init__(self, data: object, file: str, name: str = "", us: bool = False) -> None:
        super().__init__(data, file, name)
        self.us = us

    def read_units(self) -> None:
        """Take the entry `units`, which holds for all values of the file: "SI" (default) or "US".

        Raises
        ------
        DescriptionError
            For another word.
        """
        self.us = self.choice("units", UNITS, UNITS[0]) == "US"

    def designator(self, key: str) -> str:
        """A designator such as R4 or V1A."""
        return self.check_designator(key, self.raw(key))

    def check_designator(self, key: str, value: object) -> str:
        """Check one designator that was found under `key`.

        Raises
        ------
        DescriptionError
            When it is none.
        """
        if not isinstance(value, str) or not _DESIGNATOR.fullmatch(value):
            raise self.fail(key, f"{shown(value)} is not a designator; written for example R4, C7, V1A, P2")
        return value

    def designators(self, key: str) -> tuple[str, ...]:
        """One designator or a list of them; none when the entry is missing."""
        if not self.has(key):
            return ()
        value = self.raw(key)
        return tuple(self.check_designator(key, each) for each in (value if isinstance(value, list) else [value]))

    def place(self, key: str, value: object) -> str:
        """A place such as R4.1, V1A.plate, P1.wiper, B2, ground.

        Raises
        ------
        DescriptionError
            When it is none.
        """
        if not isinstance(value, str) or not PLACE.fullmatch(value):
            raise self.fail(key, f"{shown(value)} is not a place; written for example R4.1, V1A.plate, ground")
        return value

    def type_name(self, key: str) -> str:
        """A valve type such as 12AX7.

        Raises
        ------
        DescriptionError
            When it is missing, or no type.
        """
        value = self.raw(key)
        if not isinstance(value, str) or not _TYPE.fullmatch(value):
            raise self.fail(key, f"{shown(value)} is not a valve type; written for example 12AX7")
        return value

    def choice(self, key: str, known: Iterable[str], default: str | None = None) -> str:
        """One of the known words.

        Raises
        ------
        DescriptionError
            When it is missing, or no known word; names the nearest.
        """
        if default is not None and not self.has(key):
            return default
        value, names = self.raw(key), list(known)
        if not isinstance(value, str) or value not in names:
            raise self.fail(key, f"{shown(value)} is not known{nearest(value, names)}")
        return value

    def value(self, key: str, quantity: Quantity, default: float | None = None) -> float:
        """A value as written on a schematic, in the unit of its quantity [V, ohm, F, ...]."""
        if default is not None and not self.has(key):
            return default
        return self.parsed(key, self.raw(key), quantity)

    def parsed(self, key: str, value: object, quantity: Quantity) -> float:
        """A value found under `key`, as written on a schematic, in the unit of its quantity [V, ohm, F, ...]."""
        return parse_value(value, quantity, self.where(key), self.us)

    def number(self, key: str, least: float, most: float, default: float | None = None) -> float:
        """A plain number [as the entry says] between two limits.

        Parameters
        ----------
        key : str
            Name of the entry.
        least, most : float
            The limits, which are allowed themselves, in the unit that the entry has.
        default : float, optional
            What a missing entry means; without it the entry must be there.

        Raises
        ------
        DescriptionError
            When it is missing, no finite number, or beyond the limits.
        """
        if default is not None and not self.has(key):
            return default
        value = self.raw(key)
        # NaN fails every comparison, infinity one of them.
        if not _is_number(value) or not least <= value <= most:
            raise self.fail(key, f"{shown(value)} is not a number from {least:g} to {most:g}")
        return float(value)

    def span(self, key: str, least: float, most: float) -> tuple[float, float]:
        """A pair [low, high] of plain numbers between two limits.

        Raises
        ------
        DescriptionError
            When it is missing, no such pair, does not rise, or lies beyond the limits.
        """
        value = self.raw(key)
        if not isinstance(value, list) or len(value) != 2 or not all(_is_number(each) for each in value):
            raise self.fail(key, f"{shown(value)} is not a pair of numbers [low, high]")
        if not least <= value[0] <= value[1] <= most:
            raise self.fail(key, f"{shown(value)} does not rise or lies outside {least:g} to {most:g}")
        return float(value[0]), float(value[1])

    def whole_number(self, key: str, least: int, most: int, default: int) -> int:
        """A whole number between two limits.

        Parameters
        ----------
        key : str
            Name of the entry.
        least, most : int
            The limits, which are allowed themselves.
        default : int
            What a missing entry means.

        Raises
        ------
        DescriptionError
            For anything else.
        """
        value = self.raw(key) if self.has(key) else default
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise self.fail(key, f"{shown(value)} is not a whole number from {least} to {most}")
        return value

    def truth(self, key: str) -> bool:
        """True or false.

        Raises
        ------
        DescriptionError
            When it is missing, or anything else.
        """
        value = self.raw(key)
        if not isinstance(value, bool):
            raise self.fail(key, f"{shown(value)} is not true or false")
        return value

    def date(self, key: str = "date") -> datetime.date:
        """A day, as TOML writes dates or as a text.

        Raises
        ------
        DescriptionError
            When it is missing, or no day of the calendar.
        """
        value = self.raw(key)
        wrong = self.fail(key, f"{shown(value)} is not a date; written for example 2025-03-01")
        if isinstance(value, datetime.datetime) or not isinstance(value, (str, datetime.date)):
            raise wrong
        try:
            return datetime.date.fromisoformat(value) if isinstance(value, str) else value
        except ValueError:
            raise wrong from None

    def elements(self, key: str, most: int) -> list[Any]:
        """A list, not too long; an empty one when it is missing.

        Raises
        ------
        DescriptionError
            For anything else than a list, or too long a one.
        """
        value = self.raw(key) if self.has(key) else []
        if not isinstance(value, list) or len(value) > most:
            raise self.fail(key, f"{shown(value)} is not a list of at most {most}")
        return value

    def element(self, key: str, value: object) -> Entry:
        """One element of the list under `key`, to be read as if it stood there alone."""
        return Entry({key: value}, self.file, self.name, self.us)

    def bounded(self, key: str, value: object, depth: int = 0) -> Any:
        """A value that others read: bounded in depth, numbers that are numbers, texts that print.

        Raises
        ------
        DescriptionError
            For what goes too deep, is too long, or is of another kind.
        """
        if isinstance(value, dict) and depth < _DEEPEST:
            return {plain(name): self.bounded(key, each, depth + 1) for name, each in value.items()}
        if isinstance(value, list) and depth < _DEEPEST:
            return [self.bounded(key, each, depth + 1) for each in value]
        if isinstance(value, str) and len(value) <= MOST_WORDS:
            return plain(value, lines=True)
        if isinstance(value, (bool, datetime.date, datetime.time)) or (isinstance(value, int) and abs(value) < 2**63):
            return value
        if isinstance(value, float) and math.isfinite(value):
            return value
        raise self.fail(key, f"{shown(value)} does not belong in a job")

    def table(self, key: str, needed: bool = False) -> Entry:
        """A sub-table; an empty one when it is missing and not needed."""
        data, name = self.raw(key) if needed or self.has(key) else {}, ".".join(p for p in (self.name, key) if p)
        return Entry(data, self.file, name, self.us)

    def tables(self, key: str, most: int = 1_000_000) -> list[Entry]:
        """A list of tables; an empty list when it is missing.

        Raises
        ------
        DescriptionError
            For anything else than a list, or too long a one.
        """
        value = self.raw(key) if self.has(key) else []
        if not isinstance(value, list):
            raise self.fail(key, f"{shown(value)} is not a list of tables ([[{key}]])")
        if len(value) > most:
            raise self.fail(key, f"{len(value)} of [[{key}]] are too many; at most {most}")
        prefix = f"{self.name}." if self.name else ""
        return [Entry(each, self.file, f"{prefix}{key}[{number}]", self.us) for number, each in enumerate(value, 1)]


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
