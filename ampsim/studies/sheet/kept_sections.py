"""What was found of a mod before is told again, pictures and all: sheet, record and page examine nothing twice.

A section is kept under a hash of all that it depends on: both amps to the last word, the positions, the simulator and
the whole package. A topic or a law that comes from elsewhere may change without that, so its sections are not kept.
"""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass, replace
from functools import lru_cache, partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

from ...base.kept_files import drop_oldest, fetch_kept, keep, kept_folder
from ...base.progress import Progress
from ...circuit.semiconductors.laws import LAWS as DEVICE_LAWS
from ...circuit.semiconductors.port_laws import PORT_LAWS
from ...circuit.valves.laws import LAWS
from ...pictures.export import drawn_picture
from ...simulation.ngspice.kept_answers import path_of
from ..section import Examination, Section
from ..topics import topic_file, topic_section
from .packed_section import packed_section, unpacked_section

MOST_BYTES, _MOST_OF_ONE = 100_000_000, 5_000_000
_FOLDER, _ENDING = "sections", ".json"
_LIBRARIES = ("numpy", "pandas", "scipy", "xarray", "numba", "matplotlib")
_HOME = Path(__file__).resolve().parents[2]


def kept_section(topic: str, examined: Examination, progress: Progress | None = None) -> Section:
    """As `topics.topic_section`, or what was kept where the same was examined before; its pictures are drawn.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    path = _path(topic, examined)
    kept = path and fetch_kept(path, _MOST_OF_ONE)
    if kept:
        try:
            return unpacked_section(json.loads(bytes(kept)), partial(topic_section, topic, examined))
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            pass  # of another version of ampsim, or of another hand: as good as none
    found = topic_section(topic, examined, progress)
    found = replace(found, pictures={name: drawn_picture(picture) for name, picture in found.pictures.items()})
    packed = packed_section(found) if path else None
    if path and packed is not None:
        keep(path, json.dumps(packed).encode())
        drop_oldest(path.parent, _ENDING, MOST_BYTES)
    return found


def _path(topic: str, examined: Examination) -> Path | None:
    """Where a topic is kept; None without a simulator, and for what comes from elsewhere."""
    if any(not each.is_relative_to(_HOME) for each in (topic_file(topic), *_law_files())):
        return None
    found = path_of((topic, repr(examined), _package()))
    return found and kept_folder() / _FOLDER / f"{found.stem}{_ENDING}"


def _law_files() -> Iterator[Path]:
    """Where the laws of valves and semiconductors are written."""
    for part in _functions(*LAWS.values(), *DEVICE_LAWS.values(), *PORT_LAWS.values()):
        yield Path(str(getattr(sys.modules.get(part.__module__), "__file__", "")))


def _functions(*laws: Any) -> Iterator[Callable[..., Any]]:
    for part in (getattr(law, each.name) for law in laws for each in fields(law)):
        if is_dataclass(part):
            yield from _functions(part)
        elif callable(part):
            yield part.func if isinstance(part, partial) else part


@lru_cache(maxsize=1)
def _package() -> str:
    """A hash of everything that comes with the package and is read or run, and of what it computes and draws with."""
    digest = hashlib.sha256(repr([version(each) for each in _LIBRARIES]).encode())
    for path in sorted(_HOME.rglob("*")):
        if path.suffix in (".py", ".toml") and path.is_file():
            digest.update(f"{path.relative_to(_HOME)}\0".encode() + path.read_bytes())
    return digest.hexdigest()
