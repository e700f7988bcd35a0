"""Ratings and capacitances that the valve files repeat from the data sheets."""

from __future__ import annotations

from functools import partial

from ampsim import load_valve
from tests.truth.claims import COPIED, Case, Claim, Limit

_EXACT = Limit(1e-9, "copied from the sheet: the same number")
_RATINGS = (
    "plate_volts_cold", "plate_volts", "plate_watts", "cathode_milliamps", "negative_grid_volts",
    "grid_leak_self_bias", "heater_cathode_volts",
)  # fmt: skip
_PENTODE = (
    "plate_volts_cold", "plate_volts", "screen_volts_cold", "screen_volts", "plate_watts", "screen_watts",
    "cathode_milliamps", "grid_leak_self_bias", "grid_leak_fixed_bias", "heater_cathode_volts",
)  # fmt: skip
_LISTS = "lists of tester settings and data-sheet extracts of a public valve-tester project, 2026"
SHEETS = (
    ("L1", "12AX7", "US data sheet 12AX7, design-centre ratings, a retyped copy", "secondary",
     ("plate_volts", "plate_watts", "heater_cathode_volts", "negative_grid_volts"), (300, 1.0, 180, 50)),
    ("L3", "12AT7", "Philips data sheet ECC81, 1969, p. 2", "verified", _RATINGS, (550, 300, 2.5, 15, 50, 1e6, 90)),
    ("L4", "12AU7", "Philips data sheet ECC82, 1959, p. 4", "verified", _RATINGS,
     (550, 300, 2.75, 20, 100, 1e6, 180)),
    ("L5", "6DJ8", "Philips data sheet ECC88, 1958, p. 2", "verified", _RATINGS, (550, 130, 1.8, 25, 50, 1e6, 50)),
    ("E6", "EL84", "Philips data sheet EL84, 1955, p. 6", "verified", _PENTODE,
     (550, 300, 550, 300, 12, 2, 65, 1e6, 0.3e6, 100)),
    ("F6", "EL34", "Philips data sheet EL34, 1959, p. 4", "verified", _PENTODE,
     (2000, 800, 800, 500, 25, 8, 150, 0.7e6, 0.5e6, 100)),
    ("G5", "6L6GC", "encyclopaedia table citing GE Essential Characteristics, 1973", "secondary",
     ("plate_volts", "plate_watts"), (500, 30)),
    ("VSN9", "6SN7GTB", _LISTS, "secondary",
     ("plate_volts", "plate_watts", "cathode_milliamps", "grid_leak_self_bias"), (450, 5.0, 20, 1e6)),
    ("VSL12", "6SL7GT", _LISTS, "secondary",
     ("plate_volts", "plate_watts", "grid_leak_self_bias", "grid_leak_fixed_bias"), (300, 1.0, 1e6, 0.5e6)),
    ("V6611", "KT66", _LISTS, "secondary",
     ("plate_volts", "screen_volts", "plate_watts", "screen_watts"), (500, 400, 25, 3.5)),
    ("V6513", "6550", "General Electric, 6550-A, 1972, and lists, as quoted; 35 W of the 6550", "secondary",
     ("plate_volts", "screen_volts", "plate_watts", "screen_watts"), (660, 440, 35, 6)),
    ("VAQ3", "6AQ5", _LISTS, "secondary",
     ("plate_volts", "screen_volts", "plate_watts", "screen_watts"), (275, 275, 12, 2)),
    ("VL63", "ECL86-P", _LISTS, "secondary", ("plate_volts", "screen_volts", "plate_watts"), (300, 300, 9)),
    ("VB3", "807", "RCA, data sheet 807, 1954, p. 2", "verified",
     ("plate_volts", "screen_volts", "plate_watts", "screen_watts", "cathode_milliamps", "grid_leak_self_bias",
      "grid_leak_fixed_bias", "heater_cathode_volts"), (600, 300, 25, 3.5, 120, 0.5e6, 0.1e6, 135)),
)  # fmt: skip
CAPACITANCES = (
    ("VAB6", "EABC80", "Philips data sheet EABC80, 1955, p. 1", "verified", (2.0e-12, 1.9e-12, 1.4e-12)),
    ("VCC3", "ECC99", "maker's sheet ECC99, 2015, as quoted", "secondary", (5.1e-12, 5.8e-12, 0.91e-12)),
    ("C1", "12AX7", "US data sheet 12AX7, a retyped copy", "secondary", (1.7e-12, 1.6e-12)),
    ("C3", "12AT7", "Philips data sheet ECC81, 1969, p. 2", "verified", (1.6e-12, 2.3e-12)),
    ("C4", "12AU7", "Philips data sheet ECC82, 1954, p. 1", "verified", (1.6e-12, 1.8e-12)),
    ("C5", "6DJ8", "Philips data sheet ECC88, 1958, p. 1", "verified", (1.4e-12, 3.3e-12, 1.8e-12)),
    ("E7", "EL84", "Philips data sheet EL84, 1953, p. 1; grid to plate is an upper limit", "verified",
     (0.5e-12, 10.8e-12, 6.5e-12)),
    ("F7", "EL34", "Philips data sheet EL34, 1958, p. 1; grid to plate is an upper limit", "verified",
     (1.1e-12, 15.2e-12, 8.4e-12)),
)  # fmt: skip


def _read(valve: str, table: str, names: tuple[str, ...]) -> dict[str, float]:
    held = getattr(load_valve(valve), table)
    return {name: getattr(held, name) or float("nan") for name in names}


def cases() -> list[Case]:
    """Every rating and capacitance."""
    found = []
    for row, valve, source, flag, names, values in SHEETS:
        claims = tuple(
            Claim(row, name, float(value), "SI", source, flag, COPIED, _EXACT)
            for name, value in zip(names, values, strict=True)
        )
        found.append(Case(claims, partial(_read, valve, "limits", names)))
    for row, valve, source, flag, farads in CAPACITANCES:
        pins = ("grid_plate", "grid_cathode", "plate_cathode")[: len(farads)]
        claims = tuple(
            Claim(row, name, value, "F", source, flag, COPIED, _EXACT) for name, value in zip(pins, farads, strict=True)
        )
        found.append(Case(claims, partial(_read, valve, "capacitances", pins)))
    return found
