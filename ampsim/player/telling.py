"""What the player is given: words of each position, and its samples as whole numbers of 16 bits."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

import numpy as np

from .. import style
from ..listening import Clip, Clips
from ..listening.clips import Sound


def facts(clips: Clips) -> dict[str, Any]:
    """The words that the player shows, as plain data; it sets each of them as text."""
    positions = [{"label": each.label, "words": _words(each), "level": _level(each, clips)} for each in clips]
    return {
        "positions": positions,
        "how": f"Standard of loudness: {clips.standard}.",
        "scope": clips.words,
        "caution": clips.caution,
    }


def _words(clip: Clip) -> str:
    """The clip's words; its label stands above them already."""
    return clip.words.removeprefix(f"{clip.label}: ")


def _level(clip: Clip, clips: Clips) -> str:
    """How much it was turned against the first, to be as loud."""
    change = clip.gain_db - clips.clips[0].gain_db
    return "" if clip is clips.clips[0] else f"Turned by {style.in_decibels(change, sign=True)} against 1"


def sixteen_bit(samples: Sound) -> bytes:
    """Samples between -1 and 1, shape (samples,), as whole numbers of 16 bits, little end first."""
    return bytes(np.clip(np.rint(samples * 32768.0), -32768.0, 32767.0).astype("<i2").tobytes())


def code() -> str:
    """The player's script: functions only, nothing runs by itself and nothing is fetched."""
    return (files(__package__) / "player.js").read_text("utf-8")


def look() -> str:
    """The player's style sheet; it touches nothing outside the player."""
    return (files(__package__) / "player.css").read_text("utf-8")
