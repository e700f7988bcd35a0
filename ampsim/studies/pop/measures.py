"""The pop of a switch: how loud, how long, what makes it better, and whether it can stay."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from ...base.wording import in_volts
from ...measures.labels import expect, index_of
from ...simulation.facts import get
from ..findings import Finding, grade_below
from . import TITLE
from .simulate import AS_IT_IS, NOMINAL_OHM

LOUD_W, AUDIBLE_W = 1.0, 0.1
"""A pop whose peak reaches that of a sine of 1 W in the loudspeaker is too loud, one of 0.1 W is near: own choice."""

SILENT_V = 1e-3
"""Peaks below this are called no pop."""

PEAK, LENGTH, LEVEL, DRIFT = "peak [V]", "length [ms]", "against 1 W [dB]", "drift before [V]"
_END = 0.05  # of the peak: what ends a pop
_LISTENED = 280.0  # ms; a pop that is longer may not have ended with the response
_ERROR_V = 1e-6  # less may be the error of the run
_HELPS = 0.7  # of the peak: what a remedy must bring it down to, to be worth a word
_CELL = ["variant", "position", "control"]
_SOURCE = (
    "own threshold: the peak of a sine of 1 W in the loudspeaker's nominal load (2 P R under a root, definition), "
    "near from 0.1 W"
)
_Row = Mapping[Hashable, Any]


def loud_v(response: xr.Dataset, variant: str) -> float:
    """Peak [V] of a sine of 1 W in the load that the tap is made for: sqrt(2 P R) (definition); NaN without one."""
    ohms = get(response, NOMINAL_OHM)[variant]
    return math.nan if ohms is None else math.sqrt(2.0 * LOUD_W * ohms)


def pop_table(response: xr.Dataset, node: str | None = None) -> pd.DataFrame:
    """Every pop of a response.

    Parameters
    ----------
    response : xarray.Dataset
        Of `ampsim.studies.pop.simulate.pop`.
    node : str
        Where to listen; default the output.

    Returns
    -------
    pandas.DataFrame
        One row per variant, position, transition, movement and remedy: the switch (`control`); peak [V], the largest
        swing from the level just before, with its sign; length [ms] from the movement until what is left stays within
        5 % of the peak of where the response ends; peak in dB of the peak of a sine of 1 W (20 log10, definition); how
        far the level moved in the 10 ms before anything moved [V], which shows how exact the run is; capacitors `held`
        discharged by an open contact. NaN where ngspice gave no
        answer; length and level are NaN below 1 uV, which may be the error of the run.

    Raises
    ------
    DescriptionError
        For an unknown node or another kind of response.
    """
    expect(response, "pop")
    name = str(response.attrs["output"]) if node is None else node
    here = response.isel(node=index_of(response, "node", name))
    return pd.DataFrame(list(_rows(here)))


def _rows(here: xr.Dataset) -> Iterator[dict[str, Any]]:
    dims = ("variant", "position", "transition", "movement", "remedy")
    time, volts = here["time"].values, here["voltage"].transpose(*dims, "time").values
    ends = [here[name].transpose(*dims).values for name in ("lowest", "highest")]
    for place in np.ndindex(*volts.shape[:-1]):
        labels = {dim: str(here[dim].values[index]) for dim, index in zip(dims, place, strict=True)}
        facts = _measure_pop(time, volts[place], float(ends[0][place]), float(ends[1][place]))
        loud, known = loud_v(here, labels["variant"]), abs(facts[PEAK]) > _ERROR_V
        level = 20.0 * math.log10(abs(facts[PEAK]) / loud) if known else math.nan
        held = str(here["held"].values[place[0], place[2]])
        yield {**labels, "control": str(here["control"].values[place[2]]), **facts, LEVEL: level, "held": held}


def _measure_pop(time: NDArray[Any], volts: NDArray[Any], lowest: float, highest: float) -> dict[str, float]:
    before = volts[time < -1e-9]
    level = before[-1]
    swing = max(lowest - level, highest - level, key=abs)
    left = np.flatnonzero(np.abs(volts - volts[-1]) > _END * abs(swing))
    over = time[min(left[-1] + 1, time.size - 1)] if left.size else 0.0
    length = 1e3 * max(float(over), 0.0) if abs(swing) > _ERROR_V else math.nan
    return {PEAK: swing, LENGTH: length, DRIFT: float(np.abs(before - level).max())}


def pop_summary(response: xr.Dataset, node: str | None = None) -> pd.DataFrame:
    """One row per transition, loudest first: the worst way to move, its peak and length, and what remedies leave.

    Columns as in `pop_table`, without remedies; then one column for each remedy: the largest peak [V, without sign]
    over all movements; then the peak of the worst at every other node. Parameters and errors as there.
    """
    table = pop_table(response, node)
    keys = [*_CELL, "transition"]
    size = table[PEAK].abs()
    remedies = size.groupby([table[key] for key in (*keys, "remedy")], sort=False).max().unstack("remedy")
    plain = table[table["remedy"] == _first_remedy(table)]
    plain = plain[plain[PEAK].notna()]
    worst = plain.loc[plain[PEAK].abs().groupby([plain[key] for key in keys], sort=False).idxmax()]
    found = worst.drop(columns=["remedy", DRIFT]).set_index(keys)
    for remedy in list(dict.fromkeys(table["remedy"]))[1:]:
        found[f"with {remedy} [V]"] = remedies[remedy]
    for other in (str(each) for each in response["node"].values if str(each) != (node or response.attrs["output"])):
        elsewhere = pop_table(response, other).loc[worst.index]
        found[f"at {other} [V]"] = elsewhere.set_index(keys)[PEAK]
    return found.sort_values(PEAK, key=lambda peaks: -peaks.abs(), kind="stable").reset_index()


def _first_remedy(table: pd.DataFrame) -> str:
    return AS_IT_IS if AS_IT_IS in set(table["remedy"]) else str(table["remedy"].iloc[0])


def pop_findings(response: xr.Dataset, picture: str = "") -> list[Finding]:
    """A finding to each variant, position and switch: its loudest pop as it is, and what makes it better.

    Parameters
    ----------
    response : xarray.Dataset
        Of `ampsim.studies.pop.simulate.pop`.
    picture : str
        Name of the picture that shows it.

    Returns
    -------
    list of Finding
        Value: the peak [V] without its sign; limit: the peak of a sine of 1 W in the nominal load.

    Raises
    ------
    DescriptionError
        For another kind of response.
    """
    table = pop_table(response)
    return [
        _finding(response, rows, dict(zip(_CELL, map(str, cell), strict=True)), picture)
        for cell, rows in table.groupby(_CELL, sort=False)
    ]


def _finding(response: xr.Dataset, rows: pd.DataFrame, cell: Mapping[str, str], picture: str) -> Finding:
    plain = rows[rows["remedy"] == _first_remedy(rows)]
    loud = loud_v(response, cell["variant"])
    limit = None if math.isnan(loud) else loud
    worst = _greatest(plain)
    peak = abs(worst[PEAK]) if worst else math.nan
    if worst:
        words = _words(rows, worst, limit)
    else:
        words = f"{cell['control']}: ngspice gave no answer for any of its movements, so its pop is not known."
    return Finding(
        TITLE,
        cell["control"],
        cell["variant"],
        cell["position"],
        peak,
        "V",
        limit,
        grade_below(peak, limit, math.sqrt(AUDIBLE_W / LOUD_W)),
        words,
        "transient while the contacts move, input silent",
        _SOURCE,
        picture,
    )


def _greatest(rows: pd.DataFrame) -> _Row:
    """The row with the greatest peak; empty where ngspice gave no answer at all."""
    known: list[_Row] = [row for row in rows.to_dict("records") if not math.isnan(row[PEAK])]
    return max(known, key=lambda row: abs(row[PEAK]), default={})


def _words(rows: pd.DataFrame, worst: _Row, limit: float | None) -> str:
    control, missing = worst["control"], int(rows[PEAK].isna().sum())
    lost = f" ngspice gave no answer for {missing} of {len(rows)} movements." if missing else ""
    if abs(worst[PEAK]) < SILENT_V:
        return f"{control}: no pop, less than 1 mV at the output whichever way it is moved.{lost}"
    level = "" if limit is None else f", {_level_words(worst[LEVEL])} of 1 W ({in_volts(limit)} peak)"
    said = (
        f"{control}, {worst['transition'].removeprefix(f'{control}: ')}: a pop of {in_volts(abs(worst[PEAK]))} peak at "
        f"the output{level}, {_length_words(worst[LENGTH])} ({worst['movement']})."
    )
    return f"{said} {_remedy_words(rows, worst)}{_order_words(rows, worst)}{lost}"


def _length_words(milliseconds: float) -> str:
    return f"over after {milliseconds:.0f} ms" if milliseconds < _LISTENED else "not over while it was listened to"


def _level_words(level: float) -> str:
    return f"{abs(level):.0f} dB {'above' if level > 0.0 else 'below'} the peak"


def _remedy_words(rows: pd.DataFrame, worst: _Row) -> str:
    """What the bleeds leave of the worst pop."""
    same = rows[(rows["transition"] == worst["transition"]) & (rows["movement"] == worst["movement"])]
    left = {str(row["remedy"]): abs(row[PEAK]) for row in same.to_dict("records") if row["remedy"] != worst["remedy"]}
    left = {remedy: peak for remedy, peak in left.items() if not math.isnan(peak)}
    if not left:
        return ""
    if not worst["held"]:
        return "No capacitor hangs on its contacts: it moves a direct voltage, and a bleed does nothing for that."
    least = min(left.values())
    if least > _HELPS * abs(worst[PEAK]):
        return (
            f"A bleed across the contact that {worst['held']} hangs on leaves {in_volts(least)}: "
            "it is not its charge alone that pops."
        )
    kept = ", ".join(f"{remedy} leaves {in_volts(volts)}" for remedy, volts in left.items())
    return f"{worst['held']} stands discharged behind an open contact; across that contact {kept}."


def _order_words(rows: pd.DataFrame, worst: _Row) -> str:
    """What another order of the contacts makes of the worst pop, where it matters."""
    same = rows[(rows["transition"] == worst["transition"]) & (rows["remedy"] == worst["remedy"])]
    best = min(same.to_dict("records"), key=lambda row: abs(row[PEAK]))
    if not abs(best[PEAK]) <= _HELPS * abs(worst[PEAK]):
        return ""
    return f" {str(best['movement']).capitalize()} leaves {in_volts(abs(best[PEAK]))}."
