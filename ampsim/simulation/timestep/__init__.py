"""An amp played in time: a signal through the whole circuit as described, faster than it lasts."""

from __future__ import annotations

from .play import Played, play

__all__ = ["Played", "play"]
