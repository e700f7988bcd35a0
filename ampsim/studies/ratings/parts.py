"""What every resistor, capacitor and pot carries, and the rating it needs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import pandas as pd
import xarray as xr

from ...measures.labels import expect, records
from .once import once

WATTS_FACTOR = 2.0
"""A resistor is chosen for twice the mean power it carries: common practice, no source."""
FITTED_WATTS, FITTED_VOLTS = {"resistor": 0.5, "pot": 0.25}, {"resistor": 350.0, "pot": 350.0}
"""What is usually fitted: half-watt film resistors that stand 350 V, quarter-watt tracks (from memory)."""
LARGER_VOLTS = 500.0
"""What film resistors of one watt and more stand (from memory)."""
FILM_VOLTS = 400.0
"""What capacitors below 1 uF are usually made for where they carry more than the least rating (common practice, no
source)."""
SCRATCH_VOLTS = 0.1
"""Direct volts across a track from which on a pot scratches (common practice, no source)."""
ELECTROLYTIC_FARADS = 1e-6
STANDARD_WATTS = (0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 25.0, 50.0)
STANDARD_VOLTS = {
    # Below 1 uF: the R5 series of preferred numbers, which rated voltages follow (IEC 60384-1, from memory).
    "film": (63.0, 100.0, 160.0, 250.0, 400.0, 630.0, 1000.0, 1600.0),
    # Common practice, no source.
    "electrolytic": (16.0, 25.0, 35.0, 50.0, 63.0, 100.0, 160.0, 250.0, 350.0, 400.0, 450.0, 500.0),
}


def usual_volts(needed: float, farads: float) -> float:
    """What is usually fitted [V] where a capacitor carries so much [V]; 0 where its volts alone decide."""
    if farads >= ELECTROLYTIC_FARADS:
        return 0.0
    return FILM_VOLTS if needed > STANDARD_VOLTS["film"][0] else STANDARD_VOLTS["film"][0]


def standard_watts(watts: float) -> float:
    """The next common power rating [W]; infinite above the largest."""
    return _next(watts, STANDARD_WATTS)


def standard_volts(volts: float, farads: float) -> float:
    """The next common working voltage [V] of a capacitor; infinite above the largest (then two in series)."""
    return _next(volts, STANDARD_VOLTS["electrolytic" if farads >= ELECTROLYTIC_FARADS else "film"])


def _next(value: float, standard: Sequence[float]) -> float:
    return math.nan if math.isnan(value) else next((each for each in standard if each >= value), math.inf)


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
        largest of the three voltages; "next [W]" and "next [V]" the common ratings from there on.

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


def with_fitted_ratings(worst: pd.DataFrame, stock: str) -> pd.DataFrame:
    """Add what is taken to be fitted, "fitted [W]" and "fitted [V]", to a table of `worst_parts`.

    A description gives no ratings. A part of the stock amp is taken to have the common rating that the stock amp asks
    for, at least `FITTED_WATTS`, `FITTED_VOLTS` or (below 1 uF) `usual_volts`. A part that the mod brings is taken to
    be of the usual kind, an electrolytic capacitor to be chosen by its volts at rest.
    """
    first = {row["part"]: row for row in records(worst[worst["variant"] == stock])}
    fitted = [_fitted_rating(row, first.get(row["part"])) for row in records(worst)]
    return worst.assign(**{"fitted [W]": [watts for watts, _ in fitted], "fitted [V]": [volts for _, volts in fitted]})


def _fitted_rating(row: Mapping[str, Any], stock: Mapping[str, Any] | None) -> tuple[float, float]:
    if row["kind"] == "capacitor":
        volts = row["rest [V]"] if stock is None else stock["needs [V]"]
        least = usual_volts((stock or row)["needs [V]"], row["value"])
        return math.nan, standard_volts(max(volts, least), row["value"])
    usual = FITTED_WATTS[row["kind"]], FITTED_VOLTS[row["kind"]]
    if stock is None:
        return usual
    watts = max(usual[0], stock["next [W]"])
    return watts, max(LARGER_VOLTS if watts >= 1.0 else usual[1], stock["needs [V]"])
