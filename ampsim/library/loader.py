"""Amp, mods, drawer and wishes of a job, with every file they need: from the disk, or from the frozen ones alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from ..base.entries import Entry
from ..base.errors import DescriptionError, nearest, shown
from ..base.files import bare_name, read_bounded
from ..circuit.amp import Amp, Mod
from ..circuit.mods import apply_mods
from ..circuit.valves.description import Valve
from ..circuit.valves.parsing import parse_valve
from ..studies.search.wishes import Drawer, WishList
from .amps import read_amp
from .files import file_of, toml_tables, valve_file
from .mods import read_mod
from .parts import ValveFinder
from .wishes import read_drawer, read_wishes

FILE = "job.toml"


# From a word, its folder in models/, the folder beside and where it is written, to a file's name, bytes and folder.
Finder = Callable[[str, str, Path | None, str], tuple[str, bytes, Path | None]]


class Shelf:
    """Opens what a job names and remembers every file it took, by name.

    Parameters
    ----------
    find : callable
        `from_disk`, or `from_frozen(files)`.
    """

    def __init__(self, find: Finder) -> None:
        self._find = find
        self.files: dict[str, bytes] = {}

    def amp(self, word: str, beside: Path | None = None, where: str = FILE) -> Amp:
        """Open an amp."""
        name, tables, folder = self._take(word, "amps", beside, where)
        return read_amp(tables, name, self._valves(folder))

    def mod(self, word: str, beside: Path | None = None, where: str = FILE) -> Mod:
        """Open a mod."""
        name, tables, folder = self._take(word, "mods", beside, where)
        return read_mod(tables, name, self._valves(folder))

    def drawer(self, word: str, beside: Path | None = None, where: str = FILE) -> Drawer:
        """Open a drawer."""
        name, tables, _ = self._take(word, "drawers", beside, where)
        return read_drawer(tables, name)

    def wishes(self, word: str, beside: Path | None = None, where: str = FILE) -> WishList:
        """Open wishes with the amp, mods and drawer that they name."""
        name, tables, folder = self._take(word, "wishes", beside, where)
        top = Entry(tables, name)
        stock = self.amp(_word(top, "amp", top.raw("amp")), folder, top.where("amp"))
        mods = top.raw("mods") if top.has("mods") else []
        if not isinstance(mods, list):
            raise top.fail("mods", f"{shown(mods)} is not a list of mods")
        fitted = [self.mod(_word(top, "mods", each), folder, top.where("mods")) for each in mods]
        parts = None
        if top.has("drawer"):
            parts = self.drawer(_word(top, "drawer", top.raw("drawer")), folder, top.where("drawer"))
        return read_wishes(tables, name, stock, apply_mods(stock, *fitted), parts)

    def _valves(self, beside: Path | None) -> ValveFinder:
        def find(kind: str, where: str) -> Valve:
            name, tables, _ = self._take(kind, "valves", beside, where)
            return parse_valve(tables, name)

        return find

    def _take(self, word: str, folder: str, beside: Path | None, where: str) -> tuple[str, dict[str, Any], Path | None]:
        name, data, home = self._find(word, folder, beside, where)
        if self.files.setdefault(name, data) != data:
            raise DescriptionError(f"{where}: two files of different content are called {name}; rename one of them")
        return name, toml_tables(data, name), home


def _word(top: Entry, key: str, value: object) -> str:
    if not isinstance(value, str) or bare_name(value) is None:
        raise top.fail(key, f"{shown(value)} is not the name of a model or of a TOML file beside this one")
    return value


def from_disk(word: str, folder: str, beside: Path | None, where: str) -> tuple[str, bytes, Path | None]:
    """Find a file where the library finds it."""
    path = valve_file(word, beside, where) if folder == "valves" else file_of(word, folder, beside, where)
    return path.name, read_bounded(path), path.parent


def from_frozen(files: Mapping[str, bytes]) -> Finder:
    """A finder that knows frozen files and no others; valves that come with ampsim neither."""

    def find(word: str, _: str, __: Path | None, where: str) -> tuple[str, bytes, None]:
        name = f"{bare_name(word)}.toml"
        if name not in files:
            raise DescriptionError(
                f"{where}: {shown(name)} is not among the frozen files of this job{nearest(name, files)}"
            )
        return name, files[name], None

    return find


def from_both(files: Mapping[str, bytes]) -> Finder:
    """A finder for what is taken in: it comes from the disk, but what it names in turn is the job's own if there."""
    frozen = from_frozen(files)

    def find(word: str, folder: str, beside: Path | None, where: str) -> tuple[str, bytes, Path | None]:
        if beside is not None and f"{bare_name(word)}.toml" in files:
            return frozen(word, folder, beside, where)
        return from_disk(word, folder, beside, where)

    return find
