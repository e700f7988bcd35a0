"""Amounts of money: exact decimals from the text to the paper, rounded only where it is said, never lost in parting.

Binary fractions never enter: a text becomes a `decimal.Decimal`, and what is not a text or a whole number is refused.
Amounts are rounded half up (ROUND_HALF_UP). That is how the rules of EN 16931 for invoices are checked, whose published
tests take XPath's ``round``; the rules themselves (BR-DEC) say how many decimals an amount has, and not which way it
is rounded.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from decimal import ROUND_DOWN, ROUND_HALF_UP, Context, Decimal, FloatOperation
from functools import lru_cache

from ...base.errors import DescriptionError, shown
from ...base.written_numbers import leading_number

EXACT = Context(prec=60, rounding=ROUND_HALF_UP, traps=[FloatOperation])
"""More digits than a product of three amounts has: only `to_places` rounds."""
NOTHING = Decimal(0)
_DIGITS = re.compile(r"[0-9]{1,12}(?:\.[0-9]{1,10})?")
# Decimals of an amount where they are not two: ISO 4217 (from memory).
_PLACES = dict.fromkeys(
    [
        "BIF",
        "CLP",
        "DJF",
        "GNF",
        "ISK",
        "JPY",
        "KMF",
        "KRW",
        "PYG",
        "RWF",
        "UGX",
        "UYI",
        "VND",
        "VUV",
        "XAF",
        "XOF",
        "XPF",
    ],
    0,
)
_PLACES |= dict.fromkeys(["BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"], 3)


def places_of(currency: str) -> int:
    """How many decimals the amounts of a currency have, by its letters in ISO 4217; two where it is not known."""
    return _PLACES.get(currency.upper(), 2)


@lru_cache(maxsize=65536)
def amount_readings(text: str) -> tuple[str, ...]:
    """Every way to read the amount that a text is, with decimal comma or point; none for anything else."""
    readings, rest = leading_number(re.sub(r"[\u00a0\u2009\u202f]", " ", text).strip())
    return tuple(each for each in readings if _DIGITS.fullmatch(each)) if not rest.strip() else ()


def parse_amount(value: object, where: str) -> Decimal:
    """Read an amount, a rate or a quantity of nought or more, such as "58,50", "19" or the whole number 19.

    Parameters
    ----------
    value : object
        A text or a whole number.
    where : str
        File and entry, for the message.

    Raises
    ------
    DescriptionError
        For anything else, a text that can be read in two ways, and a decimal fraction that stands without quotes, which
        has lost digits already.
    """
    if isinstance(value, float):
        raise DescriptionError(f'{where}: {shown(value)}: write it in quotes ("{value}"), so that no digit is lost')
    if isinstance(value, bool) or not isinstance(value, (str, int)):
        raise DescriptionError(f"{where}: {shown(value)} is not an amount")
    found = amount_readings(str(value))
    if len(found) > 1:
        raise DescriptionError(f"{where}: {shown(value)} can be read as {' or as '.join(found)}; write one of them")
    if not found:
        raise DescriptionError(f'{where}: {shown(value)} is not an amount; written for example "12.50"')
    return Decimal(found[0])


def to_places(value: Decimal, places: int) -> Decimal:
    """An amount to so many decimals, half up."""
    return EXACT.quantize(value, Decimal(1).scaleb(-places))


def times(first: Decimal, *others: Decimal) -> Decimal:
    """A product, exact."""
    for each in others:
        first = EXACT.multiply(first, each)
    return first


def over(value: Decimal, divisor: Decimal) -> Decimal:
    """A quotient to sixty digits, which is far beyond what a decimal of an amount could turn on."""
    return EXACT.divide(value, divisor)


def total(amounts: Iterable[Decimal]) -> Decimal:
    """A sum, exact."""
    found = NOTHING
    for each in amounts:
        found = EXACT.add(found, each)
    return found


def shares(whole: Decimal, weights: Sequence[Decimal], places: int) -> list[Decimal]:
    """Part an amount by weights so that the parts add up to it: each rounded down, what is left to the largest rests.

    Parameters
    ----------
    whole : Decimal
        An amount of so many decimals, nought or more.
    weights : sequence of Decimal
        Nought or more; where all are nought the parts are equal.
    places : int
        Decimals of the parts.
    """
    known = list(weights) if any(weights) else [Decimal(1)] * len(weights)
    sum_of, step = total(known), Decimal(1).scaleb(-places)
    exact = [over(times(whole, each), sum_of) for each in known]
    parts = [each.quantize(step, rounding=ROUND_DOWN, context=EXACT) for each in exact]
    left = int(over(EXACT.subtract(whole, total(parts)), step))
    order = sorted(range(len(parts)), key=lambda k: (EXACT.subtract(parts[k], exact[k]), k))
    for place in order[:left]:
        parts[place] = EXACT.add(parts[place], step)
    return parts


def written(value: Decimal, comma: bool = False, places: int | None = None) -> str:
    """A number as text, all of its digits or `places` decimals, with a decimal point or comma.

    Parameters
    ----------
    value : Decimal
    comma : bool
        Write a decimal comma.
    places : int
        Decimals; default as many as it has, without noughts at the end.
    """
    text = f"{to_places(value, places):f}" if places is not None else f"{value:f}"
    if places is None and "." in text:
        text = text.rstrip("0").rstrip(".")
    return text.replace(".", ",") if comma else text


def price_text(value: Decimal, places: int, comma: bool = False) -> str:
    """A price with all of its digits, and at least the decimals of its currency.

    Parameters
    ----------
    value : Decimal
    places : int
        Decimals of the currency.
    comma : bool
        Write a decimal comma.
    """
    exact = written(value, comma)
    decimals = len(exact.partition("," if comma else ".")[2])
    return exact if decimals > places else written(value, comma, places)


def money(value: Decimal, currency: str, places: int, comma: bool = False) -> str:
    """An amount with its currency: "412.30 EUR".

    Parameters
    ----------
    value : Decimal
    currency : str
    places : int
        Decimals of the currency.
    comma : bool
        Write a decimal comma.
    """
    return f"{written(value, comma, places)} {currency}"
