"""Switching between positions while they sound: as a widget in a notebook, and as part of a page that is one file.

Nothing here is loaded before it is used: the widget needs `anywidget`, which comes with the extra "notebooks".
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ...base.errors import AmpsimError
from .content import player_facts, player_script, player_style, sixteen_bit
from .embed import MOST_EMBEDDED, Embedded, embed, json_text

if TYPE_CHECKING:
    from .widget import Player, side_by_side

__all__ = [
    "MOST_EMBEDDED",
    "Embedded",
    "Player",
    "embed",
    "json_text",
    "player_facts",
    "player_script",
    "player_style",
    "side_by_side",
    "sixteen_bit",
]


def __getattr__(name: str) -> Any:
    if name not in ("Player", "side_by_side"):
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    try:
        from . import widget
    except ModuleNotFoundError as problem:
        raise AmpsimError(
            f"the player needs {problem.name}, which is not installed: pip install 'ampsim[notebooks]'"
        ) from None
    return getattr(widget, name)
