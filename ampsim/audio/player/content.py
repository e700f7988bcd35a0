"""What the player is given: words of each position, and its samples as whole numbers of 16 bits."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files
from typing import Any

import numpy as np

from ...base.errors import DescriptionError, shown
from ...base.wording import in_decibels
from ..clips import Clip, Clips, Sound

_STEP = 1.0 / 32768.0  # of full scale: what is played has 16 bits


def player_facts(clips: Clips, true_level: Sequence[Clip] = ()) -> dict[str, Any]:
    """The words that the player shows, as plain data; it sets each of them as text.

    `true_level` are clips at their true level beside the others: differences, pops. They are not guessed at when blind.
    """
    shared, names = _names(clips.labels)
    twins = same_sounds(clips)
    positions: list[dict[str, Any]] = [
        {"label": name, "words": each.words, "level": _level(each, clips), "alone": False, "same": twins.get(number)}
        for number, (name, each) in enumerate(zip(names, clips, strict=True))
    ]
    alone = {"level": "At its true level, not made as loud", "alone": True, "same": None}
    positions += [{"label": each.label, "words": each.words, **alone} for each in true_level]
    return {
        "positions": positions,
        "how": f"{shared}Standard of loudness: {clips.standard}.",
        "scope": clips.words,
        "caution": clips.caution,
    }


def same_sounds(clips: Clips) -> dict[int, int]:
    """Clips that nobody can tell apart, each with the first of its sound: at most a step of 16 bits apart."""
    first: dict[int, int] = {}
    for number, clip in enumerate(clips.clips):
        for other in range(number):
            if other not in first and float(np.abs(clip.samples - clips.clips[other].samples).max()) <= _STEP:
                first[number] = other
                break
    return first


def _names(labels: Sequence[str]) -> tuple[str, list[str]]:
    """What all labels but the first begin with, as a sentence, and the labels without it."""
    items = [label.split(", ") for label in labels]
    same = 0
    while len(items) > 2 and len({tuple(each[: same + 1]) for each in items[1:]}) == 1 and len(items[1]) > same:
        same += 1
    if not same or any(len(each) == same for each in items[1:]):
        return "", list(labels)
    names = [labels[0], *(", ".join(each[same:]) for each in items[1:])]
    if len(set(names)) < len(names):
        return "", list(labels)
    shared = f"Positions 2 to {len(labels)} are those of {', '.join(items[1][:same])}. "
    return shared, names


def _level(clip: Clip, clips: Clips) -> str:
    """How much it was turned against the first, to be as loud."""
    if clip is clips.clips[0]:
        return "The others are made as loud as this one" if len(clips) > 1 else "Alone"
    change = clip.gain_db - clips.clips[0].gain_db
    if round(change, 1) == 0.0:
        return "As loud as 1 by itself"
    return f"Turned {'up' if change > 0.0 else 'down'} by {in_decibels(abs(change))} to be as loud as 1"


def sample_rows(clips: Clips, true_level: Sequence[Clip] = ()) -> list[bytes]:
    """The samples of each clip for the player, with silence after those that are shorter.

    Raises
    ------
    DescriptionError
        When one that is heard alone has another rate.
    """
    every = [*clips, *true_level]
    if {each.rate for each in every} != {clips.rate}:
        raise DescriptionError(f"clips of one player have one rate: {shown(sorted({each.rate for each in every}))}")
    made = [sixteen_bit(each.samples) for each in every]
    return [each.ljust(max(map(len, made)), b"\0") for each in made]


def sixteen_bit(samples: Sound) -> bytes:
    """Samples between -1 and 1, shape (samples,), as whole numbers of 16 bits, little end first."""
    return bytes(np.clip(np.rint(samples * 32768.0), -32768.0, 32767.0).astype("<i2").tobytes())


def player_script() -> str:
    """The player's script: functions only, nothing runs by itself and nothing is fetched."""
    return (files(__package__) / "player.js").read_text("utf-8")


def player_style() -> str:
    """The player's style sheet; it touches nothing outside the player."""
    return (files(__package__) / "player.css").read_text("utf-8")
