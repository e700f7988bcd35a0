"""The player in a page that is one file: words and samples stand in it, and nothing is fetched."""

from __future__ import annotations

import base64
import json
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any

import numpy as np

from ...base.errors import DescriptionError
from ..clips import Clips, Sound
from .content import player_facts, player_script, player_style, sixteen_bit

MOST_EMBEDDED = 4_000_000  # characters that the sounds may add to a page
_RATES = (32_000, 24_000)  # samples a second: the first that fits
_BODY = """\
<div id="player">These positions can be heard on the screen, with JavaScript.</div>
<div class="ampsim-player" id="kept" hidden><label for="kept-line">The result as a line to keep, or to send to whom you
brought the amp:</label> <span class="row"><input id="kept-line" type="text" readonly>
<button type="button">Copy</button> <span role="status"></span></span></div>
<script type="application/json" id="sounds">{data}</script>
"""


@dataclass(frozen=True)
class Embedded:
    """What goes into a page: style sheet, body (a place for the player and the data), and the script that runs.

    `rate` is the samples a second that were kept, `size` the characters that the sounds take, `clips` what is heard.
    """

    style: str = field(repr=False)
    body: str = field(repr=False)
    script: str = field(repr=False)
    rate: int
    size: int
    clips: Clips = field(repr=False, compare=False)


def embed(clips: Clips, most: int = MOST_EMBEDDED) -> Embedded:
    """Make the player part of a page: 16 bit samples in base 64, which every browser can read without a decoder.

    Sounds are kept at 32,000 samples a second (to 14 kHz), or at 24,000 (to 10.5 kHz) where that is too large.

    `most` is how many characters the sounds may add.

    Raises
    ------
    DescriptionError
        When the sounds would take more.
    """
    for rate in (each for each in _RATES if each <= clips.rate or each == _RATES[-1]):
        if _size(clips, rate) <= most:
            return _embed(clips, rate)
    raise DescriptionError(
        f"{len(clips)} clips of {clips.seconds:.1f} s take {_size(clips, _RATES[-1]) / 1e6:.1f} MB on a page; at most "
        f"{most / 1e6:g} MB are kept there: take fewer positions or a shorter phrase"
    )


def _size(clips: Clips, rate: int) -> int:
    return len(clips) * 4 * -(-2 * round(clips.seconds * rate) // 3)


def _embed(clips: Clips, rate: int) -> Embedded:
    kept = clips.rate if clips.rate <= rate else rate
    rows = [base64.b64encode(sixteen_bit(row)).decode() for row in _at_rate(clips, kept)]
    told = player_facts(clips)
    told["scope"] += f"\nOn this page sounds reach up to {0.44 * kept / 1000.0:.1f} kHz."
    data = json_text({"facts": told, "rate": kept, "rows": rows})
    start = (files(__package__) / "embedded.js").read_text("utf-8")
    return Embedded(
        player_style(), _BODY.format(data=data), f"{player_script()}{start}", kept, sum(map(len, rows)), clips
    )


def _at_rate(clips: Clips, rate: int) -> list[Sound]:
    """All clips at a lower rate; turned down together where the filter would push one beyond full scale."""
    # Loaded late: a moment that nobody waits for who writes no page.
    from scipy.signal import resample_poly

    if rate == clips.rate:
        return [clip.samples for clip in clips]
    common = int(np.gcd(rate, clips.rate))
    rows = [resample_poly(clip.samples.astype(float), rate // common, clips.rate // common) for clip in clips]
    most = max(1.0, *(float(np.abs(row).max()) for row in rows))
    return [(row / most).astype(np.float32) for row in rows]


def json_text(data: Any) -> str:
    """JSON that cannot end the element it stands in."""
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=True)
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")
