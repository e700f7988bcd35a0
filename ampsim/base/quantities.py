"""Values as written on a schematic, and what they mean in SI units."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from .errors import DescriptionError, nearest, shown


@dataclass(frozen=True)
class Quantity:
    """A kind of value: its unit, how it may be written and the range a drawing can mean."""

    name: str
    unit: str
    spellings: tuple[str, ...]
    multipliers: str
    least: float
    most: float


OHM = Quantity("resistance", "ohm", ("ohms", "ohm", "\u03a9", "\u2126", "R"), "kKMG", 1e-3, 1e11)
FARAD = Quantity("capacitance", "F", ("F",), "pnuµμm", 1e-14, 1.0)
HENRY = Quantity("inductance", "H", ("H",), "nuµμm", 1e-9, 1e4)
VOLT = Quantity("voltage", "V", ("V",), "mk", -3000.0, 3000.0)
HERTZ = Quantity("frequency", "Hz", ("Hz", "hz"), "kM", 1e-3, 1e9)
PLAIN = Quantity("number", "", (), "", -1e9, 1e9)

_SCALE = {
    "p": 1e-12,
    "n": 1e-9,
    "u": 1e-6,
    "µ": 1e-6,
    "μ": 1e-6,
    "m": 1e-3,
    "k": 1e3,
    "K": 1e3,
    "M": 1e6,
    "G": 1e9,
}
_DIGITS = r"[0-9]{1,12}"
_PLAIN_FORM = re.compile(
    rf"(-?(?:{_DIGITS}(?:[.,][0-9]{{1,12}})?|[.,][0-9]{{1,12}})(?:[eE][+-]?[0-9]{{1,2}})?)\s?([pnuµμmkKMG]?)"
)
_RKM_FORM = re.compile(rf"({_DIGITS})?([pnuµμmkKMGRFH])([0-9]{{1,6}})")


def parse_value(text: object, quantity: Quantity, where: str = "value") -> float:
    """Read a value as a schematic writes it.

    Parameters
    ----------
    text : str, int or float
        ``"4k7"``, ``"4.7k"``, ``"R47"``, ``"0.68u"``, ``"2M2"``, ``"22nF"``, ``"330 V"``; a bare number is in
        the SI unit. ``M`` is mega in a resistance and never milli; a decimal comma is read as a point.
    quantity : Quantity
        What is expected.
    where : str
        File and entry, for the message.

    Returns
    -------
    float
        The value [SI unit of the quantity].

    Raises
    ------
    DescriptionError
        When the text is not such a value or lies outside what a drawing can mean.

    References
    ----------
    The letter-for-point form is the RKM code of IEC 60062:2016.

    Examples
    --------
    >>> parse_value("4k7", OHM), parse_value("2M2", OHM), parse_value("R47", OHM)
    (4700.0, 2200000.0, 0.47)
    """
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise DescriptionError(f"{where}: {shown(text)} is not a {quantity.name}")
    try:
        number = _read_text(text, quantity) if isinstance(text, str) else float(text)
    except OverflowError:  # an integer beyond every float
        number = math.inf
    if number is None or not math.isfinite(number):
        raise DescriptionError(f"{where}: {shown(text)} is not a {quantity.name}{_advice(text, quantity)}")
    if not quantity.least <= number <= quantity.most:
        low, high = (format_value(edge, quantity) for edge in (quantity.least, quantity.most))
        raise DescriptionError(f"{where}: {shown(text)} is outside {low} to {high} {quantity.unit}".rstrip())
    return number


def _read_text(text: str, quantity: Quantity) -> float | None:
    body = text.strip()
    if len(body) > 40 or not body.isprintable():
        return None
    rkm = _RKM_FORM.fullmatch(body)
    if rkm:
        return _read_rkm(rkm, quantity)
    for spelling in quantity.spellings:
        if body.endswith(spelling):
            body = body[: -len(spelling)].rstrip()
            break
    plain = _PLAIN_FORM.fullmatch(body)
    if not plain:
        return None
    number, letter = plain.groups()
    if letter and letter not in quantity.multipliers:
        return None
    return _scaled(number.replace(",", "."), letter)


def _read_rkm(match: re.Match[str], quantity: Quantity) -> float | None:
    whole, letter, part = match.groups()
    own_letter = {"ohm": "R", "F": "F", "H": "H"}.get(quantity.unit)
    if letter == own_letter:
        return float(f"{whole or 0}.{part}")
    if letter not in quantity.multipliers:
        return None
    return _scaled(f"{whole or 0}.{part}", letter)


def _scaled(number: str, letter: str) -> float:
    # One conversion of one decimal text: 0.68u must be the float nearest to 0.68e-6, not a rounded product.
    exponent = round(math.log10(_SCALE[letter])) if letter else 0
    if "e" in number or "E" in number:
        return float(number) * 10.0**exponent
    return float(f"{number}e{exponent}")


def _advice(text: object, quantity: Quantity) -> str:
    if quantity is OHM and isinstance(text, str) and text.strip().lower().endswith("m"):
        return "; a megohm is written 1M, milliohms are not used here"
    if quantity is FARAD and isinstance(text, str) and "M" in text:
        return "; a microfarad is written 1u"
    examples = {"ohm": "68k, 4k7, 2M2, R47", "F": "22n, 0.68u, 4n7, 120p", "H": "2.5, 15m"}.get(quantity.unit)
    return f"; written for example {examples}" if examples else "; a number is expected"


def format_value(number: float, quantity: Quantity) -> str:
    """Write a value [in the quantity's SI unit] as a schematic does: 4700 ohm is ``4k7``; it reads back the same.

    Examples
    --------
    >>> format_value(4700.0, OHM), format_value(2.2e-8, FARAD), format_value(1e6, OHM)
    ('4k7', '22n', '1M')
    """
    if number == 0.0:
        return "0"
    letters = [letter for letter in quantity.multipliers if letter not in "Kµμ"]
    best = ""
    for letter in letters:
        if _SCALE[letter] <= abs(number) * (1 + 1e-12) and (not best or _SCALE[letter] > _SCALE[best]):
            best = letter
    if abs(number) >= 1.0 and (not best or _SCALE[best] < 1.0):
        best = ""
    if not best and abs(number) < 1.0 and any(_SCALE[letter] < 1.0 for letter in letters):
        best = min((letter for letter in letters), key=lambda letter: _SCALE[letter])
    exponent = round(math.log10(_SCALE[best])) if best else 0
    digits = repr(float(f"{number / 10.0**exponent:.12g}"))
    digits = digits.removesuffix(".0")
    if "e" in digits:
        return repr(float(number))
    if best and "." in digits and not digits.startswith("-"):
        whole, part = digits.split(".")
        return f"{whole}{best}{part}" if len(part) <= 6 else digits + best
    return digits + best


def preferred_values(series: str, least: float, most: float) -> list[float]:
    """Values of an E series from `least` to `most`, both included when they belong to it.

    Parameters
    ----------
    series : {"E6", "E12", "E24"}
        IEC 60063 series.
    least, most : float
        Limits [SI unit].

    Raises
    ------
    DescriptionError
        For another series.
    """
    steps = {
        "E6": (10, 15, 22, 33, 47, 68),
        "E12": (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82),
        "E24": (
            10,
            11,
            12,
            13,
            15,
            16,
            18,
            20,
            22,
            24,
            27,
            30,
            33,
            36,
            39,
            43,
            47,
            51,
            56,
            62,
            68,
            75,
            82,
            91,
        ),
    }
    if series not in steps:
        raise DescriptionError(f"series {shown(series)} is not known{nearest(series, steps)}")
    decades = range(math.floor(math.log10(least)) - 2, math.ceil(math.log10(most)) + 1)
    values = [float(f"{step}e{decade}") for decade in decades for step in steps[series]]
    return [value for value in values if least * (1 - 1e-9) <= value <= most * (1 + 1e-9)]
