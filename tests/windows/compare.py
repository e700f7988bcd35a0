"""What Windows gives beside what Linux gives: numbers, texts, pictures."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

_NUMBER = re.compile(r"-?\d+\.?\d*(?:e-?\d+)?")
# The name of a picture's elements follows from all of its content.
_OWN_NAME = re.compile(r"ampsim-[0-9a-f]{10}")

Numbers = Mapping[str, NDArray[Any]]


@dataclass(frozen=True)
class Differences:
    """The largest differences: of sweeps [dB], operating points [V], transients [%]."""

    sweep: float
    rest: float
    time: float

    def __str__(self) -> str:
        return f"sweeps {self.sweep:.1e} dB, operating points {self.rest:.1e} V, transients {self.time:.2g} % rms"


def differences(ours: Numbers, theirs: Numbers) -> Differences:
    """Return the largest differences of numbers as `tests.windows.numbers` gives them; infinite where any is missing.

    A transient's is the difference's rms over that of what the signal does about its mean.
    """
    measures = {"sweep": _decibels, "rest": _volts, "time": _percent}
    worst = dict.fromkeys(measures, 0.0)
    for name in ours.keys() | theirs.keys():
        kind = name.split()[0]
        same = name in ours and name in theirs and ours[name].shape == theirs[name].shape
        found = measures[kind](ours[name], theirs[name]) if same else np.inf
        # What is no number is no agreement either.
        worst[kind] = max(worst[kind], found if np.isfinite(found) else np.inf)
    return Differences(**worst)


def _decibels(ours: NDArray[Any], theirs: NDArray[Any]) -> float:
    return float(np.abs(20.0 * np.log10(np.abs(ours / theirs))).max())


def _volts(ours: NDArray[Any], theirs: NDArray[Any]) -> float:
    return float(np.abs(ours - theirs).max())


def _percent(ours: NDArray[Any], theirs: NDArray[Any]) -> float:
    off = np.std(ours - theirs, axis=-1)
    return float(100.0 * (off / np.std(ours, axis=-1)).max())


def unlike_lines(ours: str, theirs: str) -> int:
    """Count the lines of two texts that are not the same."""
    pairs = zip(ours.splitlines(), theirs.splitlines(), strict=False)
    return sum(one != other for one, other in pairs) + abs(len(ours.splitlines()) - len(theirs.splitlines()))


def unlike_pictures(ours: Path, theirs: Path) -> Iterator[str]:
    """Yield a line for each SVG of two folders that differs: by how much its numbers do, or that it is another."""
    for name in sorted({file.name for folder in (ours, theirs) for file in folder.glob("*.svg")}):
        if not ((ours / name).is_file() and (theirs / name).is_file()):
            yield f"{name}: only one system wrote it"
            continue
        one, other = ((folder / name).read_text("utf-8") for folder in (ours, theirs))
        if one != other:
            yield f"{name}: {_unlike(one, other)}"


def _unlike(one: str, other: str) -> str:
    one, other = (_OWN_NAME.sub("", text) for text in (one, other))
    if _NUMBER.sub("0", one) != _NUMBER.sub("0", other):
        return "not the same elements"
    numbers = (np.array(_NUMBER.findall(text), dtype=float) for text in (one, other))
    return f"the same elements, numbers up to {float(np.abs(np.subtract(*numbers)).max()):.2g} apart"
