"""Where files come from: the disk, or the frozen files of a job."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path

from ..base.errors import DescriptionError, nearest, shown
from ..base.files import bare_name, printable, read_bounded
from .files import TYPES, VALVES, file_of, models_in, type_file
from .type_names import meant_type

# From a word, its folder in models/, the folder beside and where it is written, to a file's name, bytes and folder.
Finder = Callable[[str, str, Path | None, str], tuple[str, bytes, Path | None]]


def from_disk() -> Finder:
    """A finder of files beside the one that names them, or in models/, whose folders it lists once."""
    known = cache(models_in)

    def find(word: str, folder: str, beside: Path | None, where: str) -> tuple[str, bytes, Path | None]:
        path = (type_file if where and folder in TYPES else file_of)(word, folder, beside, where, known)
        return printable(path.name), read_bounded(path), path.parent

    return find


def from_frozen(files: Mapping[str, bytes]) -> Finder:
    """A finder that knows frozen files and no others; valves that come with ampsim neither."""

    def find(word: str, folder: str, __: Path | None, where: str) -> tuple[str, bytes, None]:
        name = _frozen_name(word, folder, files)
        if name not in files:
            raise DescriptionError(
                f"{where}: {shown(name)} is not among the frozen files of this job{nearest(name, files)}"
            )
        return name, files[name], None

    return find


def _frozen_name(word: str, folder: str, files: Mapping[str, bytes]) -> str:
    """What a file is called among frozen ones: a type of valve may be named by another of its names."""
    name = f"{bare_name(word)}.toml"
    if name in files or folder not in VALVES:
        return name
    return f"{meant_type(word, (each.removesuffix('.toml') for each in files)) or bare_name(word)}.toml"


def from_both(files: Mapping[str, bytes]) -> Finder:
    """A finder for what is taken in: it comes from the disk, but what it names in turn is the job's own if there."""
    frozen, disk = from_frozen(files), from_disk()

    def find(word: str, folder: str, beside: Path | None, where: str) -> tuple[str, bytes, Path | None]:
        if beside is not None and _frozen_name(word, folder, files) in files:
            return frozen(word, folder, beside, where)
        return disk(word, folder, beside, where)

    return find
