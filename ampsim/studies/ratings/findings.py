"""What a mod does to the load on valves and parts, as findings; and the charge that stays in a capacitor."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from typing import Any

import pandas as pd
import xarray as xr

from ...measures.labels import records
from ..findings import Finding
from ..settings import in_steps, positions_of
from .devices import device_findings
from .part_findings import part_findings
from .parts import part_ratings
from .valve_findings import MOVED, valve_findings
from .valves import TELLING, valve_ratings

_SMALL = {"W": 0.05, "V": 5.0, "mA": 0.5, "ohm": 1e3}  # what is below this is not worth telling as moved


def ratings_findings(response: xr.Dataset, outside: Collection[str] = (), heater_volts: float = 0.0) -> list[Finding]:
    """What is said of the load on valves and parts in the last variant, compared with the first.

    One finding to each valve: the worst quantity, and every other one near or beyond its limit. One to each
    semiconductor: what comes nearest to its limit. One to each part that nears or passes what is taken to be fitted
    (see `parts.with_fitted_ratings`), and to each part that the mod brings.

    `response`: of `ampsim.studies.ratings.simulate.stress`. `outside`: parts that are none of the amp, such as what it
    works into. `heater_volts`: what the heaters stand at against ground
    [V].

    Notes
    -----
    How a valve's quantities are graded against limits that the first variant passes too: `valve_findings.grade`. The
    tables grade by the limit alone.
    """
    table = valve_ratings(response, heater_volts)
    return [*valve_findings(table, response), *device_findings(response), *part_findings(response, outside)]


def moved_ratings(response: xr.Dataset, heater_volts: float = 0.0) -> pd.DataFrame:
    """What the last variant moves by more than 5 % against the first, each quantity where it moves most.

    Of resistors and pots the watts, of capacitors the volts; nothing below 0.05 W, 5 V or 0.5 mA.

    Columns: item, quantity, position, stock, modded, unit, change [%]; columns only when nothing moves.
    """
    stock, modded = (str(response["variant"].values[place]) for place in (0, -1))
    found: dict[tuple[str, str], dict[str, Any]] = {}
    figures: dict[tuple[str, str], dict[str, tuple[float, ...]]] = {}
    valves, parts = _long_valves(valve_ratings(response, heater_volts)), _long_parts(part_ratings(response))
    for key, rows in _pairs(pd.concat([valves, parts]), stock, modded):
        before, after = rows
        figures.setdefault(key, {})[after["position"]] = tuple(in_steps(row["value"], TELLING, 1e-6) for row in rows)
        change = 100.0 * (after["value"] / before["value"] - 1.0) if before["value"] else math.inf
        telling = max(before["value"], after["value"]) >= _SMALL[after["unit"]]
        if telling and abs(change) > 100.0 * MOVED and abs(change) > abs(found.get(key, {}).get("change [%]", 0.0)):
            numbers = {"stock": before["value"], "modded": after["value"], "unit": after["unit"], "change [%]": change}
            found[key] = {"item": key[0], "quantity": key[1], "position": after["position"], **numbers}
    positions = positions_of(response)
    for key, row in found.items():
        row["position"] = positions.words(row["position"], figures[key])
    return pd.DataFrame(
        list(found.values()), columns=["item", "quantity", "position", "stock", "modded", "unit", "change [%]"]
    )


def _long_valves(table: pd.DataFrame) -> pd.DataFrame:
    named = table["quantity"] + " " + table["state"]
    return pd.DataFrame({"variant": table["variant"], "position": table["position"], "item": table["valve"],
                         "quantity": named, "value": table["value"], "unit": table["unit"]})  # fmt: skip


def _long_parts(table: pd.DataFrame) -> pd.DataFrame:
    columns = [("V", "rest", "volts rest"), ("V", "cold", "volts cold"), ("V", "peak", "volts driven"),
               ("W", "rest", "watts rest"), ("W", "driven", "watts driven")]  # fmt: skip
    pieces = []
    for unit, state, words in columns:
        chosen = table[(table["kind"] == "capacitor") == (unit == "V")]
        piece = chosen[["variant", "position", "part"]].rename(columns={"part": "item"})
        pieces.append(piece.assign(quantity=words, value=chosen[f"{state} [{unit}]"], unit=unit))
    return pd.concat(pieces).dropna(subset="value")


def _pairs(table: pd.DataFrame, stock: str, modded: str) -> Iterator[tuple[tuple[str, str], tuple[Any, Any]]]:
    """Item and quantity, and its rows in both variants, at every position where both have it."""
    rows = {(r["variant"], r["position"], r["item"], r["quantity"]): r for r in records(table)}
    for (variant, position, item, quantity), after in rows.items():
        before = rows.get((stock, position, item, quantity))
        if variant == modded and before is not None:
            yield (item, quantity), (before, after)
