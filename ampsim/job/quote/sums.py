"""Adding up: lines, discount, tax, total, what is asked for beforehand; by the rules that invoices are checked by.

From EN 16931-1, whose rules are published with its validation: the sum of the lines (BR-CO-10), less the allowances
on the whole (BR-CO-13), the tax of its rate on that, rounded to the decimals of the currency (BR-CO-17), total and
tax (BR-CO-15), what was paid taken off (BR-CO-16). Each line is rounded first, at most to the decimals of the
currency (BR-DEC-23). Lines of several rates are told apart: of each rate its own base and tax, rounded once (BR-S-08,
BR-S-09 and their like), and a discount on the whole is parted over the rates by what they come to. A shop that rounds
the tax at each line instead says so in its sheet; then a discount is parted over the lines, and the sum is what the
lines come to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from ...base.errors import DescriptionError
from ..record.billing import Bill, Charge
from .money import EXACT, money, over, shares, times, to_places, total

_HUNDRED = Decimal(100)


@dataclass(frozen=True)
class Sums:
    """What a bill comes to, each amount rounded to the decimals of its currency.

    `lines` is the sum of the lines, `net` what is left without tax after the discount, `rest` what is to be paid once
    the deposit is.
    """

    lines: Decimal
    discount: Decimal
    net: Decimal
    tax: Decimal
    total: Decimal
    deposit: Decimal
    rest: Decimal


def line_amount(quantity: Decimal, price: Decimal, per: Decimal, places: int) -> Decimal:
    """What so many come to at a price for `per` of them, rounded once.

    Parameters
    ----------
    quantity, price, per : Decimal
    places : int
        Decimals of the currency.
    """
    return to_places(over(times(quantity, price), per), places)


def share_of(whole: Decimal, percent: Decimal, places: int) -> Decimal:
    """So many percent of an amount, rounded."""
    return to_places(over(times(whole, percent), _HUNDRED), places)


def add_up(bill: Bill) -> Sums:
    """The sums of a quote or an invoice, from its lines.

    Raises
    ------
    DescriptionError
        When more is taken off than there is.
    """
    lines = total(each.amount for each in bill.lines)
    _refuse_more("discount", bill.discount, lines, bill)
    base = EXACT.subtract(lines, bill.discount)
    tax = total(each.tax for each in tax_by_rate(bill))
    net, whole = (EXACT.subtract(base, tax), base) if bill.tax_included else (base, EXACT.add(base, tax))
    _refuse_more("deposit", bill.deposit, whole, bill)
    return Sums(lines, bill.discount, net, tax, whole, bill.deposit, EXACT.subtract(whole, bill.deposit))


@dataclass(frozen=True)
class RateSum:
    """What the lines of one rate of the tax [percent] come to without it, after the discount, and the tax."""

    rate: Decimal
    net: Decimal
    tax: Decimal


def tax_by_rate(bill: Bill) -> list[RateSum]:
    """The tax of each rate that a bill has, the highest first; their sums are those of `add_up`."""
    rates = sorted({_rate(bill, line) for line in bill.lines} or {bill.tax_rate}, reverse=True)
    groups = [[line for line in bill.lines if _rate(bill, line) == rate] for rate in rates]
    if bill.tax_by_line:
        parted = dict(zip(map(id, bill.lines), _parted(bill.lines, bill.discount, bill.places), strict=True))
        amounts = [[parted[id(line)] for line in group] for group in groups]
    else:
        sums = [total(line.amount for line in group) for group in groups]
        off = shares(bill.discount, sums, bill.places)
        amounts = [[EXACT.subtract(whole, less)] for whole, less in zip(sums, off, strict=True)]
    return [_rate_sum(bill, rate, each) for rate, each in zip(rates, amounts, strict=True)]


def _rate(bill: Bill, line: Charge) -> Decimal:
    return bill.tax_rate if line.tax_rate is None else line.tax_rate


def _rate_sum(bill: Bill, rate: Decimal, amounts: Sequence[Decimal]) -> RateSum:
    # Of a price that holds the tax already, its share is rate / (100 + rate).
    divisor = EXACT.add(_HUNDRED, rate) if bill.tax_included else _HUNDRED
    tax = total(to_places(over(times(each, rate), divisor), bill.places) for each in amounts)
    base = total(amounts)
    return RateSum(rate, EXACT.subtract(base, tax) if bill.tax_included else base, tax)


def _parted(lines: Sequence[Charge], discount: Decimal, places: int) -> list[Decimal]:
    """The lines with the discount parted over them."""
    off = shares(discount, [each.amount for each in lines], places) if lines else []
    return [EXACT.subtract(line.amount, less) for line, less in zip(lines, off, strict=True)]


def _refuse_more(what: str, amount: Decimal, most: Decimal, bill: Bill) -> None:
    if amount > most:
        told = [money(each, bill.currency, bill.places) for each in (amount, most)]
        raise DescriptionError(f"{what}: {told[0]} is more than there is: {told[1]}")


def rounding_words(bill: Bill) -> str:
    """How the amounts were rounded, in a sentence."""
    said = f"Amounts are rounded half up to {bill.places} decimals, each line first."
    if not bill.tax_name:
        return said
    where = "at each line" if bill.tax_by_line else "once, from the sum"
    held = "Prices hold it already." if bill.tax_included else "Prices are without it."
    return f"{said} {bill.tax_name} is worked out {where}. {held}"
