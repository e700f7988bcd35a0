"""What is said of the load on valves."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd
import xarray as xr

from ...base.quantities import OHM, with_unit
from ...circuit.positions import AS_DRAWN
from ...measures.labels import records
from ...simulation.valve_facts import valves_at
from ..findings import Finding, Grade, grade_below
from . import TITLE
from .valves import GRID_LEAK, STATE_WORDS, worst_rows

HOW = "operating point, cold operating point and transient"
MOVED, DRIVEN_MOVED = 0.05, 0.25
"""A quantity that a mod changes by more than this share counts as moved; driven hard, as worse."""
_ARC_VOLTS = 50.0  # a cold grid this far above its cathode is told


def valve_findings(table: pd.DataFrame, response: xr.Dataset) -> Iterator[Finding]:
    """One finding to each valve of the last variant, compared with the first: its worst quantity, and all in danger.

    Parameters
    ----------
    table : pandas.DataFrame
        Of `valve_ratings`.
    response : xarray.Dataset
        That the table was made from.
    """
    stock, modded = (str(response["variant"].values[place]) for place in (0, -1))
    before = {
        (row["position"], row["valve"], row["quantity"], row["state"]): row["value"]
        for row in records(table[table["variant"] == stock])
    }
    found = [
        row | {"stock": own, "grade": grade(row | {"stock": own, "stock at rest": rest})}
        for row in records(table[table["variant"] == modded])
        for own, rest in [
            [
                before.get((row["position"], row["valve"], row["quantity"], state), math.nan)
                for state in (row["state"], "rest")
            ]
        ]
    ]
    by_valve: dict[str, list[dict[str, Any]]] = {}
    for row in worst_rows(found, response, _worry):
        by_valve.setdefault(row["valve"], []).append(row)
    for valve, rows in by_valve.items():
        worst = sorted(rows, key=_worry, reverse=True)  # unknown limits last
        first = worst[0]
        yield Finding(
            TITLE, f"{valve} {first['quantity']}", modded, first["position"], first["value"], first["unit"],
            None if math.isnan(first["limit"]) else first["limit"], first["grade"],
            _valve_words(worst, response, modded), HOW, _source(response, modded, first), "ratings",
            names_position=not math.isnan(first["limit"]), where=first["where"],
        )  # fmt: skip


def grade(row: Mapping[str, Any]) -> Grade:
    """Grade one quantity against its limit, seeing what the stock amp does ("stock" of the row; NaN: not there).

    What is over its limit in the stock amp too counts as near the limit: it wants looking at, but the mod has not
    brought it. It does so as long as the mod raises it by no more than 5 %; driven hard by no more than a quarter,
    whether the stock amp passes the limit or not, since nobody plays a steady tone that hard (our choice), or to no
    more than 5 % above what the stock amp has at rest ("stock at rest"): a valve that is driven less carries what it
    carries at rest. Peaks while driven are near the limit at most: sheets state these limits for steady volts.
    """
    plain = grade_below(row["value"], row["limit"])
    if plain != Grade.BEYOND:
        return plain
    if row["state"] == "driven":
        excused = row["unit"] == "V" or row["value"] <= (1.0 + DRIVEN_MOVED) * row["stock"]
        excused = excused or _as_before(row, row.get("stock at rest", math.nan))
    else:
        excused = _as_before(row, row["stock"])
    return Grade.NEAR if excused else plain


def _as_before(row: Mapping[str, Any], stock: float) -> bool:
    """Whether the stock amp passes the limit too, and the mod raises that by little."""
    return bool(stock > row["limit"] and row["value"] <= (1.0 + MOVED) * stock)


def _worry(row: Mapping[str, Any]) -> tuple[int, float]:
    # Rounded, so that the first of positions that are alike is named.
    share = row["of limit [%]"]
    return (-1, 0.0) if math.isnan(share) else (row["grade"].worry, round(share, 1))


def _source(response: xr.Dataset, variant: str, row: Mapping[str, Any]) -> str:
    every = (valves_at(response)(variant, str(each)).get(row["valve"]) for each in response["position"].values)
    facts = next(each for each in every if each is not None and each.type == row["type"])
    return f"limits ({facts.basis}): {facts.source}"


def _valve_words(worst: list[dict[str, Any]], response: xr.Dataset, modded: str) -> str:
    first, *others = worst
    name = f"{first['valve']} ({first['type']})"
    unknown = list(dict.fromkeys(_short(row) for row in worst if math.isnan(row["limit"])))
    if math.isnan(first["limit"]):
        return f"{name}: no limits known for this type."
    words = [f"{name}: {_reading_words(first)}, {_position_words(first)}{_stock_words(first)}."]
    telling = [row for row in others if row["grade"] in (Grade.NEAR, Grade.BEYOND)]
    words += [f"Also {_reading_words(row)}, {_position_words(row)}{_stock_words(row)}." for row in telling]
    words += _arc_words(response, modded, first["valve"])
    if unknown:
        words.append(f"No limit known for its {', '.join(unknown)}.")
    return " ".join(words)


def _short(row: Mapping[str, Any]) -> str:
    """A quantity without its value; the state is named where it has a limit of its own."""
    return f"{row['quantity']} while cold" if row["state"] == "cold" else str(row["quantity"])


def _reading_words(row: Mapping[str, Any]) -> str:
    """Such as: plate dissipation driven hard 9.4 W of at most 12 W (design centre), 2.6 W to spare."""
    value, limit = row["value"], row["limit"]
    margin = f"{_margin(value, limit, row['unit'])} {'too much' if value > limit else 'to spare'}"
    state = "" if row["quantity"] == GRID_LEAK else f" {STATE_WORDS[row['state']]}"
    most = f"{_amount(limit, row['unit'])} ({row['kind of limit']})"
    return f"{row['quantity']}{state} {_amount(value, row['unit'])} of at most {most}, {margin}"


def _amount(value: float, unit: str) -> str:
    if unit == "ohm":
        return with_unit(value, OHM)
    return f"{value:.3g} {unit}" if abs(value) < 1000.0 else f"{value:.0f} {unit}"


def _margin(value: float, limit: float, unit: str) -> str:
    """How far a value is from its limit, as finely as the value itself is told."""
    decimals = 0 if unit == "ohm" or not value else max(2 - math.floor(math.log10(abs(value))), 0)
    left = abs(round(value, decimals) - limit)
    return _amount(left if left else abs(value - limit), unit)


def _position_words(row: Mapping[str, Any]) -> str:
    return str(row["where"]) if row["where"] == AS_DRAWN else f"at {row['where']}"


def _stock_words(row: Mapping[str, Any]) -> str:
    """What the stock amp does."""
    if math.isnan(row["stock"]):
        return ""
    if abs(row["value"] - row["stock"]) <= MOVED * abs(row["stock"]):
        return "; as in the stock amp"
    return f"; stock {_amount(row['stock'], row['unit'])}"


def _arc_words(response: xr.Dataset, variant: str, valve: str) -> list[str]:
    grids = response["electrode_volts"].isel(variant=[str(v) for v in response["variant"].values].index(variant))
    highest = float(grids.sel(electrode=f"{valve}.grid", state="cold").max())
    if highest <= _ARC_VOLTS:
        return []
    return [f"While cold its grid stands {highest:.0f} V above its cathode; no limit for that is published."]
