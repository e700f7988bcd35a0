"""A package that offers names of its modules and loads each on first use, so that importing it costs nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def lazy_names(package: str, home: Mapping[str, tuple[str, ...]]) -> Callable[[str], Any]:
    """The `__getattr__` of a package that offers names of other modules.

    Parameters
    ----------
    package : str
        The package's `__name__`.
    home : mapping
        Module, relative to the package, to the names that it gives.
    """
    modules = {name: module for module, names in home.items() for name in names}

    def load(name: str) -> Any:
        if name not in modules:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(f".{modules[name]}", package), name)

    return load
