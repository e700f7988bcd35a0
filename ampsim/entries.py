"""Reading tables of files that come from others: every entry is taken by name, checked, and nothing is left over."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from .errors import DescriptionError, nearest, shown
from .quantities import Quantity, parse_value

_DESIGNATOR = re.compile(r"[A-Z]{1,4}[0-9]{1,4}[A-Z]?")
_TYPE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")
_PLACE = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,29}(\.[a-z0-9_]{1,20})?")


class Entry:
    """One table of a file. Take its entries by name; `finish` refuses what nobody asked for.

    Parameters
    ----------
    data : object
        The table as the TOML reader gave it.
    file : str
        File name for messages.
    name : str
        Where in the file the table stands, for messages.
    """

    def __init__(self, data: object, file: str, name: str = "") -> None:
        self.file, self.name = file, name
        if not isinstance(data, Mapping):
            raise DescriptionError(f"{self.where()}: {shown(data)} is not a table of entries")
        self._data: dict[str, Any] = {str(key): value for key, value in data.items()}
        self._known: set[str] = set()

    def where(self, key: str = "") -> str:
        """File and entry, for a message; a hostile key is quoted harmlessly."""
        inner = key if _PLACE.fullmatch(key) or not key else shown(key)
        return ": ".join(part for part in (self.file, ".".join(p for p in (self.name, inner) if p)) if part)

    def fail(self, key: str, text: str) -> DescriptionError:
        """An error about one entry."""
        return DescriptionError(f"{self.where(key)}: {text}")

    def has(self, key: str) -> bool:
        """Whether the entry is there."""
        self._known.add(key)
        return key in self._data

    def raw(self, key: str) -> Any:
        """The entry as it stands; `DescriptionError` when it is missing."""
        if not self.has(key):
            given = nearest(key, self._data) if self._data else ""
            raise self.fail(key, f"this entry is missing{given.replace('known', 'given')}")
        return self._data[key]

    def names(self) -> list[str]:
        """Names of all entries, in the order of the file."""
        return list(self._data)

    def text(self, key: str, default: str | None = None, most: int = 2000) -> str:
        """A line or a paragraph of plain text: printable, no control characters but newlines."""
        if default is not None and not self.has(key):
            return default
        value = self.raw(key)
        if not isinstance(value, str) or not value.strip():
            raise self.fail(key, f"{shown(value)} is not a text")
        if len(value) > most:
            raise self.fail(key, f"{len(value)} characters are too many; at most {most}")
        if not all(letter.isprintable() or letter == "\n" for letter in value):
            raise self.fail(key, f"{shown(value)} holds control characters")
        return " ".join(value.split())

    def label(self, key: str, default: str | None = None) -> str:
        """A short name that appears in tables and pictures."""
        return self.text(key, default, most=60)

    def designator(self, key: str) -> str:
        """A designator such as R4 or V1A."""
        return self.check_designator(key, self.raw(key))

    def check_designator(self, key: str, value: object) -> str:
        """Check one designator that was found under `key`."""
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
        """A place such as R4.1, V1A.plate, P1.wiper, B2, ground."""
        if not isinstance(value, str) or not _PLACE.fullmatch(value):
            raise self.fail(key, f"{shown(value)} is not a place; written for example R4.1, V1A.plate, ground")
        return value

    def type_name(self, key: str) -> str:
        """A valve type such as 12AX7."""
        value = self.raw(key)
        if not isinstance(value, str) or not _TYPE.fullmatch(value):
            raise self.fail(key, f"{shown(value)} is not a valve type; written for example 12AX7")
        return value

    def choice(self, key: str, known: Iterable[str], default: str | None = None) -> str:
        """One of the known words."""
        if default is not None and not self.has(key):
            return default
        value, names = self.raw(key), list(known)
        if not isinstance(value, str) or value not in names:
            raise self.fail(key, f"{shown(value)} is not known{nearest(value, names)}")
        return value

    def value(self, key: str, quantity: Quantity, default: float | None = None) -> float:
        """A value as written on a schematic."""
        if default is not None and not self.has(key):
            return default
        return parse_value(self.raw(key), quantity, self.where(key))

    def number(self, key: str, least: float, most: float, default: float | None = None) -> float:
        """A plain number between two limits."""
        if default is not None and not self.has(key):
            return default
        value = self.raw(key)
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not least <= value <= most:
            raise self.fail(key, f"{shown(value)} is not a number from {least:g} to {most:g}")
        return float(value)

    def table(self, key: str) -> Entry:
        """A sub-table; an empty one when it is missing."""
        return Entry(self.raw(key) if self.has(key) else {}, self.file, ".".join(p for p in (self.name, key) if p))

    def tables(self, key: str) -> list[Entry]:
        """A list of tables; an empty list when it is missing."""
        value = self.raw(key) if self.has(key) else []
        if not isinstance(value, list):
            raise self.fail(key, f"{shown(value)} is not a list of tables ([[{key}]])")
        prefix = f"{self.name}." if self.name else ""
        return [Entry(each, self.file, f"{prefix}{key}[{number}]") for number, each in enumerate(value, 1)]

    def finish(self, about: str = "") -> None:
        """Refuse entries that nobody asked for, naming the nearest known one."""
        for key in self.unasked():
            raise self.fail(key, f"this entry is not known{about}{nearest(key, self._known)}")

    def unasked(self) -> list[str]:
        """Names of the entries that nobody has asked for yet."""
        return [key for key in self._data if key not in self._known]
