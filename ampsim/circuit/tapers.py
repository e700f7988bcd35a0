"""Taper laws of potentiometers: which part of the track lies below the wiper."""

from __future__ import annotations

import math
import re

from ..base.errors import DescriptionError, nearest, shown

_MID_TRAVEL = {"linear": 0.5, "audio 10 %": 0.10, "audio 15 %": 0.15, "audio 20 %": 0.20}
TAPERS = (*_MID_TRAVEL, *(f"reverse {name}" for name in _MID_TRAVEL if name != "linear"))


# Letters on pots made today; older European ones had A for linear and B for audio.
_LETTERS = {"a": "audio 15 %", "b": "linear", "c": "reverse audio 10 %"}
_REVERSE = re.compile(r"(?:reversed?|rev|neg(?:ative)?|inverse|anti|-)[\s.-]*(?=audio|log|aud)")
_AUDIO = re.compile(r"\b(?:log(?:arithmic|arithmisch)?|aud)\b\.?")
_SHORT = re.compile(r"(?:a ?([0-9]{2})|([0-9]{2}) ?a)")


def parse_taper(text: object, where: str = "taper") -> str:
    """Return the taper's name in its one spelling: "audio" or "log" alone is the common 15 % law, "A15" says it too.

    A letter alone is read as on pots made today: A audio, B linear, C reverse audio.

    Raises
    ------
    DescriptionError
        For anything else than a taper's name.
    """
    if not isinstance(text, str):
        raise DescriptionError(f"{where}: {shown(text)} is not a taper{nearest(text, TAPERS)}")
    name = re.sub(r"\s*%", " %", " ".join(text.lower().split()))
    name = name.removesuffix(" taper")
    name = " ".join(_AUDIO.sub("audio", _REVERSE.sub("reverse ", name)).split())
    name = re.sub(r"^([0-9]{2}) % ((?:reverse )?audio)$", r"\2 \1 %", _SHORT.sub(r"audio \1\2 %", name, count=1))
    known = {"lin": "linear", "lin.": "linear", "audio": "audio 15 %", "reverse audio": "reverse audio 10 %"} | _LETTERS
    name = known.get(name, name)
    if name not in TAPERS:
        raise DescriptionError(f"{where}: {shown(text)} is not a taper{nearest(name, TAPERS)}")
    return name


def track_fraction(taper: str, rotation: float) -> float:
    """Fraction of the track below the wiper at a rotation.

    Parameters
    ----------
    taper : str
        One of `TAPERS`. "audio 10 %" means 10 % of the track at mid rotation (the makers' convention).
    rotation : float
        Fully anticlockwise 0, fully clockwise 1 [ratio].

    Returns
    -------
    float
        0 to 1 [ratio]. The audio laws are one exponential through 0, the stated mid value and 1; a real carbon track
        is usually two straight pieces and lies up to about 7 % of the track beside it.
    """
    base, reverse = track_law(taper)
    if base == 1.0:
        return rotation
    if reverse:
        return 1.0 - track_fraction(taper.removeprefix("reverse "), 1.0 - rotation)
    return float((base**rotation - 1.0) / (base - 1.0))


def track_law(taper: str) -> tuple[float, bool]:
    """The base b of a taper's law (b^rotation - 1) / (b - 1) [ratio], 1 for a linear one; and whether it is reversed.

    A reversed law counts rotation and track from the other end.
    """
    law = taper.removeprefix("reverse ")
    return (1.0 / _MID_TRAVEL[law] - 1.0) ** 2, law != taper


def rotation_of(taper: str, fraction: float) -> float:
    """Rotation [ratio] at which so much of the track [ratio] lies below the wiper: the inverse of `track_fraction`."""
    if taper == "linear":
        return fraction
    if taper.startswith("reverse "):
        return 1.0 - rotation_of(taper.removeprefix("reverse "), 1.0 - fraction)
    base = (1.0 / _MID_TRAVEL[taper] - 1.0) ** 2
    return min(1.0, math.log1p(fraction * (base - 1.0)) / math.log(base))
