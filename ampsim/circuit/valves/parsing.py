"""From the tables of a valve file to a `Valve`: strict, with a message that names file, entry and value."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from ...base.entries import Entry
from ...base.errors import shown
from .description import Capacitances, Family, FitRange, Flag, GridDiode, Heater, Limits, Point, Valve
from .laws import LAWS
from .pinout import Pinout

FLAGS = ("verified", "secondary", "computed", "from memory")
CIRCUITS = (
    "valve alone",
    "triode connected",
    "resistance-coupled stage",
    "resistance-coupled pentode stage",
    "grid-leak stage",
    "valve and cathode resistor across the supply",
    "two-stage cascade",
    "stage and split-load inverter",
    "single-ended output",
    "single-ended output, triode connected",
    "push-pull output, cathode bias",
    "push-pull output, fixed bias",
    "push-pull output, fixed bias, triode connected",
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
    "cathode current": "A",
    "grid current": "A",
    "grid current start": "V",
    "grid volts": "V",
    "plate volts": "V",
    "output volts": "V",
    "output volts at 5 % distortion": "V",
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
    **dict.fromkeys(
        ("plate_ohms", "cathode_ohms", "screen_ohms", "next_grid_ohms", "load_ohms", "grid_ohms"), (0.0, 1e8)
    ),
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
_MOST_ROWS = 1000


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
    top = Entry(data, file)
    law = top.choice("law", LAWS)
    family = cast(Family, top.choice("family", ("triode", "pentode")))
    if family != LAWS[law].family:
        raise top.fail("family", f"{shown(family)} does not fit: the law {law!r} is one for a {LAWS[law].family}")
    valve = Valve(
        type=top.identifier("type"),
        family=family,
        law=law,
        parameters=_parameters(top, law),
        source=top.line("source"),
        grid_current=_grid_current(top, law),
        capacitances=_capacitances(top),
        limits=_limits(top),
        fit_range=_fit_range(top, family),
        points=_points(top),
        heater=_heater(top),
        pinout=_pinout(top),
    )
    top.finish(" in a valve file")
    return valve


def _parameters(top: Entry, law: str) -> tuple[tuple[str, float], ...]:
    table = top.table("parameters", needed=True)
    found = tuple(
        (one.name, one.default)
        if one.default is not None and not table.has(one.name)
        else (one.name, table.number(one.name, one.lowest, one.highest))
        for one in LAWS[law].parameters
    )
    table.finish(f" to the law {law!r}")
    return found


def _grid_current(top: Entry, law: str) -> GridDiode | None:
    given = top.has("grid_current")
    if given == (LAWS[law].grid is not None):
        what = "has its own; leave the table out" if given else "needs this table"
        raise top.fail("grid_current", f"the law {law!r} {what}")
    if not given:
        return None
    table = top.table("grid_current")
    found = GridDiode(table.line("source"), *(table.number(key, *bounds) for key, bounds in _GRID.items()))
    table.finish()
    return found


def _capacitances(top: Entry) -> Capacitances:
    names = ("grid_plate", "grid_cathode", "plate_cathode")
    table = top.table("capacitances", needed=True)
    found = Capacitances(table.line("source"), *(table.number(name, 0.0, 1e-9) for name in names))
    table.finish()
    return found


def _heater(top: Entry) -> Heater | None:
    if not top.has("heater"):
        return None
    table = top.table("heater")
    found = Heater(table.number("volts", 0.5, 200.0), table.number("amps", 0.01, 50.0), table.line("source"))
    table.finish()
    return found


def _pinout(top: Entry) -> Pinout | None:
    if not top.has("base"):
        return None
    table = top.table("base")
    pins = tuple(table.element("pins", each).line("pins") for each in table.elements("pins", 14))
    if len(pins) < 4:
        raise table.fail("pins", "a base has at least four pins; name what is on each, pin 1 first")
    found = Pinout(table.label("name"), pins, table.line("source"))
    table.finish()
    return found


def _limits(top: Entry) -> Limits:
    table = top.table("limits", needed=True)
    numbers = {key: table.number(key, *bounds) for key, bounds in _LIMITS.items() if table.has(key)}
    found = Limits(table.line("basis"), table.line("source"), **numbers)
    table.finish()
    return found


def _fit_range(top: Entry, family: Family) -> FitRange:
    screen = ("screen_volts",) if family == "pentode" else ()
    table = top.table("fit_range", needed=True)
    found = FitRange(*(table.span(key, -1e4, 1e4) for key in ("plate_volts", "grid_volts", *screen)))
    table.finish(f" to a {family}")
    return found


def parse_points(rows: object, file: str) -> tuple[Point, ...]:
    """The `[[points]]` of a valve file [SI units inside].

    Raises
    ------
    DescriptionError
        As `parse_valve`.
    """
    return _points(Entry({"points": rows}, file))


def _points(top: Entry) -> tuple[Point, ...]:
    points = [point for row in top.tables("points", _MOST_ROWS) for point in _row(row)]
    seen: set[tuple[str, str]] = set()
    for point in points:
        if (point.id, point.quantity) in seen:
            raise top.fail("points", f"{point.id} gives {point.quantity!r} twice")
        seen.add((point.id, point.quantity))
    return tuple(points)


def _row(entry: Entry) -> list[Point]:
    entry.raw("readings")
    given = entry.table("conditions", needed=True)
    conditions = tuple((key, given.number(key, *bounds)) for key, bounds in _CONDITIONS.items() if given.has(key))
    given.finish()
    shared = (entry.identifier("id"), entry.line("source"), entry.choice("circuit", CIRCUITS), conditions)
    flag = cast(Flag, entry.choice("flag", FLAGS))
    points = [Point(*shared, *_reading(each), flag) for each in entry.tables("readings", _MOST_ROWS)]
    entry.finish()
    return points


def _reading(entry: Entry) -> tuple[str, float, str, bool]:
    quantity = entry.choice("quantity", QUANTITIES)
    scales = _UNITS[QUANTITIES[quantity]]
    value = entry.number("value", -1e7, 1e7) * scales[entry.choice("unit", scales)]
    used = entry.truth("used_in_fit")
    entry.finish()
    return quantity, value, QUANTITIES[quantity], used
