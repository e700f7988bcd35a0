"""The pop of a switch: how loud, how long, and what remedies leave of it."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from ...measures.labels import expect, index_of
from ...simulation.facts import get
from ..once import once
from .remedies import AS_IT_IS
from .simulate import NOMINAL_OHM, TURNED_DOWN

LOUD_W, AUDIBLE_W = 1.0, 0.1
"""A pop whose peak reaches that of a sine of 1 W in the loudspeaker is loud, one of 0.1 W is heard: own choice."""

SILENT_V = 1e-3
"""Peaks below this are called no pop."""

HELPS = 0.7
"""What a remedy must bring a peak down to [ratio], to be worth a word: own choice."""

PEAK, LENGTH, LEVEL, DRIFT = "peak [V]", "length [ms]", "against 1 W [dB]", "drift before [V]"
_END = 0.05  # of the peak: what ends a pop
_HOW = ["possible", "gap", "bleed", "turned down"]
_ERROR_V = 1e-6  # less may be the error of the run
_CELL = ["variant", "position", "control"]
Row = Mapping[Hashable, Any]
"""One row of `pop_table`."""


def loud_v(response: xr.Dataset, variant: str) -> float:
    """Peak [V] of a sine of 1 W in the load that the tap is made for: sqrt(2 P R) (definition); NaN without one."""
    ohms = get(response, NOMINAL_OHM)[variant]
    return math.nan if ohms is None else math.sqrt(2.0 * LOUD_W * ohms)


@once
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
        discharged by an open contact; whether the planned switch can move so (`possible`); `gap` [s] and `bleed` [ohm]
        (NaN: none) of the movement and the remedy, and whether that is a knob `turned down`. NaN where ngspice gave no
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
    turned, loud = get(here, TURNED_DOWN), {name: loud_v(here, name) for name in map(str, here["variant"].values)}
    ends = [here[name].transpose(*dims).values for name in ("lowest", "highest")]
    names = [list(map(str, here[dim].values)) for dim in dims]
    controls, gaps, bleeds = (here[name].values for name in ("control", "gap", "bleed"))
    held, possible = here["held"].values, here["possible"].values
    for place in np.ndindex(*volts.shape[:-1]):
        variant, _, transition, movement, remedy = place
        labels = {dim: each[index] for dim, each, index in zip(dims, names, place, strict=True)}
        facts = _measure_pop(time, volts[place], float(ends[0][place]), float(ends[1][place]))
        known = abs(facts[PEAK]) > _ERROR_V
        level = 20.0 * math.log10(abs(facts[PEAK]) / loud[labels["variant"]]) if known else math.nan
        bleed = float(bleeds[remedy])
        yield {
            **labels,
            "control": str(controls[transition]),
            **facts,
            LEVEL: level,
            "held": str(held[variant, transition]),
            "possible": bool(possible[variant, transition, movement]),
            "gap": float(gaps[movement]),
            "bleed": bleed if math.isfinite(bleed) else math.nan,
            "turned down": labels["remedy"] in turned,
        }


def _measure_pop(time: NDArray[Any], volts: NDArray[Any], lowest: float, highest: float) -> dict[str, float]:
    before = volts[time < -1e-9]
    level = before[-1]
    swing = max(lowest - level, highest - level, key=abs)
    left = np.flatnonzero(np.abs(volts - volts[-1]) > _END * abs(swing))
    over = time[min(left[-1] + 1, time.size - 1)] if left.size else 0.0
    length = 1e3 * max(float(over), 0.0) if abs(swing) > _ERROR_V else math.nan
    return {PEAK: swing, LENGTH: length, DRIFT: float(np.abs(before - level).max())}


@once
def pop_summary(response: xr.Dataset, node: str | None = None) -> pd.DataFrame:
    """One row per transition, loudest first: the worst way to move, its peak and length, and what remedies leave.

    The worst of what the planned switch can do.

    Columns as in `pop_table`, without remedies; then one column for each remedy: the largest peak [V, without sign]
    over all movements; then the peak of the worst at every other node. Parameters and errors as there.
    """
    table = pop_table(response, node)
    keys = [*_CELL, "transition"]
    table = possible_rows(table)
    size = table[PEAK].abs()
    remedies = size.groupby([table[key] for key in (*keys, "remedy")], sort=False).max().unstack("remedy")
    plain = table[table["remedy"] == first_remedy(table)]
    plain = plain[plain[PEAK].notna()]
    worst = plain.loc[plain[PEAK].abs().groupby([plain[key] for key in keys], sort=False).idxmax()]
    found = worst.drop(columns=["remedy", DRIFT, *_HOW]).set_index(keys)
    for remedy in list(dict.fromkeys(table["remedy"]))[1:]:
        found[f"with {remedy} [V]"] = remedies[remedy]
    for other in (str(each) for each in response["node"].values if str(each) != (node or response.attrs["output"])):
        elsewhere = pop_table(response, other).loc[worst.index]
        found[f"at {other} [V]"] = elsewhere.set_index(keys)[PEAK]
    return found.sort_values(PEAK, key=lambda peaks: -peaks.abs(), kind="stable").reset_index()


def possible_rows(table: pd.DataFrame) -> pd.DataFrame:
    """Rows of `pop_table` that the planned switch can do; of a transition that it cannot, all."""
    some = table.groupby(["variant", "transition"])["possible"].transform("any")
    return table[table["possible"] | ~some]


def first_remedy(table: pd.DataFrame) -> str:
    """What stands for doing nothing in a table."""
    return AS_IT_IS if AS_IT_IS in set(table["remedy"]) else str(table["remedy"].iloc[0])
