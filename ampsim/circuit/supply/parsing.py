"""From the tables of a rectifier valve's file to its data: strict, every message names file, entry and value."""

from __future__ import annotations

from collections.abc import Mapping

from ...base.entries import Entry
from ..semiconductors.parsing import type_entries
from .rectifier_valve import RectifierHeater, RectifierValve


def parse_rectifier_valve(data: Mapping[str, object], file: str) -> RectifierValve:
    """Turn the tables of a rectifier valve's file into a `RectifierValve`.

    Raises
    ------
    DescriptionError
        Anything unknown, missing, of the wrong kind or out of bounds; the message names file, entry, value.
    """
    top = Entry(data, file)
    top.choice("rectifier", ["two plates"])
    found = RectifierValve(**type_entries(top, "rectifier valve"), heater=_heater(top), least_ohms=_least_ohms(top))
    top.finish(" in the file of a rectifier valve")
    return found


def _heater(top: Entry) -> RectifierHeater | None:
    if not top.has("heater"):
        return None
    table = top.table("heater")
    heated = table.choice("heated", ["directly", "indirectly"])
    found = RectifierHeater(
        table.number("volts", 0.5, 200.0), table.number("amps", 0.01, 50.0), heated == "directly",
        table.number("warm_up_seconds", 0.1, 600.0), table.line("source")
    )  # fmt: skip
    table.finish(" to a heater")
    return found


def _least_ohms(top: Entry) -> tuple[tuple[float, float], ...]:
    rows = []
    for row in top.tables("least_ohms", 100):
        rows.append((row.number("plate_volts", 1.0, 1e5), row.number("ohms", 0.0, 1e5)))
        row.line("source")
        row.finish(" to a least resistance")
    if [volts for volts, _ in rows] != sorted({volts for volts, _ in rows}):
        raise top.fail("least_ohms", "give each voltage once, in rising order")
    return tuple(rows)
