"""Values as SPICE writes them; what a drawing would read otherwise is asked about."""

from __future__ import annotations

import math
import re

from ...base.errors import DescriptionError, shown
from ...base.quantities import FARAD, OHM, Quantity, format_value, parse_value

# Another than SPICE would read stands as a question, so nothing is guessed.
_FORM = re.compile(
    r"([+-]?(?:[0-9]{1,15}\.?[0-9]{0,17}|\.[0-9]{1,17})(?:e[+-]?[0-9]{1,3})?)([a-z\u00b5\u03bc]*)", re.IGNORECASE
)
_POWERS = {"t": 12, "g": 9, "k": 3, "m": -3, "u": -6, "\u00b5": -6, "\u03bc": -6, "n": -9, "p": -12, "f": -15}
# Below this a resistance [ohm] written with "m" was hardly meant in milliohms.
_LEAST_MILLIOHMS = 0.05
_MOST_FARADS = 1e-3
# What says neither its power of ten nor "u", "n" or "p"; "m" may be meant for micro.
_WITHOUT_POWER = re.compile(r"[0-9.+-]+(?:[mMfF].*)?")


class AskedAboutError(Exception):
    """A value can be read in two ways, or in none."""


def spice_number(text: str) -> float:
    """A number [as its place says] with SPICE's suffixes: MEG is a million, M a thousandth; more letters mean nothing.

    Raises
    ------
    AskedAboutError
        For anything else.
    """
    found = _FORM.fullmatch(text)
    if not found:
        raise AskedAboutError(f"{shown(text)} is no number of SPICE")
    letters = found[2].lower()
    if letters.startswith("mil"):
        raise AskedAboutError(f"{shown(text)} is in thousandths of an inch for SPICE")
    power = 6 if letters.startswith("meg") else _POWERS.get(letters[:1], 0)
    number = float(f"{found[1]}e{power}") if "e" not in found[1].lower() else float(found[1]) * 10.0**power
    if not math.isfinite(number):
        raise AskedAboutError(f"{shown(text)} is no finite number")
    return number


def spice_value(text: str, quantity: Quantity) -> float:
    """A value of a part [SI unit] as SPICE reads it.

    Raises
    ------
    AskedAboutError
        When a drawing would read it otherwise, and probably means that; and for what no drawing can mean.
    """
    try:
        number = spice_number(text)
    except AskedAboutError:
        raise AskedAboutError(f"{shown(text)} is no value of SPICE{_as_drawn(text, quantity)}") from None
    if not quantity.least <= number <= quantity.most:
        raise AskedAboutError(f"{shown(text)} is {number:g} {quantity.unit} for SPICE{_as_drawn(text, quantity)}")
    if quantity is OHM and _is_milli(text) and (number < _LEAST_MILLIOHMS or "M" in text):
        raise AskedAboutError(f"{shown(text)} is {number:g} ohm for SPICE, which writes a megohm 1MEG")
    if quantity is FARAD and number >= _MOST_FARADS and _WITHOUT_POWER.fullmatch(text):
        raise AskedAboutError(f"{shown(text)} is {number:g} F for SPICE, which writes a microfarad 1u")
    return number


def _is_milli(text: str) -> bool:
    found = _FORM.fullmatch(text)
    return bool(found and found[2].lower().startswith("m") and not found[2].lower().startswith("meg"))


def _as_drawn(text: str, quantity: Quantity) -> str:
    try:
        return f"; a drawing means {format_value(parse_value(text, quantity), quantity)} by it"
    except DescriptionError:
        return ""
