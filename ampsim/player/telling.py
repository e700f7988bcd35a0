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
    positions = [{"label": each.label, "words": each.words, "level": _level(each, clips)} for each in clips]
    return {
        "positions": positions,
        "how": f"Equally loud by {clips.standard}.",
        "scope": clips.words,
        "caution": clips.caution,
    }


def _level(clip: Clip, clips: Clips) -> str:
    first = clips.clips[0]
    loudness = style.minus(f"{clip.loudness:.1f} {clips.unit}")
    if clip is first:
        return loudness
    return f"{loudness}, turned {_turned(clip.gain_db - first.gain_db)} against 1"


def _turned(change: float) -> str:
    if abs(change) < 0.05:
        return "by 0.0 dB"
    return f"{'up' if change > 0.0 else 'down'} by {abs(change):.1f} dB"


def sixteen_bit(samples: Sound) -> bytes:
    """Samples between -1 and 1, shape (samples,), as whole numbers of 16 bits, little end first."""
    return bytes(np.clip(np.rint(samples * 32768.0), -32768.0, 32767.0).astype("<i2").tobytes())


def code() -> str:
    """The player's script: functions only, nothing runs by itself and nothing is fetched."""
    return (files(__package__) / "player.js").read_text("utf-8")


def look() -> str:
    """The player's style sheet; it touches nothing outside the player."""
    return (files(__package__) / "player.css").read_text("utf-8")
