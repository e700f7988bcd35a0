"""Which type of valve or semiconductor a name in a netlist means, and which pin is which."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from ..files import models_in
from ..loader import Loader

# The European and American names of the same valve.
_OTHER_NAMES = {
    "ecc81": "12AT7", "ecc82": "12AU7", "ecc83": "12AX7", "ecc88": "6DJ8", "6922": "6DJ8", "e88cc": "6DJ8",
    "e83cc": "12AX7", "6bq5": "EL84", "6ca7": "EL34", "7025": "12AX7", "6072": "12AY7", "6v6": "6V6GT", "6l6": "6L6GC",
}  # fmt: skip
# Base diagrams of the data sheets (EIA 9A, 9AJ, 9CV, 7AC, 8ET): to numbers of pins what is there. Heaters, screens
# between systems and empty pins are left out; both triodes of a bottle are one after the other.
_DOUBLE_TRIODE = ({"1": "plate", "2": "grid", "3": "cathode"}, {"6": "plate", "7": "grid", "8": "cathode"})
_OCTAL_BEAM = ({"3": "plate", "4": "screen", "5": "grid", "8": "cathode"},)
BASES: Mapping[str, tuple[Mapping[str, str], ...]] = {
    **dict.fromkeys(("12AX7", "12AT7", "12AU7", "12AY7", "6DJ8"), _DOUBLE_TRIODE),
    "EL84": ({"7": "plate", "9": "screen", "2": "grid", "3": "cathode"},),
    **dict.fromkeys(("6V6GT", "6L6GC", "EL34"), _OCTAL_BEAM),
}
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


@lru_cache(maxsize=16)
def known_types(folder: str, beside: Path | None = None) -> Mapping[str, str]:
    """The types of a folder of models, and of files beside, by their plain names."""
    own = sorted(each.stem for each in beside.glob("*.toml")) if beside else []
    return {plain(name): name for name in (*own, *models_in(folder))}


def type_of(name: str, folder: str, beside: Path | None = None) -> str:
    """The type that a name means without doubt; "" for none."""
    known = known_types(folder, beside)
    return known.get(plain(name)) or (_OTHER_NAMES.get(plain(name), "") if folder == "valves" else "")


def near_type(name: str, folder: str) -> str:
    """The type that a name begins with, such as 12AX7 of "12AX7_own"; "" for none."""
    word = plain(name)
    names = {**{plain(each): each for each in BASES}, **_OTHER_NAMES} if folder == "valves" else known_types(folder)
    found = [each for each in names if word.startswith(each)]
    return names[max(found, key=len)] if found else ""


def pin_of(word: str, pins: tuple[str, ...]) -> str:
    """Which of the pins a name in a netlist means; "" for none of them."""
    plain_word = re.sub(r"[^a-z0-9+]", "", word.lower())
    return next((pin for pin in pins if plain_word == pin or plain_word in _PIN_WORDS.get(pin, ())), "")
