"""What `answers.js` goes by, as plain data: thresholds, words, and what was played."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from ...measures.noticed import BREAKING_UP, EVENING_OUT, LEVEL, SHARPNESS, TIGHTNESS, Noticed
from ...studies.playing.drive import FAINTEST_DB, FARTHEST_DB, HARD_V, SOFT_V, Drive, in_db
from .answers import DOES, FULL, IS, NAMES, NOT_AUDIBLE, TONE_NOT_AUDIBLE, still_answers
from .hearing import NO_SIGNAL, NOTHING
from .played import Played


def played_facts(played: Played) -> dict[str, Any]:
    """Plain data for the page's script: drives of either amp, and by step which of them holds and what is still."""
    every = played.every_drive
    steps = []
    for setting in played.offered.steps():
        drives = played.drives_at(setting)
        which = [own.index(each) for own, each in zip(every, drives, strict=True)] if drives else None
        steps.append({"drives": which, "still": [asdict(each) for each in still_answers(played, setting)]})
    return {"drives": [[_drive_facts(each) for each in own] for own in every], "steps": steps}


def _drive_facts(drive: Drive) -> dict[str, Any]:
    """Without what is no number in JSON: what no level reaches lies above every level."""
    return {**asdict(drive), "first": min(drive.first, 1e3)}


def script_facts() -> dict[str, Any]:
    """What `answers.js` goes by, and the texts that it says as they stand."""
    least: dict[str, Noticed] = {
        "Breaking up": BREAKING_UP, "Evening out": EVENING_OUT, "Tightness": TIGHTNESS, "Bass": LEVEL, "Middle": LEVEL,
        "Brightness": SHARPNESS, "Loudness": LEVEL,
    }  # fmt: skip
    return {
        "names": NAMES, "least": {name: each.least for name, each in least.items()}, "full": FULL,
        "is": IS, "does": DOES,
        "notAudible": NOT_AUDIBLE, "toneNotAudible": TONE_NOT_AUDIBLE, "noSignal": NO_SIGNAL, "nothing": NOTHING,
        "soft": in_db(SOFT_V), "hard": in_db(HARD_V), "farthest": FARTHEST_DB, "faintest": FAINTEST_DB,
    }  # fmt: skip
