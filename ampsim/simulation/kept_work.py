"""What was worked out once is not worked out again: kept under what was asked, the simulator and the whole package.

A law that comes from elsewhere may change without any of these: nothing is kept as long as there is one.
"""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from functools import lru_cache, partial
from importlib.metadata import version
from pathlib import Path
from typing import Any, TypeVar

from ..base.errors import DescriptionError
from ..base.kept_files import fetch_kept, keep_within
from ..circuit.semiconductors.laws import LAWS as DEVICE_LAWS
from ..circuit.semiconductors.port_laws import PORT_LAWS
from ..circuit.valves.laws import LAWS
from .ngspice.kept_answers import MOST_BYTES, MOST_OF_ONE, path_of

HOME = Path(__file__).resolve().parents[1]
"""The folder of the package."""
_LIBRARIES = ("numpy", "pandas", "scipy", "xarray", "numba", "matplotlib")
# Of another version of ampsim, or of another hand: as good as none.
FAULTS = (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError, DescriptionError)
_Found = TypeVar("_Found")


def work_path(asked: object) -> Path | None:
    """Where what is worked out of something is kept; None without a simulator, and for laws from elsewhere.

    Parameters
    ----------
    asked : object
        All that it depends on besides the simulator and the package, told apart by its `repr`.
    """
    if any(not each.is_relative_to(HOME) for each in _law_files()):
        return None
    return path_of((asked, _package()))


def worked_out(
    asked: object, read: Callable[[Any], _Found], pack: Callable[[_Found], object], work_out: Callable[[], _Found]
) -> _Found:
    """What is kept of something that was asked before; else it is worked out, and kept.

    Parameters
    ----------
    asked : object
        As that of `work_path`.
    read : callable
        Takes what `pack` gave, or anything else of JSON, to what is found; one of `FAULTS` where it is none of ours.
    pack : callable
        Gives what is found as data of JSON; None where it is not to be kept.
    work_out : callable
    """
    path = work_path(asked)
    kept = path and fetch_kept(path, MOST_OF_ONE)
    if kept:
        try:
            return read(json.loads(bytes(kept)))
        except FAULTS:
            pass
    found = work_out()
    packed = pack(found) if path else None
    if path and packed is not None:
        keep_within(path, json.dumps(packed).encode(), MOST_BYTES)
    return found


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
    for path in sorted(HOME.rglob("*")):
        if path.suffix in (".py", ".toml") and path.is_file():
            digest.update(f"{path.relative_to(HOME)}\0".encode() + path.read_bytes())
    return digest.hexdigest()
