"""Where every valve idles, against its ratings."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from enum import StrEnum

import pandas as pd
import xarray as xr

from ..simulation.facts import ValveFacts
from ..simulation.valve_facts import valves_at
from .labels import expect
from .loads import valve_load

READINGS = ("plate [V]", "cathode [V]", "grid [V]", "screen [V]", "plate [mA]", "screen [mA]", "plate [W]")
"""Columns of the table that hold what the valve does, not what it may."""


class BiasState(StrEnum):
    """How a valve idles against its limits."""

    OVER = "over a limit"
    WITHIN = "within limits"
    NO_LIMITS = "no limits known"
    NOT_READ = "not judged: no readings of its plate and cathode"


def bias_table(response: xr.Dataset) -> pd.DataFrame:
    """Voltages, currents and dissipation of every valve at rest, with its limits.

    Parameters
    ----------
    response : xarray.Dataset
        An operating point.

    Returns
    -------
    pandas.DataFrame
        One row per variant, position and valve. Voltages [V] are against ground, currents in mA, plate dissipation in
        W as (plate volts - cathode volts) x plate current (definition), its limit in W and the percentage of it, what
        kind of limit it is, and a verdict in words on plate and screen dissipation, plate and screen voltage (both
        against the cathode) and cathode current. Screen columns are NaN for triodes, limits NaN where none is known.

    Raises
    ------
    DescriptionError
        When the response is not an operating point.

    Notes
    -----
    What design-centre and absolute limits are: IEC 60134.
    """
    return judged_bias_table(response).drop(columns="state")


_COLUMNS = ["variant", "position", "valve", "type", "plate [V]", "cathode [V]", "grid [V]", "screen [V]", "plate [mA]",
            "screen [mA]", "plate [W]", "limit [W]", "of limit [%]", "kind of limit", "verdict", "state"]  # fmt: skip


def judged_bias_table(response: xr.Dataset) -> pd.DataFrame:
    """`bias_table` with one more column, "state": the verdict as a `BiasState`."""
    expect(response, "operating point")
    valves = valves_at(response)
    rows = [
        {"variant": variant, "position": position, **_row(designator, facts, readings)}
        for variant in (str(each) for each in response["variant"].values)
        for position, readings in _readings(response, variant)
        for designator, facts in valves(variant, position).items()
        if not math.isnan(readings.get(f"{designator}.plate:A", 0.0))  # NaN: taken out in this position
    ]
    # An amp need not have a valve.
    return pd.DataFrame(rows, columns=None if rows else _COLUMNS)


def _readings(response: xr.Dataset, variant: str) -> Iterator[tuple[str, dict[str, float]]]:
    """Position label, and "V1A.plate:V" or "V1A.plate:A" to its reading there."""
    chosen = response.isel(variant=[str(each) for each in response["variant"].values].index(variant))
    for place, position in enumerate(chosen["position"].values):
        here = chosen.isel(position=place)
        readings = {f"{n}:V": float(v) for n, v in zip(here["node"].values, here["voltage"].values, strict=True)}
        readings |= {f"{b}:A": float(i) for b, i in zip(here["branch"].values, here["current"].values, strict=True)}
        yield str(position), readings


def _row(designator: str, facts: ValveFacts, readings: Mapping[str, float]) -> dict[str, str | float]:
    def read(pin: str, kind: str) -> float:
        return readings.get(f"{designator}.{pin}:{kind}", math.nan)

    volts = {pin: read(pin, "V") for pin in ("plate", "cathode", "grid", "screen")}
    amps = {pin: read(pin, "A") for pin in ("plate", "screen", "grid")}
    load = valve_load(volts, amps)
    limits = facts.limits
    watts, limit = float(load.plate_watts), limits.get("plate_watts", math.nan)
    checks = {
        "plate dissipation": (watts, limit, "W"),
        "screen dissipation": (float(load.screen_watts), limits.get("screen_watts", math.nan), "W"),
        "plate voltage": (float(load.plate_volts), limits.get("plate_volts", math.nan), "V"),
        "screen voltage": (float(load.screen_volts), limits.get("screen_volts", math.nan), "V"),
        "cathode current": (1e3 * float(load.cathode_amps), limits.get("cathode_milliamps", math.nan), "mA"),
    }
    state, over = _state(checks)
    return {
        "valve": designator,
        "type": facts.type,
        **{f"{pin} [V]": value for pin, value in volts.items()},
        "plate [mA]": 1e3 * amps["plate"],
        "screen [mA]": 1e3 * amps["screen"],
        "plate [W]": watts,
        "limit [W]": limit,
        "of limit [%]": 100.0 * watts / limit,
        "kind of limit": facts.basis,
        "verdict": "; ".join(over) or str(state),
        "state": state,
    }


def _state(checks: Mapping[str, tuple[float, float, str]]) -> tuple[BiasState, list[str]]:
    """How the readings stand to their limits, and in words which are over."""
    if any(math.isnan(value) for value, _, _ in (checks["plate dissipation"], checks["plate voltage"])):
        return BiasState.NOT_READ, []
    known = {name: check for name, check in checks.items() if not math.isnan(check[0]) and not math.isnan(check[1])}
    over = [
        f"over the {name} limit: {value:.4g} {unit} of {limit:.4g} {unit}"
        for name, (value, limit, unit) in known.items()
        if value > limit
    ]
    return (BiasState.OVER if over else BiasState.WITHIN if known else BiasState.NO_LIMITS), over
