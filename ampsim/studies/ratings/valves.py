"""What every valve carries against its limits, at rest, at switch-on and driven hard."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
import xarray as xr

from ...measures.labels import expect
from ...simulation.facts import ValveFacts, get
from ...simulation.valve_facts import valves_at
from ..findings import grade_below
from ..once import once
from ..settings import in_steps, positions_of
from .simulate import EQUAL_VALVES

STATE_WORDS = {
    "rest": "at rest",
    "cold": "at switch-on while the valves are cold",
    "driven": "driven hard",
}


TELLING = 0.02
"""Share by which a reading moves at least where a setting matters for it: what is driven is not known better."""


@dataclass(frozen=True)
class _Quantity:
    """A quantity in one state: where it is read, and the limits it is held against, the first known one counting."""

    name: str
    state: str
    variable: str
    pin: str
    limits: tuple[str, ...]
    unit: str


_SELF, _FIXED = "grid_leak_self_bias", "grid_leak_fixed_bias"
_WATTS, _VOLTS = "electrode_watts", "electrode_volts"
GRID_LEAK = "grid leak"
QUANTITIES = (
    _Quantity("plate dissipation", "rest", _WATTS, "plate", ("plate_watts",), "W"),
    _Quantity("plate dissipation", "driven", _WATTS, "plate", ("plate_watts_driven", "plate_watts"), "W"),
    _Quantity("screen dissipation", "rest", _WATTS, "screen", ("screen_watts",), "W"),
    _Quantity("screen dissipation", "driven", _WATTS, "screen", ("screen_watts_driven", "screen_watts"), "W"),
    _Quantity("plate volts", "rest", _VOLTS, "plate", ("plate_volts",), "V"),
    _Quantity("plate volts", "cold", _VOLTS, "plate", ("plate_volts_cold",), "V"),
    _Quantity("screen volts", "rest", _VOLTS, "screen", ("screen_volts",), "V"),
    _Quantity("screen volts", "cold", _VOLTS, "screen", ("screen_volts_cold",), "V"),
    _Quantity("cathode current", "rest", "cathode_amps", "", ("cathode_milliamps",), "mA"),
    _Quantity("cathode current", "driven", "cathode_amps", "", ("cathode_milliamps",), "mA"),
    _Quantity("heater to cathode", "rest", _VOLTS, "cathode", ("heater_cathode_volts",), "V"),
    _Quantity("heater to cathode", "driven", _VOLTS, "cathode", ("heater_cathode_volts",), "V"),
    _Quantity("negative grid volts", "driven", _VOLTS, "grid", ("negative_grid_volts",), "V"),
    _Quantity(GRID_LEAK, "rest", "grid_ohms", "", (_SELF,), "ohm"),
)


_COLUMNS = ["variant", "position", "valve", "type", "quantity", "state", "value", "unit", "limit", "of limit [%]",
            "kind of limit", "grade"]  # fmt: skip


@once
def valve_ratings(response: xr.Dataset, heater_volts: float = 0.0) -> pd.DataFrame:
    """Hold every valve against its limits.

    `response`: of `ampsim.studies.ratings.simulate.stress`. `heater_volts`: what the heaters stand at against ground
    [V].

    Returns
    -------
    pandas.DataFrame
        One row per variant, position, valve, quantity and state: value, unit, limit (NaN where the valve file gives
        none), percentage of it, kind of limit, grade. Dissipation and cathode current when driven are means over the
        settled cycles; volts when driven are peaks. The grid leak is held against the limit for fixed bias when more
        than half of the bias comes from below ground, else against that for cathode bias.

    Raises
    ------
    DescriptionError
        For another kind of response.
    """
    expect(response, "stress")
    valves = valves_at(response)
    rows = []
    for variant in (str(each) for each in response["variant"].values):
        for position, readings in _readings(response, variant):
            for designator, facts in valves(variant, position).items():
                place = {"variant": variant, "position": position, "valve": designator, "type": facts.type}
                rows += [place | row for row in _rows(designator, facts, readings, heater_volts)]
    # An amp need not have a valve.
    return pd.DataFrame(rows, columns=None if rows else _COLUMNS)


def is_fixed_bias(grid_volts: float, cathode_volts: float) -> bool:
    """Whether the bias comes from a negative supply rather than from a cathode resistor.

    Parameters
    ----------
    grid_volts
        At rest, against the cathode [V].
    cathode_volts
        At rest, against ground [V].
    """
    return grid_volts + cathode_volts < 0.5 * grid_volts


Row = Mapping[str, Any]


def worst_rows(rows: Sequence[Row], response: xr.Dataset, worry: Callable[[Row], Any]) -> Iterator[dict[str, Any]]:
    """Of rows of `valve_ratings`, one to each valve and reading: at the worst position, with the settings that make it.

    Parameters
    ----------
    rows : sequence of mappings
        Of one variant, at all positions.
    response : xarray.Dataset
        That the table was made from.
    worry : callable
        What of two rows the worse has more of; of equals the first counts.

    Yields
    ------
    dict
        The row, and "where" besides. Valves that idle alike in one output stage share a position and its settings: the
        one where any of them reads worst.
    """
    positions = positions_of(response)
    partners = {valve: tuple(group) for group in get(response, EQUAL_VALVES) for valve in group}
    readings: dict[tuple[str, str, str], dict[str, Row]] = {}
    for row in rows:
        readings.setdefault((row["valve"], row["quantity"], row["state"]), {})[row["position"]] = row
    for (valve, quantity, state), own in readings.items():
        others = (readings.get((each, quantity, state), {}) for each in partners.get(valve, (valve,)))
        alike = [each for each in others if each.keys() == own.keys()]
        at = max((row for each in alike for row in each.values()), key=worry)["position"]
        figures = {label: tuple(in_steps(each[label]["value"], TELLING) for each in alike) for label in own}
        yield {**own[at], "where": positions.words(at, figures)}


def _rows(
    designator: str, facts: ValveFacts, readings: Mapping[tuple[str, str, str], float], heater_volts: float
) -> Iterator[dict[str, Any]]:
    def read(quantity: _Quantity) -> float:
        item = f"{designator}.{quantity.pin}" if quantity.pin else designator
        value = readings.get((quantity.variable, item, quantity.state), math.nan)
        if quantity.pin == "cathode":  # against the heater
            return abs(value - heater_volts)
        return max(-value, 0.0) if quantity.pin == "grid" else 1e3 * value if quantity.unit == "mA" else value

    bias = (readings.get((_VOLTS, f"{designator}.{pin}", "rest"), math.nan) for pin in ("grid", "cathode"))
    fixed = is_fixed_bias(*bias)
    for quantity in QUANTITIES:
        value = read(quantity)
        if math.isnan(value):
            continue
        names = (_FIXED,) if fixed and quantity.limits == (_SELF,) else quantity.limits
        limit = next((facts.limits[name] for name in names if name in facts.limits), math.nan)
        yield {
            "quantity": quantity.name,
            "state": quantity.state,
            "value": value,
            "unit": quantity.unit,
            "limit": limit,
            "of limit [%]": 100.0 * value / limit,
            "kind of limit": facts.basis,
            "grade": grade_below(value, limit),
        }


def _readings(response: xr.Dataset, variant: str) -> Iterator[tuple[str, dict[tuple[str, str, str], float]]]:
    """Position label, and (variable, item, state) to its reading there."""
    chosen = response.isel(variant=[str(each) for each in response["variant"].values].index(variant))
    for place, position in enumerate(chosen["position"].values):
        here = chosen.isel(position=place)
        found: dict[tuple[str, str, str], float] = {}
        for variable in (_WATTS, _VOLTS, "cathode_amps", "grid_ohms"):
            array = here[variable]
            table = array.values if "state" in array.dims else array.values[:, None]
            states = [str(each) for each in here["state"].values] if "state" in array.dims else ["rest"]
            for item, row in zip(array[array.dims[0]].values, table, strict=True):
                found |= {(variable, str(item), state): float(each) for state, each in zip(states, row, strict=True)}
        yield str(position), found
