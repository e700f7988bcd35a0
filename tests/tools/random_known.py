"""The amps that come with ampsim, every value drawn by lot, with mods by lot fitted to them."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from typing import Any

from ampsim.base.errors import DescriptionError
from ampsim.base.quantities import FARAD, HENRY, OHM, VOLT, parse_value
from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.library.files import models
from ampsim.library.loader import parse_amp, parse_mod
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.netlist import build
from tests.tools.random_kit import TRIODES, Lot, Tables

QUANTITY = {"R": OHM, "C": FARAD, "L": HENRY}


@lru_cache(maxsize=64)
def tables_of(folder: str, name: str) -> Tables:
    return tomllib.loads((models() / folder / f"{name}.toml").read_text("utf-8"))


@lru_cache(maxsize=1)
def mod_names() -> tuple[str, ...]:
    return tuple(sorted(path.stem for path in (models() / "mods").glob("*.toml")))


def varied(lot: Lot, key: str, value: Any) -> Any:
    """A part of a file with its values multiplied."""
    letters = key.rstrip("0123456789")
    if letters in QUANTITY:
        return lot.spread(parse_value(value, QUANTITY[letters]))
    if isinstance(value, dict):
        return {name: _varied_entry(lot, name, each) for name, each in value.items()}
    return value


def _varied_entry(lot: Lot, name: str, value: Any) -> Any:
    kinds = {"inductance": HENRY, "leakage": HENRY, "capacitance": FARAD}
    kinds |= dict.fromkeys(("track", "primary", "primary_resistance", "secondary_resistance"), OHM)
    kinds |= dict.fromkeys(("resistance", "peak", "reactance"), OHM)
    if name == "track" and isinstance(value, str) and value[0].isalpha():
        return f"{value[0]}{lot.spread(parse_value(value[1:], OHM)):.6g}"  # the letter of its taper stands before it
    return lot.spread(parse_value(value, kinds[name])) if name in kinds else value


def known_amp(lot: Lot, name: str) -> Amp:
    data = dict(tables_of("amps", name))
    data["parts"] = {key: varied(lot, key, value) for key, value in data["parts"].items()}
    data["rails"] = [
        rail | ({"volts": lot.spread(parse_value(rail["volts"], VOLT))} if "volts" in rail else {})
        for rail in data["rails"]
    ]
    if lot.chance(0.2):
        swap = lot.one(TRIODES)
        data["parts"] = {key: swap if value == "12AX7" else value for key, value in data["parts"].items()}
    amp = parse_amp(data, f"{name}.toml")
    for mod in lot.rng.permutation(mod_names()):
        if lot.chance(0.5):
            amp = fitted(lot, amp, str(mod))
    return amp


def fitted(lot: Lot, amp: Amp, name: str) -> Amp:
    """The amp with one more mod where it fits; a mod for another amp, or one that clashes, is left out."""
    data = dict(tables_of("mods", name))
    data["parts"] = {key: varied(lot, key, value) for key, value in data.get("parts", {}).items()}
    data["edits"] = [
        edit | ({"with": varied(lot, edit["replace"], edit["with"])} if "with" in edit else {})
        for edit in data.get("edits", [])
    ]
    try:
        return wired(apply_mods(amp, parse_mod(data, f"{name}.toml")))
    except DescriptionError:
        return amp


def wired(amp: Amp) -> Amp:
    """The amp itself, once every switch has been tried in every position."""
    for switch in amp.all_switches:
        for label in switch.labels:
            build(amp, {switch.control: label}, OperatingPoint(), ("speaker",))
    build(amp, {}, OperatingPoint(), ("speaker",))
    return amp
