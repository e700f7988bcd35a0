"""Decimal numbers as people write them: decimal points and commas, thousands set apart, and what can be read twice."""

from __future__ import annotations

import re

_APOSTROPHES = "'\u2019"
_SIGN = "-+\u2212"
# A number at the beginning of a text: digits with what sets them apart, perhaps an exponent. A blank belongs to it
# only before three digits.
_NUMBER = re.compile(
    rf"([{_SIGN}]?)((?:[0-9]|[.,{_APOSTROPHES}](?=[0-9])|[ ](?=[0-9]{{3}}(?![0-9])))+)([eE][+-]?[0-9]{{1,2}})?"
)
_LONGEST = 30


def leading_number(text: str) -> tuple[tuple[str, ...], str]:
    """The number that a text begins with, in every way it can be read, and the rest of the text.

    A comma before exactly three digits may be a decimal comma or part thousands: two readings. A point is the decimal
    sign, unless several part thousands or a decimal comma follows.

    Returns
    -------
    readings : tuple of str
        Each as Python writes a decimal number; none where the text begins with no number.
    rest : str
        What follows, as it stands.

    Examples
    --------
    >>> leading_number("1,500"), leading_number("4,7 k"), leading_number("1.500.000"), leading_number(".68u")
    ((('1500', '1.500'), ''), (('4.7',), ' k'), (('1500000',), ''), (('.68',), 'u'))
    """
    found = _NUMBER.match(text)
    if not found or len(found[2]) > _LONGEST:
        return (), text
    sign = "-" if found[1] in ("-", "\u2212") else ""
    return tuple(f"{sign}{each}{found[3] or ''}" for each in _readings(found[2])), text[found.end() :]


def _readings(digits: str) -> tuple[str, ...]:
    """Every way to read digits with points, commas, blanks and apostrophes among them."""
    signs = [sign for sign in digits if not sign.isdigit()]
    kinds = list(dict.fromkeys(signs))
    if not kinds:
        return (digits,)
    if len(kinds) == 1 and kinds[0] in ".," and len(signs) == 1:
        whole, part = digits.split(kinds[0])
        decimal = f"{whole}.{part}"
        thousands = kinds[0] == "," and _parted(digits, ",")
        return (whole + part, decimal) if thousands else (decimal,)
    if len(kinds) == 1:
        return (_joined(digits),) if _parted(digits, kinds[0]) else ()
    thousands_sign, decimal_sign = kinds[0], kinds[1]
    if len(kinds) > 2 or decimal_sign not in ".," or signs.count(decimal_sign) > 1 or signs[-1] != decimal_sign:
        return ()
    whole, part = digits.split(decimal_sign)
    return (f"{_joined(whole)}.{part}",) if _parted(whole, thousands_sign) else ()


def _parted(digits: str, sign: str) -> bool:
    """Whether the sign parts thousands: one to three digits, no zero first, then threes."""
    return bool(re.fullmatch(rf"[1-9][0-9]{{0,2}}(?:{re.escape(sign)}[0-9]{{3}})+", digits))


def _joined(digits: str) -> str:
    return re.sub(r"[^0-9]", "", digits)
