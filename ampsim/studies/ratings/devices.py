"""What semiconductors carry against their limits: table and findings."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from ...measures.labels import records
from ...simulation.facts import get
from ..findings import Finding, Grade, grade_below
from ..settings import in_steps, positions_of
from . import TITLE
from .device_loads import DEVICES, LOAD
from .valve_findings import HOW, MOVED
from .valves import STATE_WORDS, TELLING

_WORDS = {
    "reverse_volts": ("reverse volts", "V"),
    "forward_amps": ("mean current", "A"),
    "surge_amps": ("peak current", "A"),
    "drain_volts": ("drain volts", "V"),
    "gate_volts": ("gate volts", "V"),
    "drain_amps": ("mean current", "A"),
    "supply_volts": ("supply volts", "V"),
    "apart_volts": ("volts between its inputs", "V"),
    "output_amps": ("peak output current", "A"),
    "cell_volts": ("volts across its cell", "V"),
    "cell_watts": ("dissipation of its cell", "W"),
    "coil_volts": ("volts (rms) across its coil", "V"),
    "coil_lacks": ("volts that its coil lacks", "V"),
    "winding_amps": ("current (rms)", "A"),
    "lamp_volts": ("volts (rms) across it", "V"),
    "lamp_amps": ("mean current", "A"),
    "rms_amps": ("current (rms)", "A"),
    "watts": ("dissipation", "W"),
    "peak_amps": ("peak current of each plate", "A"),
    "mean_amps": ("mean current of both plates", "A"),
    "plate_volts": ("volts (rms) at each plate", "V"),
    "reservoir_farads": ("reservoir", "uF"),
    "source_ohms": ("resistance asked for before each plate", "ohm"),
}


# What is made for one voltage stands well at it, a tenth below the most; it is near from half of that tenth on.
_NEAR = {_WORDS[name][0]: 1.05 / 1.1 for name in ("coil_volts", "lamp_volts")}


def device_ratings(response: xr.Dataset) -> pd.DataFrame:
    """What semiconductors carry against their limits.

    The response is one of `ampsim.studies.ratings.simulate.stress`. One row per variant, position, semiconductor,
    quantity and state: value and limit in the unit named, the limit NaN where none is known.
    """
    facts = get(response, DEVICES)
    columns = ["variant", "position", "device", "type", "quantity", "state", "value", "limit", "unit"]
    rows = []
    for variant, position, item, state in np.ndindex(response[LOAD].shape):
        value = float(response[LOAD].values[variant, position, item, state])
        name = str(response["variant"].values[variant])
        part, _, quantity = str(response["device_quantity"].values[item]).partition(".")
        place = str(response["position"].values[position])
        device = facts[name][place].get(part)
        if math.isnan(value) or device is None:
            continue
        words, unit = _WORDS[quantity]
        limit = device.limits.get(quantity, math.nan)
        if unit == "uF":
            value, limit = 1e6 * value, 1e6 * limit
        state_name = str(response["state"].values[state])
        rows.append((name, place, part, device.type, words, state_name, value, limit, unit))
    return pd.DataFrame(rows, columns=columns)


def worst_devices(response: xr.Dataset) -> pd.DataFrame:
    """The last variant's semiconductors against their known limits, each quantity and state at its worst position."""
    table = device_ratings(response)
    table = table[(table["variant"] == str(response["variant"].values[-1])) & table["limit"].notna()]
    worst = [
        rows.loc[[rows["value"].idxmax()]] for _, rows in table.groupby(["device", "quantity", "state"], sort=False)
    ]
    found = pd.concat(worst, ignore_index=True) if worst else table
    return pd.DataFrame([
        {"device": f"{row['device']} ({row['type']})", "quantity": f"{row['quantity']}, {STATE_WORDS[row['state']]}",
         "carries": in_unit(row["value"], row["unit"]), "at most": in_unit(row["limit"], row["unit"]),
         "of limit [%]": round(100.0 * row["value"] / row["limit"]), "position": row["position"]}
        for row in records(found)
    ])  # fmt: skip


def device_findings(response: xr.Dataset) -> Iterator[Finding]:
    """One finding to each semiconductor of the last variant: what comes nearest to its limit.

    A limit that the stock amp passes too, and that the mod raises by no more than 5 %, counts as near.
    """
    table = device_ratings(response)
    stock, modded = (str(response["variant"].values[place]) for place in (0, -1))
    before = {_key(row): row["value"] for row in records(table[table["variant"] == stock])}
    positions, facts = positions_of(response), get(response, DEVICES)[modded]
    for part, rows in table[table["variant"] == modded].groupby("device", sort=False):
        found = [row | {"grade": _grade(row, before.get(_key(row), math.nan))} for row in records(rows)]
        worst = max(found, key=lambda row: (row["grade"].worry, _share(row)))
        own = {row["position"]: (in_steps(row["value"], TELLING, 1e-6),) for row in found
               if (row["quantity"], row["state"]) == (worst["quantity"], worst["state"])}  # fmt: skip
        known, device = not math.isnan(worst["limit"]), facts[worst["position"]][str(part)]
        yield Finding(
            TITLE, f"{part} {worst['quantity']}", modded, worst["position"], worst["value"], worst["unit"],
            worst["limit"] if known else None, worst["grade"], _words(worst, found), HOW,
            f"limits ({device.basis}): {device.source}", "",
            where=positions.words(worst["position"], own),
        )  # fmt: skip


def _key(row: Mapping[str, Any]) -> tuple[str, ...]:
    return row["position"], row["device"], row["quantity"], row["state"]


def _share(row: Mapping[str, Any]) -> float:
    return -1.0 if math.isnan(row["limit"]) else round(row["value"] / row["limit"], 3)


def _grade(row: Mapping[str, Any], stock: float) -> Grade:
    plain = grade_below(row["value"], row["limit"], _NEAR.get(row["quantity"], 0.9))
    excused = stock > row["limit"] and row["value"] <= (1.0 + MOVED) * stock
    return Grade.NEAR if plain == Grade.BEYOND and excused else plain


def _words(worst: Mapping[str, Any], found: list[dict[str, Any]]) -> str:
    name = f"{worst['device']} ({worst['type']})"
    if math.isnan(worst["limit"]):
        return f"{name}: no limits known for this type."
    value, limit = (in_unit(worst[each], worst["unit"]) for each in ("value", "limit"))
    if value == limit and worst["value"] > worst["limit"]:
        value = f"a little more than {value}"
    words = f"{name}: {worst['quantity']} {value} {STATE_WORDS[worst['state']]}, at most {limit}."
    if worst["unit"] == "ohm":
        words = f"{name}: {worst['quantity']} {value}; there are {limit}."
    unknown = dict.fromkeys(row["quantity"] for row in found if math.isnan(row["limit"]))
    return f"{words} No limit known for its {' and '.join(unknown)}." if unknown else words


def in_unit(value: float, unit: str) -> str:
    """A value [V, A or W] with its unit, in thousandths where it is small."""
    if unit == "V" or value >= 0.1:
        few = f"{value:.3g}" if value < 999.5 else f"{value:.0f}"
        return f"{few} {unit}" if value >= 1e-3 else f"0 {unit}"
    return f"{1e3 * value:.2g} m{unit}" if value >= 1e-6 else f"0 {unit}"
