"""The keys of a table of a file: which are there, how a message names them, which nobody asked for."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from .errors import DescriptionError, nearest, shown

PLACE = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,29}(\.[a-z0-9_]{1,20})?")


class Keys:
    """The keys of one table of a file: which are there, and which nobody has asked for.

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
        inner = key if PLACE.fullmatch(key) or not key else shown(key)
        return ": ".join(part for part in (self.file, ".".join(p for p in (self.name, inner) if p)) if part)

    def fail(self, key: str, text: str) -> DescriptionError:
        """An error about one entry."""
        return DescriptionError(f"{self.where(key)}: {text}")

    def has(self, key: str) -> bool:
        """Whether the entry is there."""
        self._known.add(key)
        return key in self._data

    def raw(self, key: str) -> Any:
        """The entry as it stands.

        Raises
        ------
        DescriptionError
            When it is missing; names the nearest given one.
        """
        if not self.has(key):
            given = nearest(key, self._data) if self._data else ""
            raise self.fail(key, f"this entry is missing{given.replace('known', 'given')}")
        return self._data[key]

    def names(self) -> list[str]:
        """Names of all entries, in the order of the file."""
        return list(self._data)

    def finish(self, about: str = "") -> None:
        """Refuse entries that nobody asked for, naming the nearest known one.

        Raises
        ------
        DescriptionError
            For the first entry that nobody asked for.
        """
        for key in self.unasked():
            raise self.fail(key, f"this entry is not known{about}{nearest(key, self._known)}")

    def unasked(self) -> list[str]:
        """Names of the entries that nobody has asked for yet."""
        return [key for key in self._data if key not in self._known]
