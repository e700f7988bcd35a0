"""Names in mod files: a mod with where it is to land, where one landed, wires of its own."""

from __future__ import annotations

import re
from pathlib import Path

from ..base.entries import Entry
from ..base.errors import shown
from ..base.wording import plain
from .parts import RESERVED


def split_landing(word: str) -> tuple[str, str]:
    """The mod, and where it is to land, of a word such as "warmer-stage at second stage"; "" where it does not say."""
    head, _, at = word.rpartition(" at ")
    return (head, at) if head else (word, "")


def called(word: str | Path) -> str:
    """The bare name of a file or model, with where it is to land: "mods/warmer.toml at second stage" is short."""
    head, at = split_landing(str(word))
    stem = Path(head).name.removesuffix(".toml")
    return f"{stem} at {at}" if at else stem


def read_landing(top: Entry) -> tuple[tuple[str, str], ...]:
    """Where the places of a mod were found that says them by what they are; the edits have these places already."""
    entry = top.table("landing")
    found = []
    for said in entry.names():
        given = entry.raw(said)
        places = [entry.place(said, each) for each in (given if isinstance(given, list) else [given])]
        found += [(plain(said), place) for place in places]
    return tuple(found)


_NET = re.compile(r"[a-z][a-z0-9_]{0,15}")


def read_nets(top: Entry) -> tuple[str, ...]:
    """Read the entry `nets`: wires of a mod's own that parts it fits meet at.

    Raises
    ------
    DescriptionError
        For what is no list of names in small letters.
    """
    names = top.elements("nets", 20)
    for name in names:
        if not isinstance(name, str) or not _NET.fullmatch(name) or name in RESERVED:
            raise top.fail("nets", f"{shown(name)} is not a name for a wire; small letters, for example 'node'")
    return tuple(dict.fromkeys(names))
