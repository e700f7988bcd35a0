"""What semiconductors carry against their limits: readings, table and findings."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from ...circuit.amp import Amp
from ...circuit.build import Circuit, build_circuit
from ...circuit.semiconductors.description import Semiconductor
from ...circuit.semiconductors.device import Device
from ...measures.labels import records
from ...measures.loads import Array, Span
from ...simulation.devices import BRIDGE, package
from ...simulation.facts import Fact, get
from ...simulation.netlist import device_vectors
from ..findings import Finding, Grade, grade_below
from ..settings import in_steps, positions_of
from . import TITLE
from .valve_findings import HOW, MOVED
from .valves import STATE_WORDS, TELLING

LOAD = "device_load"
"""The variable of `stress` that holds the readings, by designator and quantity: "D1.reverse_volts"."""
_WORDS = {
    "reverse_volts": ("reverse volts", "V"),
    "forward_amps": ("mean current", "A"),
    "surge_amps": ("peak current", "A"),
    "watts": ("dissipation", "W"),
}


@dataclass(frozen=True)
class DeviceFacts:
    """A semiconductor of an amp: its type, and its limits by name [V, A, W], as far as known."""

    type: str
    family: str
    basis: str
    source: str
    limits: dict[str, float]


DEVICES = Fact("devices", dict[str, dict[str, DeviceFacts]])
"""To each variant its semiconductors by designator."""


def device_facts(amp: Amp) -> dict[str, DeviceFacts]:
    """The semiconductors of an amp as drawn, mods included."""
    found = {}
    for part, device in _devices(build_circuit(amp)):
        found[part.designator] = DeviceFacts(
            device.type, device.family, device.basis, device.limit_source, dict(device.limits)
        )
    return found


def _devices(wired: Circuit) -> Iterator[tuple[Device, Semiconductor]]:
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        if isinstance(part, Device):
            yield part, wired.amp.semiconductor_by_type[part.type]


def device_readings(
    wired: Circuit, volts_of: Callable[[str, str], Array], vectors: Mapping[str, Array], span: Span
) -> dict[str, float]:
    """Readings of every semiconductor, by designator and quantity; of a bridge those of the diode that carries most.

    Parameters
    ----------
    wired : Circuit
    volts_of : callable
        Designator and pin to its volts against ground [V], shape of the span.
    vectors : mapping
        What ngspice gave.
    span : Span
        The instants, and from when on means are taken.
    """
    found: dict[str, float] = {}
    for part, device in _devices(wired):
        ends = BRIDGE if part.kind == "bridge rectifier" else (("anode", "cathode"),)
        for name, (anode, cathode) in zip(package(part), ends, strict=True):
            across = volts_of(part.designator, anode) - volts_of(part.designator, cathode)
            for quantity, value in _diode(across, _current(name, device, vectors), span).items():
                key = f"{part.designator}.{quantity}"
                found[key] = max(value, found.get(key, 0.0))
    return found


def _current(name: str, device: Semiconductor, vectors: Mapping[str, Array]) -> Array:
    own = {piece: vectors[vector] for piece, vector in device_vectors(name, device).items()}
    return own["forward"] - own["back"]


def _diode(volts: Array, amps: Array, span: Span) -> dict[str, float]:
    return {
        "reverse_volts": max(0.0, -float(volts.min())),
        "forward_amps": span.mean(np.maximum(amps, 0.0)),
        "surge_amps": float(amps.max()),
        "watts": span.mean(volts * amps),
    }


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
        if math.isnan(value) or part not in facts[name]:
            continue
        words, unit = _WORDS[quantity]
        limit = facts[name][part].limits.get(quantity, math.nan)
        rows.append((name, str(response["position"].values[position]), part, facts[name][part].type, words,
                     str(response["state"].values[state]), value, limit, unit))  # fmt: skip
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
        known = not math.isnan(worst["limit"])
        yield Finding(
            TITLE, f"{part} {worst['quantity']}", modded, worst["position"], worst["value"], worst["unit"],
            worst["limit"] if known else None, worst["grade"], _words(worst, found), HOW,
            f"limits ({facts[str(part)].basis}): {facts[str(part)].source}", "",
            where=positions.words(worst["position"], own),
        )  # fmt: skip


def _key(row: Mapping[str, Any]) -> tuple[str, ...]:
    return row["position"], row["device"], row["quantity"], row["state"]


def _share(row: Mapping[str, Any]) -> float:
    return -1.0 if math.isnan(row["limit"]) else round(row["value"] / row["limit"], 3)


def _grade(row: Mapping[str, Any], stock: float) -> Grade:
    plain = grade_below(row["value"], row["limit"])
    excused = stock > row["limit"] and row["value"] <= (1.0 + MOVED) * stock
    return Grade.NEAR if plain == Grade.BEYOND and excused else plain


def _words(worst: Mapping[str, Any], found: list[dict[str, Any]]) -> str:
    name = f"{worst['device']} ({worst['type']})"
    if math.isnan(worst["limit"]):
        return f"{name}: no limits known for this type."
    value, limit = (in_unit(worst[each], worst["unit"]) for each in ("value", "limit"))
    words = f"{name}: {worst['quantity']} {value} {STATE_WORDS[worst['state']]}, at most {limit}."
    unknown = dict.fromkeys(row["quantity"] for row in found if math.isnan(row["limit"]))
    return f"{words} No limit known for its {' and '.join(unknown)}." if unknown else words


def in_unit(value: float, unit: str) -> str:
    """A value [V, A or W] with its unit, in thousandths where it is small."""
    if unit == "V" or value >= 0.1:
        return f"{value:.3g} {unit}" if value >= 1e-3 else f"0 {unit}"
    return f"{1e3 * value:.2g} m{unit}" if value >= 1e-6 else f"0 {unit}"
