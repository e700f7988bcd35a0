"""What every resistor, capacitor and pot carries, and the rating it needs."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from ...measures.labels import expect, records
from ...measures.loads import Array
from ...simulation.facts import get
from ..once import once
from .simulate import EQUAL_PARTS
from .usual import FITTED_VOLTS, FITTED_WATTS, LARGER_VOLTS, WATTS_FACTOR, standard_volts, standard_watts, usual_volts

_PAIRED = 0.1  # of the larger volts at rest, or volts [V]
_AS_MUCH = 1.02  # peaks that differ by less are the same as far as they are computed


@once
def part_ratings(response: xr.Dataset) -> pd.DataFrame:
    """What parts carry at rest, cold and driven, and the rating that asks for.

    The response is one of `ampsim.studies.ratings.simulate.stress`.

    Returns
    -------
    pandas.DataFrame
        One row per variant, position and part in circuit: kind, value [ohm or F]; volts across it at rest, cold and
        at the peak of the drive; mean watts at rest and driven, and at the highest instant (NaN for capacitors; for a
        pot what its whole track must stand). "needs [W]" is `WATTS_FACTOR` times the larger mean, "needs [V]" the
        largest of the three voltages; "next [W]" and "next [V]" the common ratings from there on. Parts of one value
        that stand in one another's place in the output stage and rest at the same volts are told the largest of each
        reading of theirs: which of them carries more follows from the tone's phase, and nobody fits two sizes.

    Raises
    ------
    DescriptionError
        For another kind of response.
    """
    expect(response, "stress")
    return pd.DataFrame(list(_rows(response)))


def _rows(response: xr.Dataset) -> Iterator[dict[str, str | float]]:
    states = [str(each) for each in response["state"].values]
    rest, cold, driven, pulse = (states.index(each) for each in ("rest", "cold", "driven", "pulse"))
    volts, watts = response["part_volts"].values, response["part_watts"].values
    values, kinds = response["part_value"].values, response["kind"].values
    volts, watts = (_as_the_worst_of_equals(each, values, volts[..., rest], response) for each in (volts, watts))
    for v, variant in enumerate(response["variant"].values):
        for p, position in enumerate(response["position"].values):
            for n, part in enumerate(response["part"].values):
                if math.isnan(values[v, p, n]):
                    continue
                across, heat = volts[v, p, n], watts[v, p, n]
                most = max(each for each in across if not math.isnan(each))
                mean = _largest(heat[rest], heat[driven])
                needed = WATTS_FACTOR * mean
                capacitor = kinds[n] == "capacitor"
                yield {
                    "variant": str(variant),
                    "position": str(position),
                    "part": str(part),
                    "kind": str(kinds[n]),
                    "value": float(values[v, p, n]),
                    "rest [V]": float(across[rest]),
                    "cold [V]": float(across[cold]),
                    "peak [V]": float(across[driven]),
                    "rest [W]": float(heat[rest]),
                    "driven [W]": float(heat[driven]),
                    "pulse [W]": float(heat[pulse]),
                    "needs [W]": needed,
                    "next [W]": standard_watts(needed),
                    "needs [V]": float(most),
                    "next [V]": standard_volts(float(most), values[v, p, n]) if capacitor else math.nan,
                }


def _as_the_worst_of_equals(readings: Array, values: Array, rest: Array, response: xr.Dataset) -> Array:
    """Readings by variant, position, part and state, each the largest of the parts in equal places of the same value.

    `values`: of the parts by variant, position and part [ohm or F]. `rest`: their volts at rest likewise; where these
    differ, as from plate and cathode of a split load, the drawing says which carries more and not the tone's phase.
    """
    found = readings.copy()
    parts = [str(each) for each in response["part"].values]
    for v, variant in enumerate(response["variant"].values):
        for group in get(response, EQUAL_PARTS)[str(variant)]:
            places = [parts.index(each) for each in group if each in parts]
            for p, n in itertools.product(range(len(values[v])), places):
                same = [each for each in places if values[v, p, each] == values[v, p, n]]
                alike = [each for each in same if _about_equal(rest[v, p, each], rest[v, p, n])]
                if len(alike) > 1:
                    found[v, p, n] = np.fmax.reduce([readings[v, p, each] for each in alike])
    return found


def _about_equal(one: float, other: float) -> bool:
    """Whether two parts rest at the same volts [V], as far as the loads of an inverter or parts of a pair differ."""
    return abs(one - other) <= max(_PAIRED * max(abs(one), abs(other)), _PAIRED)


def _largest(*values: float) -> float:
    return max((float(each) for each in values if not math.isnan(each)), default=math.nan)


def worst_parts(table: pd.DataFrame) -> pd.DataFrame:
    """One row per variant and part: the largest of every reading over the positions.

    "position" is where the part carries most watts, of a capacitor most volts.
    """
    numeric = [str(name) for name in table.select_dtypes("number").columns]
    by_part: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in records(table):
        by_part.setdefault((row["variant"], row["part"]), []).append(row)
    return pd.DataFrame([_worst(rows, numeric) for rows in by_part.values()]) if by_part else table


def _worst(rows: Sequence[Mapping[str, Any]], numeric: Iterable[str]) -> dict[str, Any]:
    key = "needs [V]" if rows[0]["kind"] == "capacitor" else "needs [W]"
    first = max(rows, key=lambda row: 0.0 if math.isnan(row[key]) else float(row[key]))
    return {**first, **{name: _largest(*(row[name] for row in rows)) for name in numeric}}


def with_fitted_ratings(worst: pd.DataFrame, stock: str, in_place_of: Mapping[str, str]) -> pd.DataFrame:
    """Add what is taken to be fitted, "fitted [W]" and "fitted [V]", to a table of `worst_parts`.

    A description gives no ratings. A part of the stock amp is taken to have the common rating that the stock amp asks
    for, at least `FITTED_WATTS`, `FITTED_VOLTS` or (below 1 uF) `usual_volts`; so is one `in_place_of` it. Any other
    that the mod brings is taken to be of the usual kind, an electrolytic capacitor to be chosen by its volts at rest.
    """
    first = stock_rows(worst, stock, in_place_of)
    fitted = [_fitted_rating(row, first.get(row["part"])) for row in records(worst)]
    return worst.assign(**{"fitted [W]": [watts for watts, _ in fitted], "fitted [V]": [volts for _, volts in fitted]})


def stock_rows(worst: pd.DataFrame, stock: str, in_place_of: Mapping[str, str]) -> dict[str, dict[str, Any]]:
    """The stock amp's rows of a table of `worst_parts` by part, also by the parts that are `in_place_of` them."""
    own = {row["part"]: row for row in records(worst[worst["variant"] == stock])}
    return own | {new: own[old] for new, old in in_place_of.items() if old in own}


def _fitted_rating(row: Mapping[str, Any], stock: Mapping[str, Any] | None) -> tuple[float, float]:
    if row["kind"] == "capacitor":
        volts = row["rest [V]"] if stock is None else stock["needs [V]"]
        least = usual_volts((stock or row)["needs [V]"], row["value"])
        return math.nan, standard_volts(max(volts, least), row["value"])
    usual = FITTED_WATTS[row["kind"]], FITTED_VOLTS[row["kind"]]
    if stock is None:
        return usual
    watts = max(usual[0], stock["next [W]"])
    return watts, max(LARGER_VOLTS if watts >= 1.0 else usual[1], _AS_MUCH * stock["needs [V]"])
