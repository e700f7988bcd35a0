"""Texts and names among the entries of a table: printable, bounded, nothing that leads out of a folder."""

from __future__ import annotations

import re

from .errors import shown
from .files import bare_name
from .keys import Keys
from .wording import plain

# Names that ngspice can take for nothing else.
NAME = re.compile(r"[A-Za-z0-9_-]{1,60}")
MOST_WORDS = 20_000


class Texts(Keys):
    """A table whose entries are read as texts and names."""

    def text(self, key: str, default: str | None = None, most: int = 2000) -> str:
        """A line or a paragraph of plain text: printable, no control characters but newlines.

        Raises
        ------
        DescriptionError
            When it is missing, no text, too long, or holds control characters.
        """
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
        """A text on one line, as it stands.

        Raises
        ------
        DescriptionError
            As `text`, and for a text of several lines.
        """
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
        """A name of letters, digits, "_" and "-".

        Raises
        ------
        DescriptionError
            When it is missing, or holds anything else.
        """
        value = self.raw(key)
        if not isinstance(value, str) or not NAME.fullmatch(value):
            raise self.fail(key, f"{shown(value)} is not a name; letters, digits, '_' and '-', at most 60")
        return value

    def bare_file(self, key: str, value: object, ending: str = "") -> str:
        """The bare name of a file beside this one, found under `key`: no folder, no way out.

        Raises
        ------
        DescriptionError
            For another kind of value, a path, or another ending.
        """
        bare = bare_name(value)
        if bare is None or (ending and not str(value).endswith(ending)):
            raise self.fail(key, f"{shown(value)} is not the bare name of a file; letters, digits, blanks, - and _")
        return bare + ending

    def label(self, key: str, default: str | None = None) -> str:
        """A short name that appears in tables and pictures."""
        return self.text(key, default, most=60)
