"""Renders that were made before, kept by content in one bounded folder.

A kept file is a line of JSON (what was counted, and a hash of everything) and then the volts. Nothing in it is trusted:
one that does not fit its own hash is as good as none and is written again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..base.errors import DescriptionError
from ..base.files import read_bounded, write_whole
from ..base.kept_files import drop_oldest

Volts = NDArray[np.float32]
MOST_BYTES = 300_000_000  # of all renders
_ONE_FILE, _HEAD = 40_000_000, 1000
_ENDING = ".volts"


@dataclass(frozen=True, eq=False)
class RenderedVolts:
    """One render: `volts`, shape (samples,), and how many samples were `repaired`, of all that were computed."""

    volts: Volts = field(repr=False)
    repaired: int
    computed: int


def fetch_stored(folder: Path, key: str) -> RenderedVolts | None:
    """What is kept under a key (64 hexadecimal digits); None when there is nothing, or nothing sound."""
    path = folder / f"{key}{_ENDING}"
    try:
        data = read_bounded(path, _ONE_FILE)
    except DescriptionError:
        return None
    found = _parse(data, key)
    if found is not None:
        # The one used last is dropped last.
        with contextlib.suppress(OSError):
            os.utime(path)
    return found


def store(folder: Path, key: str, kept: RenderedVolts, most: int = MOST_BYTES) -> None:
    """Keep a render, and drop those used longest ago; a folder that cannot be written is let be.

    Parameters
    ----------
    folder : Path
        Made when it is missing.
    key : str
        64 hexadecimal digits, of `case_key`.
    kept : RenderedVolts
    most : int
        Bytes that the whole folder may hold.
    """
    body = kept.volts.astype("<f4").tobytes()
    counted = {"repaired": kept.repaired, "computed": kept.computed}
    facts = {"sha256": _seal(key, kept.repaired, kept.computed, body), **counted}
    head = json.dumps(facts).encode() + b"\n"
    if len(head) + len(body) > min(_ONE_FILE, most):
        return
    with contextlib.suppress(DescriptionError):
        write_whole(folder / f"{key}{_ENDING}", head + body)
        drop_oldest(folder, _ENDING, most)


def _parse(data: bytes, key: str) -> RenderedVolts | None:
    head, line_end, body = data.partition(b"\n")
    if not line_end or len(head) > _HEAD or len(body) % 4 or not body:
        return None
    try:
        facts = json.loads(head)
        repaired, computed = int(facts["repaired"]), int(facts["computed"])
        if facts["sha256"] != _seal(key, repaired, computed, body):
            return None
    except (ValueError, KeyError, TypeError, OverflowError, RecursionError):
        return None
    volts = np.frombuffer(body, "<f4").astype(np.float32)
    sound = 0 <= repaired <= computed and bool(np.isfinite(volts).all())
    return RenderedVolts(volts, repaired, computed) if sound else None


def _seal(key: str, repaired: int, computed: int, body: bytes) -> str:
    return hashlib.sha256(f"{key} {repaired} {computed} ".encode() + body).hexdigest()
