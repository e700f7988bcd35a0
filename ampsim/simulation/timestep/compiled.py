"""Compiling for this machine: once, and kept in a folder of the user's."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib import import_module
from importlib.resources import files
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from .differentiate import laws_text

# Its own types know neither its options nor its settings.
numba: Any = import_module("numba")
_SOURCES = ("compiled", "elementary", "compiled_laws", "kernel_arguments", "grid_currents", "columns",
            "newton_matrix", "newton", "kernel", "walk")  # fmt: skip
# Views of arrays are not counted (`_nrt`): counting them took a quarter of the time, and nothing is made in the loop.
_OPTIONS = {"nogil": True, "_nrt": False, "error_model": "numpy", "fastmath": {"contract"}}
_TEXT = laws_text()
F = TypeVar("F", bound=Callable[..., Any])


def cache_folder() -> Path | None:
    """Where compiled code is kept, one folder to each state of the sources; None where no folder can be written."""
    sources = [_TEXT, numba.__version__]
    sources += [(files(__package__) / f"{name}.py").read_text("utf-8") for name in _SOURCES]
    digest = hashlib.sha256("\0".join(sources).encode()).hexdigest()[:16]
    home = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
    for base in (os.environ.get("NUMBA_CACHE_DIR"), os.path.join(home, "ampsim")):
        if base:
            folder = Path(base, f"timestep-{digest}")
            if _writable(folder):
                return folder
    return None


def _writable(folder: Path) -> bool:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


_ONE_AT_A_TIME = Lock()


@contextmanager
def _cached_in(folder: Path) -> Iterator[None]:
    with _ONE_AT_A_TIME:
        before = numba.config.CACHE_DIR
        numba.config.CACHE_DIR = str(folder)
        try:
            yield
        finally:
            numba.config.CACHE_DIR = before


def eights(count: int) -> int:
    """The next multiple of eight."""
    return -(-count // 8) * 8


def align(array: NDArray[np.float64]) -> NDArray[np.float64]:
    """Copy numbers ([V], [ohm] ...) to where a line of the processor's cache begins: rows are read a line at a time."""
    room = np.empty(array.size + 8)
    first = -room.ctypes.data // 8 % 8
    whole = room[first : first + array.size].reshape(array.shape)
    whole[...] = array
    return whole


_FOLDER = cache_folder()


def jit(function: F) -> F:
    """Have a function compiled at its first call, and kept for later processes where there is a folder to keep it."""
    if _FOLDER is None:
        return numba.njit(**_OPTIONS)(function)  # type: ignore[no-any-return]
    with _cached_in(_FOLDER):
        kept = numba.njit(cache=True, **_OPTIONS)(function)
    _load_only(kept._cache)
    return kept  # type: ignore[no-any-return]


def _load_only(cache: Any) -> None:
    """Have kept code loaded without what compiling takes; what was cut short counts as missing, and is made anew.

    By itself numba gathers all that its compiler may need before it loads: a quarter of a second of every command. It
    does so anyway where something is compiled.
    """

    def load(signature: Any, context: Any) -> Any:
        try:
            with cache._guard_against_spurious_io_errors():
                return cache._load_overload(signature, context)
        except Exception:  # whatever reading half a pickle comes upon
            cache.flush()
            return None

    cache.load_overload = load


def inline_early(function: F) -> F:
    """Have a small function put in the place of its calls."""
    return numba.njit(inline="always", **_OPTIONS)(function)  # type: ignore[no-any-return]


def inline_late(function: F) -> F:
    """Have a function compiled into those that call it."""
    return numba.njit(forceinline=True, **_OPTIONS)(function)  # type: ignore[no-any-return]


def jit_uncached(function: F) -> F:
    """Have a function compiled together with what calls it."""
    return numba.njit(**_OPTIONS)(function)  # type: ignore[no-any-return]
