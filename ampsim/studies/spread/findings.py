"""What the spread of a run of amps says of a mod, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType

import pandas as pd
import xarray as xr

from ...base.wording import signed
from ...measures.percentiles import percentiles
from ..findings import Finding, Grade
from ..settings import once_per_setting
from . import TITLE
from .measures import LEVEL, TONE_BANDS, WHOLE, StandOut, band_levels, sample_gain_db

# A change below this [dB] in every part of the band is no change: our choice, below what meters and ears tell.
NOTHING_DB = 0.05
_HOW = "frequency sweeps of many amps"
_CRITERION = (
    "criterion of our own: the median change in a part of the band is more than 95 % of exchanges of all valves bring "
    "there; tolerances are common practice, no source; spread of valves as the notes say"
)
# Within so many standard errors of the limit the verdict could go the other way with other amps.
_CLEAR = 2.0
_NOTICED_DB = 1.0
_STEP_DB = 0.2  # a setting that moves no median by more does not matter
_LOST = "the mod does less than a change of valves; if it is meant for the tone, other valves do more"


def stand_out_table(rows: Sequence[StandOut]) -> pd.DataFrame:
    """What a mod does to each part of the band beside what a valve swap does there, a row to each [dB]."""
    return pd.DataFrame(
        {
            "position": row.position,
            "part of the band": band_words(row.band),
            "as drawn [dB]": row.drawn,
            "5 % [dB]": row.low,
            "median [dB]": row.median,
            "95 % [dB]": row.high,
            "error of median [dB]": row.error,
            "valve swap, 95 % [dB]": row.swap,
            "its error [dB]": row.swap_error,
            "told from another amp [%]": 100.0 * row.chance,
            "error [%]": 100.0 * row.chance_error,
        }
        for row in rows
    )


def band_words(band: str) -> str:
    """A part of the band with its frequencies."""
    low, high = WHOLE if band == LEVEL else TONE_BANDS[band]
    return f"{band}, {_hertz(low)} to {_hertz(high)}"


def _hertz(frequency: float) -> str:
    return f"{frequency / 1000.0:g} kHz" if frequency >= 1000.0 else f"{frequency:g} Hz"


def stand_out_findings(
    rows: Sequence[StandOut], variant: str, pictures: Mapping[str, str] = MappingProxyType({})
) -> list[Finding]:
    """Say for each position whether the mod stands out of a valve swap; the part of the band that shows it best counts.

    A part that hardly moves is none, however little a change of valves moves it.

    A mod that does not, or by less than two standard errors, is Grade.NEAR: nothing is harmed, but whoever means
    it for the tone should look again. A position where it changes nothing is fine if it changes something elsewhere.
    `pictures` names the picture of each position.
    """
    positions = dict.fromkeys(row.position for row in rows)
    by_position = [[row for row in rows if row.position == position] for position in positions]
    works = any(not _nothing(each) for each in by_position)
    return [_finding(each, variant, works, pictures.get(each[0].position, "")) for each in by_position]


def named_by_settings(findings: Sequence[Finding], rows: Sequence[StandOut], run: xr.Dataset) -> list[Finding]:
    """Findings of `stand_out_findings`, named by the settings that move a median; rows and run are theirs."""
    medians = [[row.median / _STEP_DB for row in rows if row.position == each.position] for each in findings]
    return once_per_setting(list(zip(findings, medians, strict=True)), run)


def _nothing(rows: Sequence[StandOut]) -> bool:
    return not any(map(_moves, rows))


def _moves(row: StandOut) -> bool:
    return max(abs(row.drawn), abs(row.median)) >= NOTHING_DB


def _finding(rows: Sequence[StandOut], variant: str, works: bool, picture: str) -> Finding:
    moved = [row for row in rows if _moves(row)] or rows
    clear = [row for row in moved if row.clearance >= _CLEAR]
    best = max(clear, key=lambda row: abs(row.median)) if clear else max(moved, key=lambda row: row.times)
    grade = Grade.FINE if best.clearance >= _CLEAR else Grade.NEAR
    words = f"{_verdict(best)}: {_change(best)}; {_swap(best)}. {_chance_words(best)}"
    if _nothing(rows):
        grade = Grade.FINE if works else Grade.NEAR
        words = (
            f"{_LOST if not works else 'the mod changes nothing at this position'}: every part of the band changes by "
            f"less than {NOTHING_DB:g} dB in the median amp"
        )
    limit = None if _nothing(rows) and works else best.swap
    how = f"{_HOW}, plain random sampling"
    return Finding(TITLE, "the mod against a valve swap", variant, best.position, abs(best.median), "dB", limit, grade,
                   words, how, _CRITERION, picture, least=True)  # fmt: skip


def _verdict(row: StandOut) -> str:
    if row.clearance >= _CLEAR:
        return f"the mod does {min(row.times, 99.0):.1f} times as much as a change of valves"
    if row.clearance > -_CLEAR:
        return "the mod does about as much as a change of valves: too close to call with so many amps"
    return _LOST


def _change(row: StandOut) -> str:
    low, median, high = (signed(each, 2) for each in (row.low, row.median, row.high))
    return (
        f"{band_words(row.band)}, {median} dB in the median amp (5 to 95 % of amps {low} to {high} dB, standard error "
        f"of the median {row.error:.2f} dB)"
    )


def _swap(row: StandOut) -> str:
    error = f"give or take {row.swap_error:.2f} dB"
    return f"in 95 of 100 changes of all valves it moves by less than {row.swap:.2f} dB ({error})"


def _chance_words(row: StandOut) -> str:
    side = "above" if row.median > 0.0 else "below"
    small = f" {_NOTICED_DB:g} dB is about the least that is noticed (common practice, no source)."
    return (
        f"A modded amp lies {side} another stock amp there in {100.0 * row.chance:.0f} of 100 pairs (give or "
        f"take {100.0 * row.chance_error:.0f}; 50 would be chance)."
        f"{small if abs(row.median) < _NOTICED_DB else ''}"
    )


def run_findings(run: xr.Dataset) -> list[Finding]:
    """Say for each variant and position how far the amps of a run lie apart in level; and how many failed."""
    found = percentiles(band_levels(sample_gain_db(run)).sel(band=LEVEL))
    said = []
    for number, variant in enumerate(found["variant"].values):
        for place, position in enumerate(found["position"].values):
            one = found.isel(variant=number, position=place)
            finding = _range_finding(one, str(variant), str(position), run.sizes["sample"])
            said.append((finding, [float(each) / _STEP_DB for each in one["percentile"]]))
    return [*once_per_setting(said, run), *failures(run)]


def _range_finding(found: xr.Dataset, variant: str, position: str, count: int) -> Finding:
    low, median, high = (float(each) for each in found["percentile"])
    error = max(float(each) for each in found["error"])
    amps = "stock amps" if variant == "stock" else f"amps with {variant}"
    words = (
        f"of {count} {amps} 90 % have {low:.1f} to {high:.1f} dB of gain, median {median:.1f} dB "
        f"(mean from 80 Hz to 6 kHz, standard errors up to {error:.2f} dB): {high - low:.1f} dB apart"
    )
    return Finding(TITLE, "gain of a run of amps", variant, position, high - low, "dB", None, Grade.FINE, words, _HOW,
                   "no limit: a figure to know before a single amp is measured")  # fmt: skip


def failures(run: xr.Dataset) -> Iterator[Finding]:
    """Say how many simulations of a run gave no answer, if any did not."""
    failed = int(run.attrs["failed"])
    if failed:
        words = f"{failed} simulations gave no answer and are left out; the first: {run.attrs['first_failure']}"
        yield Finding(TITLE, "simulations that failed", str(run["variant"].values[-1]), "all", float(failed), "1", 0.0,
                      Grade.UNKNOWN, words, _HOW, "")  # fmt: skip
