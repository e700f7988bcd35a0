"""Positions in which several of a mod's controls meet: all of them where they are few, else enough for every pair."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..circuit.amp import Amp
from ..circuit.build import SPEAKER
from ..circuit.positions import Position, position_label
from ..simulation.analyses import FrequencySweep
from ..simulation.facts import put
from ..simulation.response import simulate
from .findings import Finding
from .section import Examination
from .settings import COMBINED

MOST = 64
"""As many combinations are looked at, all of them; of more so few that every pair of settings is met."""
_ENDS = (0.0, 1.0)
_LOUDER_DB = 1.0  # less than this louder than with fewer settings a combination is not played
_LOUD = FrequencySweep(80.0, 1010.0, 10)
"""Where the loudest is looked for: every topic asks at some frequencies of its own in between."""
Setting = dict[str, float | str]
_Pair = tuple[tuple[int, float | str], tuple[int, float | str]]


def combined_positions(amp: Amp, names: Sequence[str]) -> list[Setting]:
    """Positions in which two or more of some controls stand elsewhere than drawn: switches anywhere, knobs at an end.

    Parameters
    ----------
    amp : Amp
    names : sequence of str
        Its controls that meet.
    """
    controls = [amp.controls[name] for name in names]
    ranges: list[Sequence[float | str]] = [each.positions if each.kind == "switch" else _ENDS for each in controls]
    whole = math.prod(map(len, ranges)) <= MOST
    rows = itertools.product(*ranges) if whole else covering(ranges)
    moved = [{each.name: value for each, value in zip(controls, row, strict=True) if value != each.drawn}
             for row in rows]  # fmt: skip
    return [each for place, each in enumerate(moved) if len(each) > 1 and each not in moved[:place]]


def covering(ranges: Sequence[Sequence[float | str]]) -> Iterator[tuple[float | str, ...]]:
    """Rows, one value from each range, in which every pair of values of two ranges is met; two ranges at least.

    Each row begins with the first pair that is still missing; the other values are those that bring most of them
    (a greedy choice: not the fewest rows there are).
    """
    numbered = [[(number, value) for value in values] for number, values in enumerate(ranges)]
    missing: dict[_Pair, None] = {
        pair: None for one, other in itertools.combinations(numbered, 2) for pair in itertools.product(one, other)
    }
    while missing:
        row = dict(next(iter(missing)))
        for number, values in enumerate(numbered):
            if number not in row:
                row[number] = max(values, key=lambda each: sum(pair in missing for pair in _pairs(each, row)))[1]
        for pair in itertools.combinations(sorted(row.items()), 2):
            missing.pop(pair, None)
        yield tuple(row[number] for number in range(len(ranges)))


def _pairs(value: tuple[int, float | str], row: dict[int, float | str]) -> Iterator[_Pair]:
    for other in row.items():
        yield (value, other) if value[0] < other[0] else (other, value)


def with_fewer_settings(positions: Iterable[Position]) -> list[Setting]:
    """Positions, and after them each without one of its settings: a finding can then name the one that makes it."""
    found = [dict(position) for position in positions]
    for position in list(found):
        fewer = [{name: value for name, value in position.items() if name != left} for left in position]
        found += [each for each in fewer if each not in found]
    return found


def with_loudest(examined: Examination, *hertz: float) -> Examination:
    """What is examined, of the combinations only those that are louder than all else at a frequency; none without.

    What is played in time takes long: of all combinations it is the loudest that clips first and blocks longest.

    Parameters
    ----------
    examined : Examination
    *hertz : float
        Frequencies, at each of which one may be loudest [Hz], within those of `_LOUD`.
    """
    alone = replace(examined, combined=())
    if not examined.combined:
        return alone
    frequencies, levels = _levels_db(examined.modded, tuple(tuple(each.items()) for each in examined.every))
    chosen: dict[int, None] = {}
    for each in hertz:
        level = np.array([np.interp(np.log(each), np.log(frequencies), row) for row in levels])
        loudest = int(np.argmax(level))
        if level[loudest] >= level[: len(examined.positions)].max() + _LOUDER_DB:
            chosen[loudest] = None
    return replace(examined, combined=tuple(examined.every[each] for each in chosen))


@lru_cache(maxsize=32)  # several topics ask for the same
def _levels_db(
    amp: Amp, positions: tuple[tuple[tuple[str, float | str], ...], ...]
) -> tuple[NDArray[Any], NDArray[Any]]:
    """Frequencies [Hz], and what 1 V at the source makes at the speaker [dB V], at each position at each of them."""
    volts = simulate(amp, _LOUD, list(map(dict, positions)), [SPEAKER])["voltage"]
    found = volts.isel(variant=0, node=0).values
    return volts["frequency"].values, 20.0 * np.log10(np.maximum(np.abs(found), 1e-12))


def where_it_tells(examined: Examination, findings: Iterable[Finding]) -> Examination | None:
    """What to examine besides so that findings at a combination name the settings that make them; None without such.

    That is each combination of `with_loudest` with each of its settings left out.
    """
    told = {each.position for each in findings}
    if not any(position_label(each) in told for each in examined.combined):
        return None
    more = [each for each in with_fewer_settings(examined.combined) if each not in examined.positions]
    return replace(examined, combined=tuple(more)) if len(more) > len(examined.combined) else None


def combined_labels(examined: Examination) -> dict[str, str]:
    """What a response says of the positions in which several controls meet."""
    return put(COMBINED, [position_label(each) for each in examined.combined])
