"""Reading tables of files that come from others: every entry is taken by name, checked, and nothing is left over."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Iterable, Mapping
from typing import Any

from .errors import DescriptionError, nearest, shown
from .files import bare_name
from .quantities import Quantity, parse_value
from .wording import plain

# Names that ngspice can take for nothing else.
NAME = re.compile(r"[A-Za-z0-9_-]{1,60}")
MOST_WORDS = 20_000
_DEEPEST = 8
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

    def line(self, key: str) -> str:
        """A text on one line, as it stands."""
        self.text(key)
        value = str(self.raw(key))
        if not value.isprintable():
            raise self.fail(key, f"{shown(value)} does not stand on one line")
        return value

    def plain_text(self, key: str, most: int, default: str | None = None, lines: bool = False) -> str:
        """A text made plain, so that it prints.

        Parameters
        ----------
        key : str
            Name of the entry.
        most : int
            How many characters it may have.
        default : str, optional
            What a missing entry means; without it the text must be there and hold words.
        lines : bool
            Keep the lines apart; else everything becomes one line.

        Raises
        ------
        DescriptionError
            For a missing entry, another kind of value, too many characters, no words.
        """
        if default is not None and not self.has(key):
            return default
        value = self.raw(key)
        if not isinstance(value, str):
            raise self.fail(key, f"{shown(value)} is not a text; texts stand between quotes")
        if len(value) > most:
            raise self.fail(key, f"{len(value)} characters are too many; at most {most}")
        text = plain(value, lines)
        if default is None and not text:
            raise self.fail(key, f"{shown(value)} holds no words")
        return text

    def identifier(self, key: str) -> str:
        """A name of letters, digits, "_" and "-"."""
        value = self.raw(key)
        if not isinstance(value, str) or not NAME.fullmatch(value):
            raise self.fail(key, f"{shown(value)} is not a name; letters, digits, '_' and '-', at most 60")
        return value

    def bare_file(self, key: str, value: object, ending: str = "") -> str:
        """The bare name of a file beside this one, found under `key`: no folder, no way out."""
        bare = bare_name(value)
        if bare is None or (ending and not str(value).endswith(ending)):
            raise self.fail(key, f"{shown(value)} is not the bare name of a file; letters, digits, blanks, - and _")
        return bare + ending

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
        # NaN fails every comparison, infinity one of them.
        if not _is_number(value) or not least <= value <= most:
            raise self.fail(key, f"{shown(value)} is not a number from {least:g} to {most:g}")
        return float(value)

    def span(self, key: str, least: float, most: float) -> tuple[float, float]:
        """A pair [low, high] of plain numbers between two limits."""
        value = self.raw(key)
        if not isinstance(value, list) or len(value) != 2 or not all(_is_number(each) for each in value):
            raise self.fail(key, f"{shown(value)} is not a pair of numbers [low, high]")
        if not least <= value[0] <= value[1] <= most:
            raise self.fail(key, f"{shown(value)} does not rise or lies outside {least:g} to {most:g}")
        return float(value[0]), float(value[1])

    def whole_number(self, key: str, least: int, most: int, default: int) -> int:
        """A whole number between two limits."""
        value = self.raw(key) if self.has(key) else default
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise self.fail(key, f"{shown(value)} is not a whole number from {least} to {most}")
        return value

    def truth(self, key: str) -> bool:
        """True or false."""
        value = self.raw(key)
        if not isinstance(value, bool):
            raise self.fail(key, f"{shown(value)} is not true or false")
        return value

    def date(self, key: str = "date") -> datetime.date:
        """A day, as TOML writes dates or as a text."""
        value = self.raw(key)
        wrong = self.fail(key, f"{shown(value)} is not a date; written for example 2025-03-01")
        if isinstance(value, datetime.datetime) or not isinstance(value, (str, datetime.date)):
            raise wrong
        try:
            return datetime.date.fromisoformat(value) if isinstance(value, str) else value
        except ValueError:
            raise wrong from None

    def elements(self, key: str, most: int) -> list[Any]:
        """A list, not too long; an empty one when it is missing."""
        value = self.raw(key) if self.has(key) else []
        if not isinstance(value, list) or len(value) > most:
            raise self.fail(key, f"{shown(value)} is not a list of at most {most}")
        return value

    def element(self, key: str, value: object) -> Entry:
        """One element of the list under `key`, to be read as if it stood there alone."""
        return Entry({key: value}, self.file, self.name)

    def bounded(self, key: str, value: object, depth: int = 0) -> Any:
        """A value that others read: bounded in depth, numbers that are numbers, texts that print."""
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
        return Entry(
            self.raw(key) if needed or self.has(key) else {}, self.file, ".".join(p for p in (self.name, key) if p)
        )

    def tables(self, key: str, most: int = 1_000_000) -> list[Entry]:
        """A list of tables; an empty list when it is missing."""
        value = self.raw(key) if self.has(key) else []
        if not isinstance(value, list):
            raise self.fail(key, f"{shown(value)} is not a list of tables ([[{key}]])")
        if len(value) > most:
            raise self.fail(key, f"{len(value)} of [[{key}]] are too many; at most {most}")
        prefix = f"{self.name}." if self.name else ""
        return [Entry(each, self.file, f"{prefix}{key}[{number}]") for number, each in enumerate(value, 1)]

    def finish(self, about: str = "") -> None:
        """Refuse entries that nobody asked for, naming the nearest known one."""
        for key in self.unasked():
            raise self.fail(key, f"this entry is not known{about}{nearest(key, self._known)}")

    def unasked(self) -> list[str]:
        """Names of the entries that nobody has asked for yet."""
        return [key for key in self._data if key not in self._known]


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
