"""Where files of the library lie, and TOML."""

from __future__ import annotations

import codecs
import contextlib
import difflib
import os
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from ..base.errors import DescriptionError, nearest, shown
from ..base.files import MOST_BYTES, printable, read_bounded, shipped_folder
from .type_names import meant_type, why_not

_DEEPEST = 16
_PART = rb"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+"""
# Where a key may begin, and looked at once (`++`): the text may be one long word.
_DEEP = re.compile(rb"(?:^[ \t]*+(?:\[[ \t]*+){0,2}|[{,][ \t]*+)(?:%b\.[ \t]*+){%d}" % (_PART, _DEEPEST), re.MULTILINE)
_LINE = re.compile(r"at line (\d+)")
_WITHOUT_QUOTES = re.compile(r"([A-Za-z0-9_-]{1,40})\s*=\s*([A-Za-z0-9.][A-Za-z0-9.,% /-]{0,40}?)\s*(?:#.*)?")
_MERGE = re.compile(rb"^(<{7}|={7}|>{7}|\|{7})(?: .*)?\r?$", re.MULTILINE)


def models() -> Path:
    """The folder of valves, amps, mods and jobs that comes with ampsim (in the package, or beside it in a clone).

    Raises
    ------
    DescriptionError
        When it is missing.
    """
    return shipped_folder("models", "valves")


SHELF = "AMPSIM_SHELF"
"""Environment variable that names the shop's shelf."""


def shelf() -> Path | None:
    """The shop's shelf: a folder like that of the models, with the shop's own files; None where none is named.

    Raises
    ------
    DescriptionError
        When what the environment variable AMPSIM_SHELF names is no folder.
    """
    named = os.environ.get(SHELF, "")
    if not named:
        return None
    folder = Path(named).expanduser()
    if not folder.is_dir():
        raise DescriptionError(
            f"{SHELF}: {printable(folder)} is no folder; name the one with the shop's amps, mods, ..."
        )
    return folder


def on_shelf(folder: str) -> dict[str, Path]:
    """The shop's own files of a folder such as "mods", by name; none without a shelf."""
    home = shelf()
    return _by_name(home / folder) if home else {}


def models_in(folder: str) -> dict[str, Path]:
    """The files of a folder of models, by name; the shop's own come before those that come along."""
    return _by_name(models() / folder) | on_shelf(folder)


def _by_name(folder: Path) -> dict[str, Path]:
    """The files of a folder and of those in it, by name."""
    return {each.stem: each for each in map(Path, sorted(_toml_files_below(folder)))}


def _toml_files_below(folder: str | Path) -> Iterator[str]:
    # `Path.rglob` takes five times as long.
    with contextlib.suppress(FileNotFoundError, NotADirectoryError), os.scandir(folder) as entries:
        for entry in entries:
            if entry.is_dir(follow_symlinks=False):
                yield from _toml_files_below(entry.path)
            elif entry.name.endswith(".toml"):
                yield entry.path


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Raises
    ------
    DescriptionError
        When there is no such file, it is too large, not UTF-8, or not TOML (with line and column).
    """
    return toml_tables(read_bounded(path), printable(path))


def toml_tables(data: bytes, name: str) -> dict[str, Any]:
    """The tables of a TOML file's bytes; `name` is what messages call the file.

    Raises
    ------
    DescriptionError
        When they are too many, not UTF-8, or not TOML (with line and column).
    """
    if len(data) > MOST_BYTES:
        raise DescriptionError(f"{name}: {len(data):,} bytes; at most {MOST_BYTES:,} are read")
    # Each step of a dotted key costs the reader as much as all before it.
    if deep := _DEEP.search(data):
        line = data.count(b"\n", 0, deep.start()) + 1
        raise DescriptionError(f"{name}, line {line}: a key of more than {_DEEPEST} parts joined by dots")
    if data.startswith(codecs.BOM_UTF8):
        raise DescriptionError(f"{name}: begins with a byte-order mark; save it as plain UTF-8, without one")
    try:
        return tomllib.loads(data.decode("utf-8"))
    except UnicodeDecodeError as problem:
        raise DescriptionError(f"{name}: not UTF-8 text (byte {problem.start})") from None
    except (ValueError, RecursionError) as problem:
        raise DescriptionError(f"{name}: not TOML: {_merge_mark(data) or _on_its_line(data, str(problem))}") from None


def _on_its_line(data: bytes, problem: str) -> str:
    """What the reader of TOML says, with the line, and how that is written where quotes are missing."""
    place = _LINE.search(problem)
    lines = data.decode("utf-8", "replace").split("\n")
    if place is None or not 0 < int(place[1]) <= len(lines):
        return problem
    line = lines[int(place[1]) - 1].strip()
    bare = _WITHOUT_QUOTES.fullmatch(line)
    advice = f'; what is no number by itself stands in quotes: {bare[1]} = "{bare[2]}"' if bare else ""
    return f"{problem}: {shown(line)}{advice}"


def _merge_mark(data: bytes) -> str:
    """What is wrong with a text in which a merge left its marks; "" when there are none."""
    mark = _MERGE.search(data)
    if mark is None:
        return ""
    line = data.count(b"\n", 0, mark.start()) + 1
    return f"line {line} is a mark of a merge ({mark[1].decode()}); choose one of the versions and take out the marks"


def file_of(
    name: str | Path,
    folder: str,
    beside: Path | None = None,
    where: str = "",
    known_in: Callable[[str], Mapping[str, Path]] = models_in,
) -> Path:
    """A path as given; or, for a bare name, beside the file that names it, or in models/<folder>.

    Parameters
    ----------
    name : str or Path
        A path ending in ".toml", or the name of a model.
    folder : str
        Of models/.
    beside : Path, optional
        Folder of the file that names it.
    where : str
        File and entry that name it, for messages.
    known_in : callable
        `models_in`, or what remembers its answers.

    Raises
    ------
    DescriptionError
        For a bare name that no model has, beginning with `where`.
    """
    path = Path(name)
    if path.suffix == ".toml":
        home = shelf()
        for base in (beside, None, *([home / folder] if home else []), models() / folder):
            candidate = base / path if base else path
            with contextlib.suppress(OSError):  # a name longer than the system takes
                if candidate.is_file():
                    return candidate
        return path
    known = known_in(folder)
    meant = meant_type(str(name), known) if folder in VALVES else str(name)
    if meant not in known:
        near = _file_beside(str(name), beside) or _nearest_type(str(name), folder, known)
        text = f"{shown(str(name))} is not a file and not in models/{folder}{near}"
        raise DescriptionError(f"{where}: {text}" if where else text)
    return known[meant]


def _file_beside(name: str, beside: Path | None) -> str:
    """What to say of a file that was probably meant; "" when there is none."""
    with contextlib.suppress(OSError):
        there = [each.name for each in (beside or Path()).glob("*.toml")]
        if meant := [f"{name}.toml"] * (f"{name}.toml" in there) or difflib.get_close_matches(name, there, 1, 0.9):
            return f"; there is a file {shown(meant[0])}"
    return ""


def _nearest_type(name: str, folder: str, known: Iterable[str]) -> str:
    """What to say of a type that is none: why it is not the one it is near, and the nearest."""
    reason = why_not(name) if folder in VALVES else ""
    return f"; {reason}" if reason else nearest(name, known)


TYPES = {"valves": "valve", "semiconductors": "semiconductor", "rectifiers": "rectifier valve"}
"""The folders of types that parts name, and what such a type is called."""
VALVES = ("valves", "rectifiers")
"""The folders of what goes into a socket; its types have names in several parts of the world."""


def type_file(
    name: str, folder: str, beside: Path | None, where: str, known_in: Callable[[str], Mapping[str, Path]]
) -> Path:
    """The file of a type of part: one beside the amp or mod wins over the one that comes with ampsim.

    Parameters
    ----------
    name : str
    folder : str
        Of models/, a key of `TYPES`.
    beside : Path or None
        Folder of the amp or mod.
    where : str
        File and entry that name it, for messages.
    known_in : callable
        `models_in`, or what remembers its answers.

    Raises
    ------
    DescriptionError
        When there is none, beginning with `where`.
    """
    own = beside / f"{name}.toml" if beside else None
    if own and own.is_file():
        return own
    # A socket does not say whether it takes an amplifying valve or a rectifier; their types have no name in common.
    known = {**known_in(folder), **(known_in("rectifiers") if folder == "valves" else {})}
    meant = meant_type(name, known) if folder in VALVES else name
    if meant not in known:
        raise DescriptionError(
            f"{where}: {shown(name)} is not a {TYPES[folder]} of models/{folder}{_nearest_type(name, folder, known)}"
        )
    return known[meant]
