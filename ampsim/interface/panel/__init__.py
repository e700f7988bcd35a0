"""The live panel, in notebooks and on a page of its own: turn the amp's controls and see stock against modded move.

Nothing here is loaded before it is used: the panel needs `anywidget`, which comes with the extra "notebooks".
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ...base.errors import AmpsimError

if TYPE_CHECKING:
    from .opening import audition_panel, explore, open_panel
    from .widget import Panel

__all__ = ["Panel", "audition_panel", "explore", "open_panel"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    try:
        from . import opening
    except ModuleNotFoundError as problem:
        raise AmpsimError(
            f"the live panel needs {problem.name}, which is not installed: pip install 'ampsim[notebooks]'"
        ) from None
    return getattr(opening, name)
