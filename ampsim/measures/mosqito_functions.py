"""The functions of MoSQITo that are needed, without the rest of it.

The package loads all of itself, a plotting library and SciPy's statistics included, which takes a second or more; what
is needed here is numpy alone.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from importlib import import_module
from importlib.machinery import ModuleSpec, PathFinder
from threading import Lock
from types import ModuleType
from typing import Any

_NAME = "mosqito"
_LOCK = Lock()


class _Bare:
    """Finds packages of MoSQITo as folders: what their own modules import on the way is left out."""

    @staticmethod
    def find_spec(name: str, path: Sequence[str] | None = None, target: ModuleType | None = None) -> ModuleSpec | None:
        """As `importlib.abc.MetaPathFinder.find_spec`."""
        found = PathFinder.find_spec(name, path, target) if name.partition(".")[0] == _NAME else None
        if found is None or found.submodule_search_locations is None:
            return found
        folder = ModuleSpec(name, None, is_package=True)
        folder.submodule_search_locations = found.submodule_search_locations
        return folder


@contextmanager
def _bare() -> Iterator[None]:
    """What is imported meanwhile is not known as MoSQITo afterwards: whoever imports that gets all of it."""
    sys.meta_path.insert(0, _Bare)
    try:
        yield
    finally:
        sys.meta_path.remove(_Bare)
        for name in [each for each in sys.modules if each.partition(".")[0] == _NAME]:
            del sys.modules[name]


@lru_cache(maxsize=16)
def mosqito_function(place: str) -> Callable[..., Any]:
    """A function of MoSQITo by the module that it lies in and that is called as it is: "sq_metrics.one.one"."""
    with _LOCK:
        name = f"{_NAME}.{place}"
        if _NAME in sys.modules:
            module = import_module(name)
        else:
            with _bare():
                module = import_module(name)
        found: Callable[..., Any] = getattr(module, place.rpartition(".")[2])
        return found
