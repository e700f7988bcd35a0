"""The numbers of `reasons.why` in sentences for a customer."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from ...base.errors import DescriptionError, shown
from ...base.wording import join_words
from ...circuit.positions import face
from ...measures.loudness import NO_CONE, NOTICED_ACUM, NOTICED_DB, Array

_ACUM = (
    "Acum is the measure of sharpness, how bright a sound is: a hiss around 1 kHz has 1 acum, a hiss around 4 kHz "
    "nearly 3."
)


def brightness_sentences(answer: xr.Dataset, frequency: float = 3000.0, name: str = "the modded position") -> list[str]:
    """Say why a position sounds brighter or duller, and what the figures do not cover.

    Parameters
    ----------
    answer : xarray.Dataset
        From `reasons.why`.
    frequency : float
        Where the difference in dB is told [Hz].
    name : str
        What the position is called: "the middle position".

    Returns
    -------
    list of str
        Shares are rounded so that they still add up to the rounded whole; each is within one last digit of the
        computed number. A difference below what listeners notice is called that, and no knob is named against it.

    Raises
    ------
    DescriptionError
        For a frequency outside the sweep.
    """
    sharper = float(answer["sharper"])
    noticed = abs(sharper) >= NOTICED_ACUM
    said = [_headline(answer, name, noticed), _ACUM, _turned_to_match(float(answer["offset"]))]
    if noticed:
        said.append(_of_sharpness(answer))
    said.append(_at_frequency(answer, frequency, name))
    if noticed and "half_at" in answer:
        said.append(_half(answer))
    return [*said, limits_sentence(answer.attrs)]


def knob_sentence(answer: xr.Dataset) -> str:
    """Where the amp's own knob takes half of it away; "" where it is not noticed or no knob was asked for."""
    return _half(answer) if abs(float(answer["sharper"])) >= NOTICED_ACUM and "half_at" in answer else ""


def _headline(answer: xr.Dataset, name: str, noticed: bool) -> str:
    sharper, after = float(answer["sharper"]), round(float(answer["sharpness"].values[-1]), 2)
    # The first figure follows from the two others as they are printed, so that a reader's sum comes out.
    size = f"by {abs(sharper):.2f} acum ({after:.2f} against {after - round(sharper, 2):.2f})"
    first = f"{name[:1].upper()}{name[1:]}"
    if round(sharper, 2) == 0.0:
        return f"{first} is as bright as the other at equal loudness: {after:.2f} acum."
    least = f"{NOTICED_ACUM:.2f} acum that listeners could just tell apart in a published test with machine noise"
    if noticed:
        told = f"{first} sounds {_brighter(sharper)} at equal loudness, {size}"
        return f"{told}; the least to be noticed is about the {least}."
    told = f"Hardly anyone will hear {name} as {_brighter(sharper)}"
    return f"{told}: at equal loudness it is so {size}, less than the {least}."


def _brighter(sharper: float) -> str:
    return "brighter" if sharper >= 0.0 else "duller"


def _turned_to_match(offset: float) -> str:
    if abs(offset) < 0.05:
        return "Both are equally loud as they stand."
    way, than = ("down", "louder") if offset < 0.0 else ("up", "softer")
    return (
        f"For that it was turned {way} by {abs(offset):.1f} dB: it is {than} as it stands, "
        "and ears take louder for better."
    )


def _of_sharpness(answer: xr.Dataset) -> str:
    sharper = float(answer["sharper"])
    shares = _shares(sharper, [float(share) for share in answer["sharper_share"].values], 2)
    more, less = ("brighter", "duller") if sharper >= 0.0 else ("duller", "brighter")
    if min(shares) < 0.0:
        return f"The changes work both ways: {_both_ways(shares, _words(answer), 'acum', 2, (more, less))}."
    alone = _only(shares, _words(answer))
    if alone:
        return f"All {abs(sharper):.2f} acum come from {alone}."
    return f"Of the {abs(sharper):.2f} acum, {_list(shares, _words(answer), 'acum', 2)}."


def _words(answer: xr.Dataset) -> list[str]:
    return [str(words) for words in answer["words"].values]


def _at_frequency(answer: xr.Dataset, frequency: float, name: str) -> str:
    grid = answer["frequency"].values
    if not grid[0] <= frequency <= grid[-1]:
        raise DescriptionError(f"{shown(frequency)} Hz lies outside the sweep, {grid[0]:g} to {grid[-1]:g} Hz")
    at = f"{frequency / 1e3:g} kHz" if frequency >= 1e3 else f"{frequency:g} Hz"
    total = _value_at(answer["difference"].values, grid, frequency)
    parts = [_value_at(row, grid, frequency) for row in answer["share"].values]
    more = "more" if total >= 0.0 else "less"
    if round(total, 1) == 0.0:
        return f"At {at} there is then no difference."
    if abs(total) < NOTICED_DB:
        return (
            f"At {at} it then has {abs(total):.1f} dB {more}; under {NOTICED_DB:g} dB is hardly noticed "
            "(common practice, no source)."
        )
    shares = _shares(total, parts, 1)
    if min(shares) < 0.0:
        ways = ("more", "less") if total >= 0.0 else ("less", "more")
        return f"At {at} it then has {abs(total):.1f} dB {more}: {_both_ways(shares, _words(answer), 'dB', 1, ways)}."
    alone = _only(shares, _words(answer))
    if alone:
        return f"All {abs(total):.1f} dB that it then has {more} at {at} come from {alone}."
    return f"Of the {abs(total):.1f} dB that it then has {more} at {at}, {_list(shares, _words(answer), 'dB', 1)}."


def _value_at(row: Array, grid: Array, frequency: float) -> float:
    return float(np.interp(np.log(frequency), np.log(grid), row))


def _shares(total: float, shares: Sequence[float], digits: int) -> list[float]:
    """Shares counted in the direction of the total, rounded so that they add up to the rounded total.

    Largest remainder method: all are rounded down, and the missing last digits go to those cut most.
    """
    sign, unit = math.copysign(1.0, total), 10.0**digits
    exact = [sign * float(share) * unit for share in shares]
    floors = [math.floor(share) for share in exact]
    missing = int(f"{abs(total):.{digits}f}".replace(".", "")) - sum(floors)
    cut_most = sorted(range(len(exact)), key=lambda place: floors[place] - exact[place])
    for place in range(missing):
        floors[cut_most[place % len(exact)]] += 1
    return [count / unit for count in floors]


def _only(shares: Sequence[float], words: Sequence[str]) -> str:
    """What alone has a share that is not nothing; "" where there are several."""
    telling = [word for share, word in zip(shares, words, strict=True) if share != 0.0]
    return telling[0] if len(telling) == 1 else ""


def _list(shares: Sequence[float], words: Sequence[str], unit: str, digits: int) -> str:
    """Shares of which none works against the others, largest first: "2.1 dB come from ... and 1.3 dB from ..."."""
    pairs = sorted(zip(shares, words, strict=True), key=lambda pair: -pair[0])
    pairs = [pair for pair in pairs if pair[0] != 0.0]
    gives = [f"{share:.{digits}f} {unit} from {word}" for share, word in pairs]
    return join_words(gives).replace(f" {unit} from ", f" {unit} come from ", 1)


def _both_ways(shares: Sequence[float], words: Sequence[str], unit: str, digits: int, ways: tuple[str, str]) -> str:
    """Shares of which some work against the others: "2.1 dB more from ... and 0.3 dB less from ...".

    Parameters
    ----------
    shares : sequence of float
        In the direction of the total [unit], rounded.
    words : sequence of str
        Whose they are.
    unit : str
    digits : int
        After the point.
    ways : (str, str)
        What a share does that is above nothing, and one below.
    """
    pairs = sorted(zip(shares, words, strict=True), key=lambda pair: -pair[0])
    gives = [f"{share:.{digits}f} {unit} {ways[0]} from {word}" for share, word in pairs if share > 0.0]
    takes = [f"{-share:.{digits}f} {unit} {ways[1]} from {word}" for share, word in reversed(pairs) if share < 0.0]
    return join_words([*gives, *takes])


def _half(answer: xr.Dataset) -> str:
    knob, half, now = str(answer["knob"].values), float(answer["half_at"]), float(answer["now_at"])
    if math.isnan(half):
        return f"No setting of {knob} takes half of it away."
    way = "up" if half > now else "down"
    left = abs(float(np.interp(half, answer["rotation"].values, answer["turned_sharper"].values)))
    turn = f"Turn {knob} {way} from {face(now)} to {face(round(half, 2))}"
    return f"{turn} and half of it is gone: {left:.2f} acum are left."


def limits_sentence(facts: Mapping[str, Any]) -> str:
    """What figures of brightness and loudness do not cover; `facts`: of `measures.loudness.listening_facts`."""
    cone = str(facts["roll_off"])
    stand_in = "nothing stands for the cone" if cone == NO_CONE else f"a plain fall of {cone} stands for the cone"
    return (
        f"Computed for soft, clean playing of all notes of a guitar, heard at {facts['level_db']:g} dB, at the "
        f"loudspeaker terminals; {stand_in}. Room, cabinet, the cone itself, microphone, playing dynamics and "
        "distortion are not in it."
    )
