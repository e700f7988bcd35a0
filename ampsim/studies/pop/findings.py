"""What is said of the pop of a switch: its size beside known things, what makes it, what would lessen it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

import pandas as pd
import xarray as xr

from ...base.wording import in_volts
from ..findings import Finding, Grade, grade_below
from ..settings import in_steps, once_per_setting
from . import TITLE
from .measures import (
    AUDIBLE_W,
    HELPS,
    LENGTH,
    LOUD_W,
    PEAK,
    SILENT_V,
    Row,
    first_remedy,
    loud_v,
    pop_table,
    possible_rows,
)
from .words import cause_words, known_words, remedy_words

_LISTENED = 280.0  # ms; a pop that is longer may not have ended with the response
_AS_LOUD = 1.05  # times a pop of the stock amp: no louder
_IN_STOCK = "the same in the stock amp"
_CELL = ("variant", "position", "control")
_SOURCE = (
    "own thresholds: beyond the limit what is louder than the peak of a sine of 1 W in the loudspeaker's nominal load "
    "(2 P R under a root, definition) and a resistor would cure; near it what is as loud and louder than what the amp "
    "does by itself. From a tenth of that power on a pop counts as heard"
)


def pop_findings(
    response: xr.Dataset, picture: str = "", own: Mapping[str, float] = MappingProxyType({})
) -> list[Finding]:
    """A finding to each variant, switch and setting that matters for it: its loudest pop as it is, and what helps.

    Parameters
    ----------
    response : xarray.Dataset
        Of `ampsim.studies.pop.simulate.pop`.
    picture : str
        Name of the picture that shows it.
    own : mapping
        The switches of the stock amp by control, and how loud they pop in it [V].

    Returns
    -------
    list of Finding
        Value: the peak [V] without its sign; limit: the peak of a sine of 1 W in the nominal load. A pop of a valve
        that is biased anew is usual and near the limit at most, as is one that is no louder than of the same switch
        in the stock amp; beyond it is what a bleed would cure.

    Raises
    ------
    DescriptionError
        For another kind of response.
    """
    table = pop_table(response)
    found = []
    for cell, rows in table.groupby(list(_CELL), sort=False):
        labels = dict(zip(_CELL, map(str, cell), strict=True))
        finding = _finding(response, rows, labels, picture, own)
        found.append((finding, (in_steps(finding.value, 0.1, SILENT_V),)))
    return once_per_setting(found, response)


def _finding(
    response: xr.Dataset, rows: pd.DataFrame, cell: Mapping[str, str], picture: str, own: Mapping[str, float]
) -> Finding:
    plain = rows[rows["remedy"] == first_remedy(rows)]
    worst = _greatest(possible_rows(plain))
    loud = loud_v(response, cell["variant"])
    limit = None if math.isnan(loud) else loud
    at = response["standby"].sel(variant=cell["variant"], position=cell["position"])
    before = own.get(cell["control"], math.nan)
    others = {f"the amp's own switch {name}": volts for name, volts in own.items() if name != cell["control"]}
    known = {_IN_STOCK: before, **others, "switching the high voltage on with hot valves": float(at)}
    known = {name: volts for name, volts in known.items() if not math.isnan(volts)}
    peak = abs(worst[PEAK]) if worst else math.nan
    words = f"{cell['control']}: No answer from ngspice for any of its movements, so its pop is not known."
    if worst:
        words = _words(response, rows, worst, limit, known)
    grade = _grade(peak, limit, rows, worst, known)
    if grade == Grade.BEYOND and peak <= _AS_LOUD * before:
        grade = Grade.NEAR
    return Finding(
        TITLE, cell["control"], cell["variant"], cell["position"], peak, "V", limit,
        grade, words, "transient while the contacts move, input silent", _SOURCE,
        picture,
    )  # fmt: skip


def _greatest(rows: pd.DataFrame) -> Row:
    """The row with the greatest peak; empty where ngspice gave no answer at all."""
    known: list[Row] = [row for row in rows.to_dict("records") if not math.isnan(row[PEAK])]
    return max(known, key=lambda row: abs(row[PEAK]), default={})


def _grade(peak: float, limit: float | None, rows: pd.DataFrame, worst: Row, known: Mapping[str, float]) -> Grade:
    """A pop that a resistor cures is held against the limit; any other is usual, and near it at most."""
    plain = grade_below(peak, limit, math.sqrt(AUDIBLE_W / LOUD_W))
    if plain not in (Grade.NEAR, Grade.BEYOND) or _cured(rows, worst):
        return plain
    return Grade.NEAR if plain == Grade.BEYOND and peak > max(known.values(), default=0.0) else Grade.FINE


def _cured(rows: pd.DataFrame, worst: Row) -> bool:
    """Whether the charge of a capacitor behind an open contact makes it: a bleed leaves much less."""
    return any(volts <= HELPS * abs(worst[PEAK]) for volts in bled(rows, worst).values())


def bled(rows: pd.DataFrame, worst: Row) -> dict[str, float]:
    """To each bleed what it leaves of a pop [V]; none where no capacitor hangs on a contact."""
    same = rows[(rows["transition"] == worst["transition"]) & (rows["movement"] == worst["movement"])]
    bleeds = same[same["bleed"].notna() & ~same[PEAK].isna()] if worst["held"] else same.head(0)
    return {str(row["remedy"]): abs(row[PEAK]) for row in bleeds.to_dict("records")}


def _words(
    response: xr.Dataset, rows: pd.DataFrame, worst: Row, limit: float | None, known: Mapping[str, float]
) -> str:
    control, missing = worst["control"], int(rows[PEAK].isna().sum())
    lost = [f"No answer from ngspice for {missing} of {len(rows)} movements."] if missing else []
    if abs(worst[PEAK]) < SILENT_V:
        return " ".join([f"{control}: no pop, less than 1 mV at the output whichever way it is moved.", *lost])
    move = worst["transition"].removeprefix(f"{control}: ")
    over = f"over after {worst[LENGTH]:.0f} ms" if worst[LENGTH] < _LISTENED else "not over while it was listened to"
    left = bled(rows, worst)
    return " ".join([
        f"{control}, {move}: a pop of {in_volts(abs(worst[PEAK]))} peak at the output, {over} ({worst['movement']}).",
        *known_words(abs(worst[PEAK]), limit, known),
        *cause_words(response, worst, _cured(rows, worst)),
        *remedy_words(rows, worst, left),
        *lost,
    ])  # fmt: skip
