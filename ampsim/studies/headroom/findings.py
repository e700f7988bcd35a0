"""What is said of a mod's headroom, against the stock amp."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from typing import Any

import pandas as pd
import xarray as xr

from ...base.wording import in_volts, in_watts
from ...measures.labels import records
from ...measures.waveforms import stimulus
from ..findings import Finding, Grade, grade_above
from ..settings import once_per_setting
from . import TITLE
from .measures import MOST_POWER, WHOLE, clipping_table, distortion_column, power_column, power_table
from .purpose import graded_by_purpose

LOST_DB = (-2.0, -6.0)
"""Volts at the speaker where the first stage clips, against stock: near the limit and beyond it. Half the volts."""
POWER_DB = (-1.0, -3.0)
"""Power against stock: near the limit and beyond it. Half the power; 1 dB is about as little as is heard."""
TOLD_DB = 0.5
"""Power that moves by less is told in one sentence with the clipping."""
CLEAN = 5.0
_SAME = 0.05  # dB
_STEP_DB = 0.2  # a setting that moves no figure by more does not matter
_TINY = 1e-9  # V, what a stage that clips at every level clips at
OWN = "limit: our own, no source"


def headroom_findings(response: xr.Dataset, picture: str = "") -> list[Finding]:
    """Headroom of every variant but the first, against the first, at every position.

    `response`: of `ampsim.studies.headroom.simulate.headroom`, the stock amp first. `picture`: name of the picture
    that shows it.

    Returns
    -------
    list of Finding
        To each setting that matters: which stage clips first, graded by the volts at the speaker when it does
        (`LOST_DB`): what a mod adds in gain it may take in level. Power at 5 % distortion and greatest power
        (`POWER_DB`) where they moved. Losses are graded as `purpose.graded_by_purpose` says.
    """
    clips, power = clipping_table(response), power_table(response)
    stock = str(response["variant"].values[0])
    span = float(response["level"].values[0]), float(response["level"].values[-1])
    how = (
        f"a sine of {stimulus(response).frequency:g} Hz at levels from {in_volts(span[0])} to {in_volts(span[1])} "
        f"peak {response.attrs['source']}"
    )
    found, starved = [], set()
    for variant, position in itertools.product(response["variant"].values[1:], response["position"].values):
        both = [_at(power, name, str(position)) for name in (stock, str(variant))]
        firsts = [_first(clips, name, str(position)) for name in (stock, str(variant))]
        clipping = _clipping(firsts, both, span, str(response.attrs["source"]))
        if firsts[1]["stage"] not in (firsts[0]["stage"], _last(clips, str(variant), str(position))):
            starved.add((str(variant), str(position)))
        powers = list(_powers(both))
        told = [each for each in powers if abs(each[1]) >= TOLD_DB or each[4] != Grade.FINE]
        if told != powers:
            clipping = (*clipping[:-1], "; ".join([clipping[-1], *(each[-1] for each in powers if each not in told)]))
        clips_db = 20.0 * math.log10(max(firsts[1]["clips at [V]"], _TINY))
        figures = {clipping[0]: (clipping[1], _gained(both), clips_db)}
        for subject, value, unit, limit, grade, words in (clipping, *told):
            finding = Finding(TITLE, subject, str(variant), str(position), value, unit, limit, grade, f"{words}.", how,
                              OWN, picture, least=True)  # fmt: skip
            found.append((finding, tuple(each / _STEP_DB for each in figures.get(subject, (value,)))))
    return once_per_setting(graded_by_purpose(found, starved, response), response)


_Facts = tuple[str, float, str, float | None, Grade, str]


def _gained(both: list[dict[str, Any]]) -> float:
    return float(both[1]["gain [dB]"] - both[0]["gain [dB]"])


def _first(clips: pd.DataFrame, variant: str, position: str) -> dict[str, Any]:
    """The stage that clips first."""
    here = clips[(clips["variant"] == variant) & (clips["position"] == position) & (clips["stage"] != WHOLE)]
    return min(records(here), key=lambda row: float(row["clips at [V]"]))


def _last(clips: pd.DataFrame, variant: str, position: str) -> str:
    """The last stage, which drives the loudspeaker."""
    here = clips[(clips["variant"] == variant) & (clips["position"] == position) & (clips["stage"] != WHOLE)]
    return str(here["stage"].iloc[-1])


def _at(table: pd.DataFrame, variant: str, position: str) -> dict[str, Any]:
    return records(table[(table["variant"] == variant) & (table["position"] == position)])[0]


def _clipping(
    firsts: list[dict[str, Any]], gains: list[dict[str, Any]], span: tuple[float, float], source: str
) -> _Facts:
    levels = [float(row["clips at [V]"]) for row in firsts]
    moved = [20.0 * math.log10(min(max(level, span[0]), span[1])) for level in levels]
    gain = _gained(gains)
    earlier, lost = moved[1] - moved[0], moved[1] - moved[0] + gain
    if levels[1] == math.inf:
        return (
            "first stage to clip",
            math.nan,
            "dB",
            None,
            Grade.FINE,
            f"no stage clips up to {in_volts(span[1])} {source}",
        )
    how = f" ({firsts[1]['how']})" if firsts[1]["how"] else ""
    words = f"the {firsts[1]['stage']} clips first, {_level_words(levels[1], span)} peak {source}{how}"
    if max(abs(earlier), abs(gain)) < _SAME:
        words += ", as in the stock amp"
    else:
        words += (
            f"; stock: {_stock_words(firsts, levels, span)}. That is {_shift_words(earlier, 'earlier', 'later')}, with "
            f"{_shift_words(gain, 'less', 'more')} gain, so the speaker has "
            f"{_shift_words(lost, 'less', 'more')} when it begins"
        )
    grade = grade_above(lost, LOST_DB[1], LOST_DB[0])
    return ("first stage to clip", lost, "dB", LOST_DB[1], grade, words)


def _stock_words(firsts: list[dict[str, Any]], levels: list[float], span: tuple[float, float]) -> str:
    """What the stock amp does."""
    if levels[0] == math.inf:
        return f"no stage clips up to {in_volts(span[1])}"
    same = firsts[0]["stage"] == firsts[1]["stage"]
    return f"{'the same stage' if same else 'the ' + firsts[0]['stage']} {_level_words(levels[0], span)}"


def _powers(both: list[dict[str, Any]]) -> Iterator[_Facts]:
    level, watts = distortion_column(CLEAN), power_column(CLEAN)
    subject = f"power at {CLEAN:g} % distortion"
    if math.isfinite(both[0][watts]) and math.isfinite(both[1][watts]):
        yield _power(subject, both[0][watts], both[1][watts])
    elif math.isfinite(both[0][watts]) and both[1][level] == 0.0:
        words = f"more than {CLEAN:g} % distortion at every level; stock: {in_watts(both[0][watts])} at {CLEAN:g} %"
        yield (subject, math.nan, "dB", POWER_DB[1], Grade.BEYOND, words)
    if math.isfinite(both[0][MOST_POWER]) and math.isfinite(both[1][MOST_POWER]):
        yield _power("greatest power", both[0][MOST_POWER], both[1][MOST_POWER])


def _power(subject: str, stock: float, modded: float) -> _Facts:
    change = 10.0 * math.log10(modded / stock) if min(stock, modded) > 0.0 else math.nan
    told = "as stock" if abs(change) < _SAME else f"stock: {in_watts(stock)}, {_shift_words(change, 'less', 'more')}"
    words = f"{subject} {in_watts(modded)} ({told})"
    return (subject, change, "dB", POWER_DB[1], grade_above(change, POWER_DB[1], POWER_DB[0]), words)


def _level_words(level: float, span: tuple[float, float]) -> str:
    return f"already below {in_volts(span[0])}" if level == 0.0 else f"at {in_volts(level)}"


def _shift_words(change: float, down: str, up: str) -> str:
    if math.isnan(change):
        return Grade.UNKNOWN
    return f"{abs(change):.1f} dB {down if change < 0.0 else up}"
