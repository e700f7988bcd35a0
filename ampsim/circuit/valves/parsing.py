"""From the tables of a valve file to a `Valve`: strict, with a message that names file, entry and value."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from ...base.entries import NAME, Table
from ...base.errors import DescriptionError
from .description import Capacitances, Family, FitRange, Flag, GridDiode, Heater, Limits, Point, Valve
from .laws import LAWS

__all__ = ["CIRCUITS", "NAME", "QUANTITIES", "parse_valve"]

FLAGS = ("verified", "secondary", "computed", "from memory")
CIRCUITS = (
    "valve alone",
    "triode connected",
    "resistance-coupled stage",
    "valve and cathode resistor across the supply",
    "two-stage cascade",
    "stage and split-load inverter",
    "single-ended output",
    "single-ended output, triode connected",
    "push-pull output, cathode bias",
    "push-pull output, fixed bias",
)
_UNITS = {
    "A": {"A": 1.0, "mA": 1e-3, "uA": 1e-6},
    "V": {"V": 1.0},
    "W": {"W": 1.0, "mW": 1e-3},
    "S": {"mA/V": 1e-3, "uS": 1e-6},
    "ohm": {"ohm": 1.0, "kohm": 1e3},
    "1": {"1": 1.0, "%": 1e-2},
}
QUANTITIES = {
    "plate current": "A",
    "screen current": "A",
    "grid current": "A",
    "grid current start": "V",
    "grid volts": "V",
    "plate volts": "V",
    "output volts": "V",
    "output power": "W",
    "gm": "S",
    "rp": "ohm",
    "mu": "1",
    "screen mu": "1",
    "gain": "1",
    "distortion": "1",
    "second harmonic": "1",
    "third harmonic": "1",
}
_CONDITIONS = {
    **dict.fromkeys(("plate_volts", "grid_volts", "screen_volts"), (-1e4, 1e4)),
    **dict.fromkeys(("supply_volts", "drive_volts"), (0.0, 1e4)),
    **dict.fromkeys(("plate_amps", "grid_amps"), (0.0, 10.0)),
    **dict.fromkeys(("plate_ohms", "cathode_ohms", "screen_ohms", "next_grid_ohms", "load_ohms"), (0.0, 1e8)),
}
_LIMITS = {
    **dict.fromkeys(("plate_volts", "plate_volts_cold", "screen_volts", "screen_volts_cold"), (1.0, 1e4)),
    **dict.fromkeys(("heater_cathode_volts", "negative_grid_volts"), (1.0, 1e4)),
    **dict.fromkeys(("plate_watts", "plate_watts_driven", "screen_watts", "screen_watts_driven"), (0.01, 1e3)),
    "cathode_milliamps": (0.1, 1e4),
    **dict.fromkeys(("grid_leak_self_bias", "grid_leak_fixed_bias"), (1e3, 1e9)),
}
_GRID = {
    "saturation_amps": (1e-15, 1e-3),
    "emission": (0.5, 50.0),
    "series_ohms": (1.0, 1e6),
    "offset_volts": (-5.0, 5.0),
}
_REQUIRED = ("type", "family", "law", "source", "parameters", "capacitances", "limits", "fit_range")
_OPTIONAL = ("grid_current", "heater", "points")


def parse_valve(data: Mapping[str, object], file: str) -> Valve:
    """Turn the tables of a valve file into a `Valve`.

    Parameters
    ----------
    data
        A valve file as the TOML reader gives it.
    file
        Name of the file, for messages only.

    Raises
    ------
    DescriptionError
        Anything unknown, missing, of the wrong kind or out of bounds; the message names file, entry, value.
    """
    top = Table(data, file, _REQUIRED, _OPTIONAL)
    law = top.choice("law", LAWS)
    family = cast(Family, top.choice("family", ("triode", "pentode")))
    if family != LAWS[law].family:
        raise top.wrong("family", f"the law {law!r} is one for a {LAWS[law].family}")
    return Valve(
        type=top.name("type"),
        family=family,
        law=law,
        parameters=_parameters(top, law),
        source=top.text("source"),
        grid_current=_grid_current(top, law),
        capacitances=_capacitances(top),
        limits=_limits(top),
        fit_range=_fit_range(top, family),
        points=_points(top),
        heater=_heater(top),
    )


def _parameters(top: Table, law: str) -> tuple[tuple[str, float], ...]:
    taken = LAWS[law].parameters
    table = Table(top.data["parameters"], f"{top.place}: parameters", (one.name for one in taken))
    return tuple((one.name, table.number(one.name, one.lowest, one.highest)) for one in taken)


def _grid_current(top: Table, law: str) -> GridDiode | None:
    given = "grid_current" in top.data
    if given == (LAWS[law].grid is not None):
        what = "has its own; leave the table out" if given else "needs this table"
        raise DescriptionError(f"{top.place}: grid_current: the law {law!r} {what}")
    if not given:
        return None
    table = Table(top.data["grid_current"], f"{top.place}: grid_current", (*_GRID, "source"))
    return GridDiode(table.text("source"), *(table.number(key, *bounds) for key, bounds in _GRID.items()))


def _capacitances(top: Table) -> Capacitances:
    names = ("grid_plate", "grid_cathode", "plate_cathode")
    table = Table(top.data["capacitances"], f"{top.place}: capacitances", (*names, "source"))
    return Capacitances(table.text("source"), *(table.number(name, 0.0, 1e-9) for name in names))


def _heater(top: Table) -> Heater | None:
    if "heater" not in top.data:
        return None
    table = Table(top.data["heater"], f"{top.place}: heater", ("volts", "amps", "source"))
    return Heater(table.number("volts", 0.5, 200.0), table.number("amps", 0.01, 50.0), table.text("source"))


def _limits(top: Table) -> Limits:
    table = Table(top.data["limits"], f"{top.place}: limits", ("basis", "source"), _LIMITS)
    numbers = {key: table.optional_number(key, *bounds) for key, bounds in _LIMITS.items()}
    return Limits(table.text("basis"), table.text("source"), **numbers)


def _fit_range(top: Table, family: Family) -> FitRange:
    screen = ("screen_volts",) if family == "pentode" else ()
    table = Table(top.data["fit_range"], f"{top.place}: fit_range", ("plate_volts", "grid_volts", *screen))
    return FitRange(*(table.span(key, -1e4, 1e4) for key in table.required))


def _points(top: Table) -> tuple[Point, ...]:
    rows = [_row(row, f"{top.place}: points[{index}]") for index, row in enumerate(top.rows("points"))]
    points = [point for row in rows for point in row]
    seen: set[tuple[str, str]] = set()
    for point in points:
        if (point.id, point.quantity) in seen:
            raise DescriptionError(f"{top.place}: points: {point.id} gives {point.quantity!r} twice")
        seen.add((point.id, point.quantity))
    return tuple(points)


def _row(data: object, place: str) -> list[Point]:
    table = Table(data, place, ("id", "source", "flag", "circuit", "conditions", "readings"))
    given = Table(table.data["conditions"], f"{place}: conditions", (), _CONDITIONS)
    stated = [key for key in _CONDITIONS if key in given.data]
    conditions = tuple((key, given.number(key, *_CONDITIONS[key])) for key in stated)
    shared = (table.name("id"), table.text("source"), table.choice("circuit", CIRCUITS), conditions)
    flag = cast(Flag, table.choice("flag", FLAGS))
    readings = enumerate(table.rows("readings"))
    return [Point(*shared, *_reading(one, f"{place}: readings[{index}]"), flag) for index, one in readings]


def _reading(data: object, place: str) -> tuple[str, float, str, bool]:
    table = Table(data, place, ("quantity", "value", "unit", "used_in_fit"))
    quantity = table.choice("quantity", QUANTITIES)
    scales = _UNITS[QUANTITIES[quantity]]
    value = table.number("value", -1e7, 1e7) * scales[table.choice("unit", scales)]
    return quantity, value, QUANTITIES[quantity], table.truth("used_in_fit")
