"""Values as written on a schematic, and what they mean in SI units."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from .errors import DescriptionError, shown
from .written_numbers import leading_number


@dataclass(frozen=True)
class Quantity:
    """A kind of value: its unit, how it may be written and the range a drawing can mean.

    Attributes
    ----------
    name, unit : str
        What messages call it, and its SI unit.
    spellings : tuple of str
        Of the unit, in any case.
    multipliers : str
        Letters that may stand before the unit. One written in the other case is read all the same, but never m for M.
    least, most : float
        The range [SI unit].
    words : tuple of (str, int)
        Other ways to write multiplier and unit, in small letters, and the power of ten that they mean.
    """

    name: str
    unit: str
    spellings: tuple[str, ...]
    multipliers: str
    least: float
    most: float
    words: tuple[tuple[str, int], ...] = ()

    @property
    def one(self) -> str:
        """Its name with an article."""
        return f"{'an' if self.name[0] in 'aeiou' else 'a'} {self.name}"


_MEGOHM = (("meg", 6), ("megs", 6), ("megohm", 6), ("megohms", 6), ("kilohm", 3), ("kilohms", 3))
# "mfd" is the microfarad of old drawings, "mmf" and "uuf" its millionth, "kpf" a thousand picofarads.
_OLD_FARAD = (
    *(("mfd", -6), ("mfds", -6), ("ufd", -6), ("mmf", -12), ("mmfd", -12), ("mmfds", -12), ("uuf", -12), ("uufd", -12)),
    *(("pfd", -12), ("kpf", -9)),
)
_HENRY = (("hy", 0), ("hys", 0), ("henry", 0), ("henries", 0), ("henrys", 0), ("mhy", -3))
_VOLTS = (("vdc", 0), ("kilovolts", 3), ("millivolts", -3))
_CYCLES = (("c/s", 0), ("cps", 0), ("cycles", 0), ("kc", 3), ("kc/s", 3), ("kcs", 3))

OHM = Quantity("resistance", "ohm", ("ohms", "ohm", "\u03a9", "\u2126", "R", "E"), "kKMG", 1e-3, 1e11, _MEGOHM)
FARAD = Quantity("capacitance", "F", ("F",), "pnuµμm", 1e-14, 0.999, _OLD_FARAD)
HENRY = Quantity("inductance", "H", ("H",), "nuµμm", 1e-9, 1e4, _HENRY)
VOLT = Quantity("voltage", "V", ("V", "volts", "volt"), "mk", -3000.0, 3000.0, _VOLTS)
HERTZ = Quantity("frequency", "Hz", ("Hz",), "kM", 1e-3, 1e9, _CYCLES)
AMPERE = Quantity("current", "A", ("A", "amps", "amp"), "nuµμm", -100.0, 100.0)
PLAIN = Quantity("number", "", (), "", -1e9, 1e9)

_SCALE = {"p": -12, "n": -9, "u": -6, "µ": -6, "μ": -6, "m": -3, "k": 3, "K": 3, "M": 6, "G": 9}
_RKM_FORM = re.compile(r"([0-9]{1,12})?([A-Za-zµμ])([0-9]{1,6})\s?([A-Za-z\u03a9\u2126]{0,4})")
_US_ADVICE = '; where a whole drawing has bare microfarads, as old ones of the USA, say units = "US" above [parts]'
_EXAMPLES = {"ohm": "68k, 4k7, 2M2, R47", "F": "22n, 0.68u, 4n7, 120p", "H": "2.5, 15m"}
# Written without a unit, a capacitance beyond this is not in farads [F]; old drawings of the USA go down to the other
# in microfarads [uF].
_MOST_FARADS, _LEAST_US = 1e-3, 1e-5


def parse_value(text: object, quantity: Quantity, where: str = "value", us: bool = False) -> float:
    """Read a value as a schematic writes it.

    Parameters
    ----------
    text : str, int or float
        ``"4k7"``, ``"4.7 kOhm"``, ``"R47"``, ``"1 meg"``, ``"0.68u"``, ``"22nF"``, ``"0.1 MFD"``, ``"330 V"``; a bare
        number is in the SI unit. ``M`` is mega in a resistance and never milli; a decimal comma is read as a point.
        What can be read in two ways (``"1,500"``, ``".022"`` of a capacitor) is refused with both.
    quantity : Quantity
        What is expected.
    where : str
        File and entry, for the message.
    us : bool
        The drawing follows the old convention of the USA: a bare capacitance below one is in microfarads, one of a
        hundred or more in picofarads, and M or MF means micro.

    Returns
    -------
    float
        The value [SI unit of the quantity].

    Raises
    ------
    DescriptionError
        When the text is not such a value, can be read in two ways, or lies outside what a drawing can mean.

    References
    ----------
    The letter-for-point form is the RKM code of IEC 60062:2016.

    Examples
    --------
    >>> parse_value("4k7", OHM), parse_value("2M2", OHM), parse_value("R47", OHM)
    (4700.0, 2200000.0, 0.47)
    """
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise DescriptionError(f"{where}: {shown(text)} is not {quantity.one}")
    found = _readings(text, quantity, us) if isinstance(text, str) else _numbers(text, quantity, us)
    if not found or not all(math.isfinite(each) for each in found):
        raise DescriptionError(f"{where}: {shown(text)} is not {quantity.one}{_advice(text, quantity)}")
    found = [each for each in found if quantity.least <= each <= quantity.most] or [found[0]]
    if len(found) > 1:
        raise DescriptionError(f"{where}: {shown(text)} {_double_meaning(found, quantity, text, us)}")
    if not quantity.least <= found[0] <= quantity.most:
        low, high = (format_value(edge, quantity) for edge in (quantity.least, quantity.most))
        raise DescriptionError(f"{where}: {shown(text)} is outside {low} to {high} {quantity.unit}".rstrip())
    return found[0]


def _numbers(given: float, quantity: Quantity, us: bool) -> list[float]:
    """Every way to read a number that stands in a file without quotes."""
    try:
        number = float(given)
    except OverflowError:  # an integer beyond every float
        return [math.inf]
    if quantity is not FARAD or not math.isfinite(number) or number < (_LEAST_US if us else _MOST_FARADS):
        return [number]
    found = _farads(repr(number), us)
    return [*found, number] if number < _MOST_FARADS else found


def _readings(text: str, quantity: Quantity, us: bool) -> Sequence[float]:
    """Every way to read a text; none when it is no such value."""
    body = re.sub(r"[\u00a0\u2009\u202f]", " ", text).strip()
    return _known_readings(body, quantity, us) if len(body) <= 40 and body.isprintable() else ()


@lru_cache(maxsize=4096)  # the values of drawings are few, and each is read in file after file
def _known_readings(body: str, quantity: Quantity, us: bool) -> Sequence[float]:
    letter_for_point = _RKM_FORM.fullmatch(body)
    numbers, rest = leading_number(body)
    found = [value for number in numbers for value in _scaled(number, rest, quantity, us)]
    if letter_for_point:
        found = [*_read_rkm(letter_for_point, quantity), *found]
    return tuple(dict.fromkeys(found))


def _read_rkm(match: re.Match[str], quantity: Quantity) -> list[float]:
    whole, letter, part, unit = match.groups()
    own = letter.upper() in {"ohm": "RE", "F": "F", "H": "H", "V": "V"}.get(quantity.unit, "")
    if letter == "e" or (unit and not _is_unit(unit, quantity)):
        return []
    power = 0 if own else _power(letter, quantity)
    return [] if power is None else [float(f"{whole or 0}.{part}e{power}")]


def _scaled(number: str, rest: str, quantity: Quantity, us: bool) -> list[float]:
    """A number and what follows it, in every way that they can be read."""
    suffix = "".join(rest.split())
    if quantity is FARAD:
        if not suffix and "e" not in number.lower():
            return _farads(number, us)
        if suffix.upper() == "MF" or (us and suffix.upper() == "M"):
            # "mF" is a millifarad today and was a microfarad; no part has a megafarad.
            powers = (-6,) if us or suffix[0] == "M" else (-6, -3)
            return [_times(number, power) for power in powers]
    power = _power(suffix, quantity)
    return [] if power is None else [_times(number, power)]


def _farads(number: str, us: bool) -> list[float]:
    """A capacitance without a unit: farads, microfarads or picofarads."""
    micro, pico, size = _times(number, -6), _times(number, -12), float(number)
    if us:
        return [micro] if size < 1.0 else [pico] if size >= 100.0 else [pico, micro]
    # Three digits may be the code on a ceramic capacitor: 104 is 10 and four noughts, in picofarads.
    code = re.fullmatch(r"([1-9][0-9])([1-6])(?:\.0)?", number)
    coded = [_times(code[1], int(code[2]) - 12)] if code else []
    return [micro, float(number)] if size < 1.0 else [pico, micro, *coded]


def _power(suffix: str, quantity: Quantity) -> int | None:
    """The power of ten that a multiplier, a unit or both mean; None for what is neither."""
    folded = suffix.replace("µ", "u").replace("μ", "u").lower()
    if suffix == "e":  # an exponent without its number
        return None
    if folded in dict(quantity.words):
        return dict(quantity.words)[folded]
    endings = ["", *(each for each in quantity.spellings if folded.endswith(each.lower()))]
    for letter in (suffix[: len(suffix) - len(each)] for each in endings):
        if not letter:
            return 0
        for each in (letter, letter.swapcase() if letter not in "mM" else letter):
            if len(letter) == 1 and each in quantity.multipliers:
                return _SCALE[each]
    return None


def _is_unit(text: str, quantity: Quantity) -> bool:
    return text.lower() in [each.lower() for each in quantity.spellings]


def _times(number: str, power: int) -> float:
    # One conversion of one decimal text: 0.68u must be the float nearest to 0.68e-6, not a rounded product.
    if "e" in number.lower():
        return float(number) * 10.0**power
    return float(f"{number}e{power}")


def _double_meaning(found: Sequence[float], quantity: Quantity, text: object, us: bool) -> str:
    plain = quantity.unit not in _EXAMPLES
    written = [f"{each:.12g}" if plain else format_value(each, quantity) for each in found]
    said = f"can be read as {' or as '.join(written)}; write the one that is meant"
    if quantity is not FARAD or re.search(r"[A-Za-z]", str(text)):
        return said
    return f"without a unit {said}{_US_ADVICE}" if not us else f"without a unit {said}"


def _advice(text: object, quantity: Quantity) -> str:
    written = text.strip() if isinstance(text, str) else ""
    if quantity is OHM and written.lower().endswith(("m", "mohm", "mohms")):
        return "; a megohm is written 1M, milliohms are not used here"
    if quantity is FARAD and "M" in written:
        return "; a microfarad is written 1u"
    meant = _probably_meant(written, quantity)
    examples = _EXAMPLES.get(quantity.unit)
    return f"{meant}; written for example {examples}" if examples else f"{meant}; a number is expected"


def _probably_meant(written: str, quantity: Quantity) -> str:
    """What a text that cannot be read was meant to say, where that can be told."""
    for other in (OHM, FARAD, HENRY, VOLT, HERTZ):
        if other.unit != quantity.unit and written[-1:].isalpha() and len(_readings(written, other, False)) == 1:
            return f" but {other.one}"
    digits = written.translate(str.maketrans("OolI", "0011"))
    first = re.split(r"[\s/,;]+(?=[0-9])", written)[0]
    for guess, why in ((digits, ""), (first, "; a rating or a tolerance does not belong to it")):
        if guess != written and guess[-1:].isalpha() and len(_readings(guess, quantity, False)) == 1:
            return f", probably {format_value(_readings(guess, quantity, False)[0], quantity)}{why}"
    return ""


def format_value(number: float, quantity: Quantity) -> str:
    """Write a value [in the quantity's SI unit] as a schematic does: 4700 ohm is ``4k7``; it reads back the same.

    Examples
    --------
    >>> format_value(4700.0, OHM), format_value(2.2e-8, FARAD), format_value(1e6, OHM)
    ('4k7', '22n', '1M')
    """
    if number == 0.0:
        return "0"
    # Nobody writes a capacitor in millifarads: on old drawings "m" is micro.
    letters = [letter for letter in quantity.multipliers if letter not in ("Kµμm" if quantity.unit == "F" else "Kµμ")]
    best = ""
    for letter in letters:
        if _size(letter) <= abs(number) * (1 + 1e-12) and (not best or _SCALE[letter] > _SCALE[best]):
            best = letter
    if abs(number) >= 1.0 and (not best or _SCALE[best] < 0):
        best = ""
    if not best and abs(number) < 1.0 and any(_SCALE[letter] < 0 for letter in letters):
        best = min((letter for letter in letters), key=lambda letter: _SCALE[letter])
    exponent = _SCALE[best] if best else 0
    digits = repr(float(f"{number / 10.0**exponent:.12g}"))
    digits = digits.removesuffix(".0")
    if "e" in digits:
        return repr(float(number))
    if best and "." in digits and not digits.startswith("-"):
        whole, part = digits.split(".")
        return f"{whole}{best}{part}" if len(part) <= 6 else digits + best
    return digits + best


def with_unit(number: float, quantity: Quantity) -> str:
    """A value with its unit as a sentence has it, three figures: "15 mH", "1.25 Mohm", "470 pF".

    Parameters
    ----------
    number : float
        The value [SI unit of the quantity].
    quantity : Quantity
    """
    letters = {letter: _size(letter) for letter in quantity.multipliers if letter not in "Kµμ"} | {"": 1.0}
    size = abs(float(f"{number:.3g}"))
    rising = sorted(letters, key=letters.__getitem__)
    best = max((each for each in rising if letters[each] <= size * (1.0 + 1e-12)), key=rising.index, default=rising[0])
    best = best if number else ""
    return f"{float(f'{number / letters[best]:.3g}'):g} {best}{quantity.unit}"


def _size(letter: str) -> float:
    return float(f"1e{_SCALE[letter]}")
