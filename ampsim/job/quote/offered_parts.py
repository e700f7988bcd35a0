"""What a row of a price list says that is sold: its kind, its value, type or switch, its make and its size."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache

from ...base.entries import Entry
from ...base.errors import DescriptionError, shown
from ...base.quantities import FARAD, HENRY, OHM, PLAIN, Quantity, parse_value
from ...circuit.designators import KINDS
from ...circuit.switches.kinds import SwitchKind, parse_switch_kind
from ...circuit.tapers import parse_taper
from ...library.files import models_in
from ...library.parts import read_track
from ...library.type_names import meant_type

_QUANTITIES = {"resistor": OHM, "capacitor": FARAD, "inductor": HENRY}
_WATTS = Quantity("rated power", "W", ("W", "watts", "watt"), "mk", 1e-3, 1e4)
_VOLTS = Quantity("rated voltage", "V", ("V", "volts", "volt", "VDC"), "mk", 0.1, 1e5)
_MILLIMETRES = (0.1, 1000.0)
_OTHER_KINDS = {
    "potentiometer": "pot", "variable resistor": "pot", "tube": "valve", "rectifier valve": "valve", "cap": "capacitor",
    "condenser": "capacitor", "coil": "inductor", "choke": "inductor", "output transformer": "transformer",
    "opamp": "operational amplifier", "op amp": "operational amplifier", "fet": "transistor", "jfet": "transistor",
    "mosfet": "transistor", "speaker": "loudspeaker", "toggle switch": "switch", "rotary switch": "switch",
}  # fmt: skip
_KNOWN = {*KINDS.values(), "switch"}
_FAMILIES = (
    ("bipolar electrolytic", r"bi-?polar|non-?polar"),
    ("electrolytic", r"electrolytic|elko|elyt"),
    ("tantalum", r"tantal"),
    ("class 1 ceramic", r"c0g|cog\b|np0|npo\b|class 1"),
    ("mica", r"mica"),
    ("class 2 ceramic", r"x7r|x5r|y5v|z5u|class 2|ceramic"),
    ("film", r"polyester|polypropylene|polystyrene|\bmk[pts]\b|\bfk[pt]\b|(?<!metal )(?<!carbon )\bfilm|foil"),
    ("metal film", r"metal film"),
    ("metal oxide", r"metal oxide|\bmox\b"),
    ("wirewound", r"wire-?wound|\bwire\b"),
    ("carbon film", r"carbon film"),
    ("carbon composition", r"carbon comp"),
)  # fmt: skip


@dataclass(frozen=True)
class Described:
    """What is sold: its kind, as the list writes its value; the value [SI unit], or the name of its type.

    `value` is NaN for what has a type, `name` "" for what has a value. `taper` of a pot ("" where it is not said),
    `switch` that which it is, or which sits on the shaft of a pot.
    """

    kind: str
    text: str
    value: float = math.nan
    name: str = ""
    taper: str = ""
    switch: SwitchKind | None = None


@lru_cache(maxsize=512)
def offered_kind(text: str) -> str:
    """The kind of part that a word of a list means; "" for what no parts list asks for."""
    plain = " ".join(text.lower().split())
    for word in (plain, plain.removesuffix("s"), plain.removesuffix("es")):
        if word in _KNOWN:
            return word
        if word in _OTHER_KINDS:
            return _OTHER_KINDS[word]
    return ""


@lru_cache(maxsize=200_000)
def describe(kind: str, text: str, taper: str = "", switch: str = "") -> Described:
    """What a value says of a kind of part.

    Parameters
    ----------
    kind : str
        As `offered_kind` gives it.
    text : str
        "22k", "4n7", "A1M", "ECC83", "DPDT on-on".
    taper, switch : str
        Of a pot, where they stand in columns of their own.

    Raises
    ------
    DescriptionError
        For what is no such value.
    """
    if not text:
        raise DescriptionError("there is none; what has no value has a type, such as 12AX7 or DPDT on-on")
    if kind in _QUANTITIES:
        return Described(kind, text, parse_value(text, _QUANTITIES[kind]))
    if kind == "pot":
        return _described_pot(text, taper, switch)
    if kind == "switch":
        return Described(kind, text, switch=parse_switch_kind(text))
    return Described(kind, text, name=type_meant(kind, text))


def _described_pot(text: str, taper: str, switch: str) -> Described:
    track, marked = read_track(Entry({"value": text}, ""), "value")
    law = parse_taper(taper, "its taper") if taper else marked
    if marked and law != marked:
        raise DescriptionError(f"{shown(text)} is {marked}, its taper {shown(taper)}")
    return Described("pot", text, track, taper=law, switch=parse_switch_kind(switch) if switch else None)


@lru_cache(maxsize=4096)
def type_meant(kind: str, text: str) -> str:
    """The type that a name means, of a valve by any of its names."""
    known = {*models_in("valves"), *models_in("rectifiers")} if kind == "valve" else set()
    return meant_type(text, known) or " ".join(text.lower().split())


@lru_cache(maxsize=4096)
def families(make: str) -> frozenset[str]:
    """The makes that a text names: "film (polyester or polypropylene)" is film; none for words that name none."""
    plain, found = make.lower(), set()
    for name, pattern in _FAMILIES:
        if re.search(pattern, plain):
            found.add(name)
            plain = re.sub(pattern, " ", plain)
            if name == "bipolar electrolytic":
                plain = plain.replace("electrolytic", " ")
            if name in ("class 1 ceramic", "metal film", "carbon film"):
                plain = plain.replace("ceramic", " ")
    return frozenset(found)


@lru_cache(maxsize=4096)
def read_watts(text: str) -> float:
    """A rated power [W]: "0.5", "0,5 W", "1/4 W".

    Raises
    ------
    DescriptionError
        For anything else.
    """
    fraction = re.fullmatch(r"1/(2|4|8) ?[Ww]?", text)
    return 1.0 / int(fraction[1]) if fraction else parse_value(text, _WATTS)


@lru_cache(maxsize=4096)
def read_volts(text: str) -> float:
    """A rated voltage [V]: "400", "400 V", "1 kV".

    Raises
    ------
    DescriptionError
        For anything else.
    """
    return parse_value(text, _VOLTS)


@lru_cache(maxsize=1024)
def read_percent(text: str) -> float:
    """A tolerance [ratio], written in percent: "5", "5 %", "+/-10%".

    Raises
    ------
    DescriptionError
        For anything else.
    """
    plain = re.sub(r"^(\+/-|\+-|±)|%$", "", text.strip()).strip()
    found = parse_value(plain, PLAIN) / 100.0
    if not 0.0 < found < 1.0:
        raise DescriptionError(f"{shown(text)} is not a tolerance in percent")
    return found


@lru_cache(maxsize=4096)
def read_size(text: str) -> tuple[float, ...]:
    """The measures of a body [mm], the longest first: "13 x 30", "16 mm".

    Raises
    ------
    DescriptionError
        For anything else.
    """
    pieces = re.split(r"\s*[x×*]\s*", re.sub(r"mm|ø|\u2300", "", text.lower()).strip())
    found = sorted((parse_value(each.strip(), PLAIN) for each in pieces), reverse=True)
    if len(found) > 3 or not all(_MILLIMETRES[0] <= each <= _MILLIMETRES[1] for each in found):
        raise DescriptionError(f"{shown(text)} is not a size; written for example 13 x 30 (mm)")
    return tuple(found)
