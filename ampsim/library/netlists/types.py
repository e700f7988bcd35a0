"""Which type of valve or semiconductor a name in a netlist means, and which pin is which."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ...circuit.valves.description import Valve
from ...circuit.valves.pinout import TOP_CAP
from ..files import models_in
from ..loader import Loader
from ..type_names import meant_type, other_names

VALVE_PINS = {"triode": ("plate", "grid", "cathode"), "pentode": ("plate", "grid", "screen", "cathode")}
_PIN_WORDS = {
    "plate": ("a", "p", "plate", "anode", "anod", "1a"),
    "grid": ("g", "g1", "grid", "grid1", "control", "gate"),
    "screen": ("g2", "s", "screen", "grid2", "sg"),
    "cathode": ("k", "c", "cathode", "cath"),
    "suppressor": ("g3", "suppressor", "grid3"),
    "anode": ("a", "anode", "+", "plus"),
    "drain": ("d", "drain"),
    "gate": ("g", "gate"),
    "source": ("s", "source"),
}


def load_type(kind: str, name: str, beside: Path | None) -> Any:
    """The data of a type, from a file beside or the models; errors as those of `load_amp`."""
    return Loader().load(kind, name, beside, "netlist")


def plain(name: str) -> str:
    """A name without case and signs, and without what subcircuits put before it."""
    word = re.sub(r"[^a-z0-9]", "", name.lower())
    return re.sub(r"^(valve|device|tube)(?=[a-z0-9])", "", word)


def known_types(folder: str, beside: Path | None = None) -> Mapping[str, str]:
    """The types of a folder of models, and of files beside, by their plain names."""
    own = sorted(each.stem for each in beside.glob("*.toml")) if beside else []
    return {plain(name): name for name in (*own, *models_in(folder))}


def type_of(name: str, folder: str, beside: Path | None = None) -> str:
    """The type that a name means without doubt; "" for none."""
    known = known_types(folder, beside)
    return known.get(plain(name)) or (meant_type(plain(name), known.values()) if folder == "valves" else "")


def near_type(name: str, folder: str) -> str:
    """The type that a name begins with, such as 12AX7 of "12AX7_own"; "" for none."""
    word = plain(name)
    names = dict(known_types(folder))
    if folder == "valves":
        names |= {plain(each.name): each.type for kind in tuple(names.values()) for each in other_names(kind)}
    found = [each for each in names if word.startswith(each)]
    return names[max(found, key=len)] if found else ""


def sections_of(valve: Valve) -> tuple[dict[str, str], ...]:
    """To the numbers of a valve's pins what is on them, for each of its sections; none without a base on file.

    Of unlike systems in one bulb, a triode and a pentode, those that are the valve's own.
    """
    numbered = enumerate(valve.pinout.pins if valve.pinout else (), 1)
    found: dict[str, dict[str, str]] = {}
    own = f"the {valve.family}"
    for number, what in numbered:
        pin, _, section = what.removesuffix(TOP_CAP).partition(" of ")
        if pin in VALVE_PINS[valve.family] and section not in {f"the {kind}" for kind in VALVE_PINS} - {own}:
            found.setdefault(section, {})[str(number)] = pin
    return tuple(found[section] for section in sorted(found))


def pin_of(word: str, pins: tuple[str, ...]) -> str:
    """Which of the pins a name in a netlist means; "" for none of them."""
    plain_word = re.sub(r"[^a-z0-9+]", "", word.lower())
    return next((pin for pin in pins if plain_word == pin or plain_word in _PIN_WORDS.get(pin, ())), "")
