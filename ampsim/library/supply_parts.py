"""Mains transformers and chokes of a [parts] table."""

from __future__ import annotations

import re

from ..base.entries import Entry
from ..base.errors import shown
from ..base.quantities import AMPERE, HENRY, HERTZ, OHM, VOLT
from ..circuit.amp import Part
from ..circuit.supply.transformer import MainsTransformer, Winding
from .lamps import read_thermistor

_NAME = re.compile(r"[a-z][a-z0-9]{0,15}")
_SPLIT = re.compile(r"\s*([^-]+)-0-([^-]+?)\s*")


def read_choke(designator: str, entry: Entry) -> Part:
    """Read a choke: inductance, resistance of its winding, and where its core saturates.

    Raises
    ------
    DescriptionError
        Naming file, entry and value.
    """
    made = Part(
        designator,
        "inductor",
        entry.value("inductance", HENRY),
        resistance=entry.value("resistance", OHM, 0.0),
        saturation_amps=entry.value("saturation_current", AMPERE, 0.0),
    )
    entry.finish(" in a choke")
    return made


def read_mains_transformer(designator: str, entry: Entry) -> MainsTransformer:
    """Read a mains transformer with its windings.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and what would do.
    """
    mains = entry.value("mains", VOLT)
    primary = entry.value("primary", VOLT, mains)
    table = entry.table("windings", needed=True)
    windings = tuple(_winding(table, name) for name in table.names())
    if not windings:
        raise entry.fail("windings", "a mains transformer has at least one, such as ht = { volts = '300-0-300', ... }")
    if min(mains, primary) <= 0.0:
        raise entry.fail("mains", "give the volts of mains and primary above zero")
    inrush = read_thermistor(entry.table("inrush"), f"{designator}_inrush") if entry.has("inrush") else None
    made = MainsTransformer(
        designator,
        mains,
        primary,
        entry.value("frequency", HERTZ, 50.0),
        entry.value("primary_resistance", OHM, 0.0),
        windings,
        inrush,
        entry.value("draws", AMPERE, dict(inrush.parameters)["warm_amps"]) if inrush else 0.0,
    )
    entry.finish(" in a mains transformer")
    return made


def _winding(table: Entry, name: str) -> Winding:
    if not _NAME.fullmatch(name):
        raise table.fail(name, f"{shown(name)} is not a name for a winding; small letters and digits, such as ht")
    entry = table.table(name)
    volts, centre = _volts(entry)
    tap = entry.value("tap", VOLT, 0.0)
    if not 0.0 <= tap < (0.5 if centre else 1.0) * volts:
        raise entry.fail("tap", f"a tap lies between {'the middle' if centre else 'end b'} and end a; give its volts")
    rated = entry.value("current", AMPERE, 0.0)
    found = Winding(name, volts, _resistance(entry, volts), centre, tap, rated, entry.value("load", AMPERE, 0.0))
    entry.finish(" in a winding")
    return found


def _volts(entry: Entry) -> tuple[float, bool]:
    """The volts from end to end, and whether there is a middle: "300-0-300", or "250" alone."""
    given = entry.raw("volts")
    halves = _SPLIT.fullmatch(given) if isinstance(given, str) else None
    if halves is None:
        volts = entry.value("volts", VOLT)
    else:
        first, second = (entry.parsed("volts", half, VOLT) for half in halves.groups())
        if first != second:
            raise entry.fail("volts", f"{shown(given)}: both halves of a winding have the same volts")
        volts = first + second
    if volts <= 0.0:
        raise entry.fail("volts", f"{shown(given)}: give the volts of a winding above zero")
    return volts, halves is not None


def _resistance(entry: Entry, volts: float) -> float:
    """Its resistance, as measured, or from regulation and rated current."""
    if entry.has("resistance"):
        return entry.value("resistance", OHM)
    if not entry.has("regulation"):
        raise entry.fail("resistance", "give the winding's resistance, or its regulation and its current")
    return entry.number("regulation", 0.0, 50.0) / 100.0 * volts / entry.value("current", AMPERE)
