"""Headroom: which stage clips first with the mod, and what clean and full power become."""

from __future__ import annotations

import pandas as pd
import xarray as xr

from ...base.progress import Progress
from ...base.wording import in_hertz, in_volts
from ...measures.law_bands import band_words, with_likely
from ...measures.waveforms import stimulus
from ...simulation.facts import get
from ..agreement import agreement_findings, agreement_of, agreement_words
from ..combinations import combined_labels, where_it_tells, with_loudest
from ..findings import Finding
from ..rows import without_repeats, worst_position
from ..section import Examination, Section
from . import TITLE
from .distortion_picture import distortion_picture
from .findings import headroom_findings
from .level_axis import level_words
from .measures import (
    CLEAN_PERCENT,
    LOAD_OHM,
    MOST_POWER,
    POWER_ORDERS,
    clipping_table,
    distortion_column,
    harmonics_table,
    power_column,
    power_table,
)
from .mismatch import mismatch_words
from .picture import compression_picture, harmonics_over_level_picture
from .simulate import FAILED, TONE, headroom
from .unplayed import unplayed_findings


def section(examined: Examination, progress: Progress | None = None) -> Section:
    """Play both amps a sine at rising levels, and say what clips when."""
    played = with_loudest(examined, TONE.frequency)
    response, findings = _played(played, progress)
    if closer := where_it_tells(played, findings):
        response, findings = _played(closer, progress)
    position = worst_position(findings, response)
    modded = str(response["variant"].values[-1])
    agreement = agreement_of(response)
    return Section(
        title=TITLE,
        findings=(
            *findings,
            *unplayed_findings(examined.stock, examined.modded),
            *agreement_findings(agreement, TITLE, modded),
        ),
        tables={
            "power": _power(response),
            "where stages clip": _clips(response),
            f"harmonics at the speaker, {modded}, {position}": _harmonics(response, modded, position),
        },
        pictures={
            "headroom": compression_picture(response, position),
            "distortion over level": distortion_picture(response, position),
            "harmonics over level": harmonics_over_level_picture(response, position),
        },
        notes=(*_pair(examined, response), *_notes(response)),
    )


def _pair(examined: Examination, response: xr.Dataset) -> tuple[str, ...]:
    """Of an amp that is looked at alone: what its output pair does when it is not matched."""
    alone = len(examined.variants) == 1 and len(examined.positions) == 1
    return mismatch_words(examined.stock, examined.positions[0], response) if alone else ()


def _played(examined: Examination, progress: Progress | None) -> tuple[xr.Dataset, list[Finding]]:
    response = headroom(examined.variants, examined.every, progress=progress).assign_attrs(combined_labels(examined))
    return response, headroom_findings(response, "headroom")


def _power(response: xr.Dataset) -> pd.DataFrame:
    table = without_repeats(power_table(response))
    for percent in CLEAN_PERCENT:
        table[distortion_column(percent)] = [
            level_words(level, response) for level in table[distortion_column(percent)]
        ]
    for watts in (MOST_POWER, *map(power_column, CLEAN_PERCENT)):
        table[watts] = [with_likely("watts", float(each)) or "–" for each in table[watts]]
    shorter = {distortion_column(percent): f"{percent:g} % THD at" for percent in CLEAN_PERCENT}
    return table.rename(
        columns=shorter | {power_column(percent): f"power at {percent:g} % [W]" for percent in CLEAN_PERCENT}
    )


def _clips(response: xr.Dataset) -> pd.DataFrame:
    """Levels by stage, a column to each variant and position, in words."""
    table = clipping_table(response)
    table["told"] = [
        level_words(level, response) + (f", {how}" if how else "")
        for level, how in zip(table["clips at [V]"], table["how"], strict=True)
    ]
    wide = table.pivot_table(index=["variant", "position"], columns="stage", values="told", aggfunc="first", sort=False)
    return without_repeats(wide.reset_index().rename_axis(columns=None))


def _harmonics(response: xr.Dataset, variant: str, position: str) -> pd.DataFrame:
    table = harmonics_table(response, variant, position)
    words = {
        "level [V]": [in_volts(level) for level in table["level [V]"]],
        "THD [%]": [with_likely("distortion", float(each)) for each in table["THD [%]"]],
    }
    return table.assign(**words).rename(columns={"level [V]": "level"})


def _notes(response: xr.Dataset) -> tuple[str, ...]:
    facts = stimulus(response)
    every = (ohms for at in get(response, LOAD_OHM).values() for ohms in at.values())
    loads = dict.fromkeys(ohms[0] for ohms in every if ohms)
    found = [
        f"Levels are peak volts {response.attrs['source']} of a sine of {in_hertz(facts.frequency)}, "
        f"{1e3 * facts.settle:.0f} ms after it starts. A stage clips where the fundamental between the stage before "
        "and its own output is down by 1 dB against a small signal, counted from its own grids inside a feedback loop. "
        "Levels are within 0.5 dB of a ladder in steps of 1 dB, power at a level within 0.1 dB; beyond clipping bias "
        "goes on moving, which moves harmonics by a dB or two.",
        band_words("gain", "watts", "distortion"),
        "Headroom has no published limit. Our own: 2 and 6 dB less at the speaker when the first stage clips, 1 and 3 "
        "dB less power. A rail given in volts is as stiff as drawn, with a rectifier's sag as far as the drawing "
        "has a resistor for it; a rail from a supply of the drawing sags as that supply does.",
    ]  # fmt: skip
    if loads:
        found.append(
            "Power is the mean of volts times amperes in the drawn load, harmonic by harmonic up to the "
            f"{POWER_ORDERS}th: at this frequency it takes as much as {' or '.join(f'{ohm:.3g}' for ohm in loads)} ohm."
        )
    found.append(agreement_words(agreement_of(response)))
    failed = get(response, FAILED)
    return (*found, f"Without an answer, and left out: {'; '.join(failed)}.") if failed else tuple(found)
