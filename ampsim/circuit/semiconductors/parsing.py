"""From the tables of a semiconductor's file to its data: strict, every message names file, entry and value."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

from ...base.entries import Entry
from ..valves.description import Flag
from ..valves.parsing import FLAGS
from .description import DevicePoint, Semiconductor
from .laws import LAWS
from .measuring import QUANTITIES

_UNITS = {
    "V": {"V": 1.0, "mV": 1e-3},
    "S": {"S": 1.0, "mS": 1e-3, "uS": 1e-6},
    "ohm": {"ohm": 1.0, "kohm": 1e3, "Mohm": 1e6},
    "A": {"A": 1.0, "mA": 1e-3, "uA": 1e-6, "nA": 1e-9},
    "Hz": {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6},
    "s": {"s": 1.0, "ms": 1e-3},
    "V/s": {"V/us": 1e6},
    "V/sqrt(Hz)": {"nV/sqrt(Hz)": 1e-9},
}
_CONDITIONS = dict.fromkeys(("forward_amps", "reverse_amps"), (1e-12, 100.0)) | dict.fromkeys(
    ("forward_volts", "reverse_volts"), (0.0, 1e4)
)
_CONDITIONS |= {"drain_volts": (-1e4, 1e4), "gate_volts": (-1e3, 1e3), "drain_amps": (-1e3, 1e3)}
_CONDITIONS |= {"supply_volts": (0.5, 100.0), "load_ohms": (1.0, 1e7), "plate_amps": (1e-6, 10.0),
                "seconds": (0.0, 1e4)}  # fmt: skip
_FET_LIMITS = {
    "drain_volts": (1.0, 1e4),
    "gate_volts": (0.5, 1e3),
    "drain_amps": (1e-4, 1e3),
    "watts": (1e-3, 1e3),
}
LIMITS: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "diode": {
        "reverse_volts": (0.5, 1e4),
        "forward_amps": (1e-4, 100.0),
        "surge_amps": (1e-3, 1e4),
        "watts": (1e-3, 1e3),
    },
    **dict.fromkeys(("jfet", "mosfet"), _FET_LIMITS),
    "opto-coupler": {"forward_amps": (1e-4, 10.0), "cell_volts": (1.0, 1e4), "cell_watts": (1e-3, 10.0)},
    "operational amplifier": {"supply_volts": (1.0, 200.0), "apart_volts": (0.1, 200.0), "watts": (1e-3, 100.0)},
    "rectifier valve": {
        "reverse_volts": (1.0, 1e5),
        "peak_amps": (1e-3, 100.0),
        "mean_amps": (1e-3, 100.0),
        "plate_volts": (1.0, 1e5),
        "reservoir_farads": (1e-7, 1e-2),
        "heater_cathode_volts": (1.0, 1e4),
    },
}
"""The ratings that a family may have [V, A, W], each with its lowest and highest sensible value."""
_MOST_ROWS = 1000


def parse_semiconductor(data: Mapping[str, object], file: str) -> Semiconductor:
    """Turn the tables of a semiconductor's file into a `Semiconductor`.

    Parameters
    ----------
    data
        The file as the TOML reader gives it.
    file
        Name of the file, for messages only.

    Raises
    ------
    DescriptionError
        Anything unknown, missing, of the wrong kind or out of bounds; the message names file, entry, value.
    """
    top = Entry(data, file)
    families = dict.fromkeys(law.family for law in LAWS.values() if law.family in LIMITS)
    family = top.choice("semiconductor", [each for each in families if each != "rectifier valve"])
    found = Semiconductor(**type_entries(top, family), spread=_spread(top))
    top.finish(" in the file of a semiconductor")
    return found


def type_entries(top: Entry, family: str) -> dict[str, Any]:
    """What the file of any type says, by the names of `Semiconductor`; the entry is not finished."""
    law = top.choice("law", [name for name, each in LAWS.items() if each.family == family])
    farads = top.table("capacitances", needed=family != "rectifier valve")
    limits = top.table("limits", needed=True)
    found: dict[str, Any] = {
        "type": top.identifier("type"),
        "family": LAWS[law].family,
        "law": law,
        "parameters": _parameters(top, law),
        "source": top.line("source"),
        "capacitances": tuple((name, farads.number(name, 0.0, 1e-6)) for name in LAWS[law].capacitances),
        "capacitance_source": farads.line("source") if family != "rectifier valve" else "",
        "limits": tuple(
            (key, limits.number(key, *bounds)) for key, bounds in LIMITS[family].items() if limits.has(key)
        ),
        "basis": limits.line("basis"),
        "limit_source": limits.line("source"),
        "points": _points(top),
        "leaves_out": top.line("leaves_out") if top.has("leaves_out") else "",
        "sections": int(top.number("sections", 1, 4)) if top.has("sections") else 1,
    }
    farads.finish(f" to the law {law!r}")
    limits.finish(f" to a {family}")
    return found


def _parameters(top: Entry, law: str) -> tuple[tuple[str, float], ...]:
    table = top.table("parameters", needed=True)
    found = tuple((one.name, table.number(one.name, one.lowest, one.highest)) for one in LAWS[law].parameters)
    table.finish(f" to the law {law!r}")
    return found


def _spread(top: Entry) -> tuple[tuple[str, float, float], ...]:
    if not top.has("spread"):
        return ()
    table = top.table("spread")
    found = tuple((key, *table.span(key, -1e3, 1e3)) for key in ("idss", "cut_off_volts") if table.has(key))
    table.line("source")
    table.finish(" to a spread")
    return found


def _points(top: Entry) -> tuple[DevicePoint, ...]:
    found: list[DevicePoint] = []
    for row in top.tables("points", _MOST_ROWS):
        given = row.table("conditions", needed=True)
        conditions = tuple((key, given.number(key, *bounds)) for key, bounds in _CONDITIONS.items() if given.has(key))
        given.finish()
        quantity = row.choice("quantity", QUANTITIES)
        unit, needed = QUANTITIES[quantity]
        if tuple(name for name, _ in conditions) != needed:
            raise row.fail("conditions", f"{quantity!r} is given at {' and '.join(needed)}, nothing else")
        scales = _UNITS[unit]
        value = row.number("value", -1e4, 1e4) * scales[row.choice("unit", scales)]
        found.append(
            DevicePoint(row.identifier("id"), row.line("source"), conditions, quantity, value, unit,
                        row.number("tolerance", 0.0, 10.0), row.truth("used_in_fit"),
                        cast(Flag, row.choice("flag", FLAGS)))
        )  # fmt: skip
        row.finish()
    return tuple(found)
