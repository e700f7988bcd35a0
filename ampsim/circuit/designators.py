"""What the letters of a designator say: the kind of part, by the longest known letters that it begins with."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

KINDS = {
    "R": "resistor",
    "C": "capacitor",
    "L": "inductor",
    "CH": "inductor",
    "RFC": "inductor",
    "P": "pot",
    "VR": "pot",
    "RV": "pot",
    "V": "valve",
    "T": "transformer",
    "OT": "transformer",
    "PT": "mains transformer",
    "LS": "loudspeaker",
    "SPK": "loudspeaker",
    "D": "diode",
    "CR": "diode",
    "ZD": "diode",
    "LED": "diode",
    "SR": "diode",
    "BR": "bridge rectifier",
    "Q": "transistor",
    "OC": "opto-coupler",
    "LDR": "light-dependent resistor",
    "LA": "lamp",
    "LP": "lamp",
    "PL": "lamp",
    "NE": "lamp",
    "DS": "lamp",
    "NTC": "thermistor",
    "RT": "thermistor",
    "TH": "thermistor",
    "TANK": "reverb tank",
    "SPR": "reverb tank",
    "FX": "effect",
    "I": "current source",
    "M": "meter",
    "U": "operational amplifier",
    "IC": "operational amplifier",
}
"""Kind of part by the letters of its designator."""

OTHERS = {
    "F": "fuse",
    "J": "jack",
    "JK": "jack",
    "K": "relay",
    "MOV": "varistor",
    "PS": "power supply",
    "PTC": "thermistor that rises with warmth",
    "RL": "relay",
    "RLA": "relay",
    "RLY": "relay",
    "RY": "relay",
    "S": "switch",
    "SW": "switch",
    "TC": "thermocouple",
    "TP": "test point",
    "VDR": "varistor",
    "X": "plug or module",
}
"""What a drawing means by letters that name no kind of part here."""


@lru_cache(maxsize=4096)
def kind_of(designator: str) -> str:
    """The kind of part that the letters of a designator mean; "" where they mean none that there is."""
    return KINDS.get(_known_letters(designator, (*KINDS, *OTHERS)), "")


def part_of(place: str) -> str:
    """The designator of the part that a place is at: R4 of R4.1."""
    return place.partition(".")[0]


_SECTION = re.compile(r"([A-Z]+[0-9]+)[A-Z]")


def body_of(designator: str) -> str:
    """The body that a section belongs to: V1 of V1A, P1 of P1B; the part's own name where it is no section."""
    found = _SECTION.fullmatch(designator)
    return found[1] if found else designator


def element_name(designator: str) -> str:
    """The name in a netlist of a part with two ends: its first letter says resistor, capacitor or inductor there.

    The coil of a relay, which may be called as any switch is, is a resistor.

    Examples
    --------
    >>> element_name("R4"), element_name("CH1")
    ('r4', 'l_ch1')
    """
    kind = kind_of(designator) or meaning_of(designator)
    letter = {"resistor": "r", "capacitor": "c", "inductor": "l", "relay": "r", "switch": "r"}.get(kind, "")
    name = designator.lower()
    return name if name.startswith(letter) else f"{letter}_{name}"


def meaning_of(designator: str) -> str:
    """What a drawing means by the letters of a designator, parts that there are not here included; "" for unknown."""
    letters = _known_letters(designator, (*KINDS, *OTHERS))
    return KINDS.get(letters) or OTHERS.get(letters, "")


def known_letters() -> str:
    """The usual letters of every kind of part: "R resistor, C capacitor, L inductor, ..."."""
    first: dict[str, str] = {}
    for letters, kind in KINDS.items():
        first.setdefault(kind, letters)
    return ", ".join(f"{letters} {kind}" for kind, letters in first.items())


def _known_letters(designator: str, known: Iterable[str]) -> str:
    """The longest of the known letters that the letters before the number begin with; "" for none."""
    number = next((place for place, sign in enumerate(designator) if not sign.isalpha()), len(designator))
    return max((each for each in known if designator[:number].startswith(each)), key=len, default="")
