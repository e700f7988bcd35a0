"""A quote made of hours and parts, kept in the job; and what the owner answered to it."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from ...base.errors import DescriptionError, shown
from ...base.wording import plain
from ..record.billing import OTHER, PART, Answer, Bill, Charge
from ..record.data import Record
from ..record.reading import check_record
from .choosing import Purchase, Taken, unit_price
from .hours import KindOfWork, refuse_unknown
from .money import EXACT, parse_amount, times, to_places, total
from .order_list import need_words
from .shop_sheet import TAXED, ShopSheet
from .sums import add_up, line_amount, share_of

_HOUR = Decimal(60)
_HUNDREDTH = Decimal("0.01")


def make_quote(
    shop: ShopSheet,
    work: Sequence[KindOfWork],
    purchase: Purchase,
    *,
    others: Sequence[str] = (),
    discount: str = "",
    deposit: str = "",
    number: str = "",
    date: datetime.date | None = None,
) -> Bill:
    """Make a quote.

    Parameters
    ----------
    shop : ShopSheet
    work : sequence of KindOfWork
        What the steps take [min].
    purchase : Purchase
        What is taken of the price list.
    others : sequence of str
        What is charged besides, such as "courier=12.50".
    discount, deposit : str
        An amount, or a share such as "5 %": of the lines, and of the total.
    number : str
        Of the quote; "" for none.
    date : datetime.date
        Default today.

    Raises
    ------
    DescriptionError
        When the price of an hour or the time of a kind of work is not known, or more is taken off than there is.
    """
    refuse_unknown(work)
    rates = [shop.tax.rates.get(key) for key in TAXED]
    lines = (
        *(replace(_work_line(each, shop), tax_rate=rates[0]) for each in work),
        *(replace(_part_line(each, shop), tax_rate=rates[1]) for each in purchase.taken),
        *(replace(other_charge(each, shop.places), tax_rate=rates[2]) for each in others),
    )
    bill = Bill(
        date or datetime.date.today(),
        shop.currency,
        shop.places,
        lines,
        Decimal(0),
        number=number,
        tax_name=shop.tax.name,
        tax_rate=shop.tax.rate,
        tax_included=shop.tax.included,
        tax_by_line=shop.tax.by_line,
        to_buy=(
            *(part for each in purchase.taken if each.buy for part in each.parts),
            *(part for need, _ in purchase.without if not need.at_hand for part in need.parts),
        ),
        without=tuple(f"{need_words(need)} ({', '.join(need.parts)})" for need, _ in purchase.without),
    )
    bill = replace(bill, discount=amount_off(discount, total(each.amount for each in lines), shop.places, "--discount"))
    whole = add_up(bill).total
    return replace(bill, total=whole, deposit=amount_off(deposit, whole, shop.places, "--deposit"))


def keep_quote(record: Record, bill: Bill) -> Record:
    """The record with a quote, unless the last one says just the same; save it afterwards.

    Raises
    ------
    DescriptionError
        For a quote that a job file cannot hold.
    """
    last = record.quotes[-1] if record.quotes else None
    if last is not None and replace(bill, date=last.date, answer=last.answer, answered=last.answered) == last:
        return record
    return check_record(replace(record, quotes=(*record.quotes, bill)))


def answer_quote(record: Record, answer: Answer, date: datetime.date | None = None) -> Record:
    """The record with what the owner said to the last quote; save it afterwards.

    Parameters
    ----------
    record : Record
    answer : Answer
    date : datetime.date
        Default today.

    Raises
    ------
    DescriptionError
        When there is no quote.
    """
    if not record.quotes:
        raise DescriptionError("there is no quote yet that the owner could have answered; ampsim job quote makes one")
    told = replace(record.quotes[-1], answer=answer, answered=date or datetime.date.today())
    return check_record(replace(record, quotes=(*record.quotes[:-1], told)))


def work_charge(kind: str, minutes: Decimal, hour: Decimal, places: int) -> Charge:
    """Work of a kind as a line.

    Parameters
    ----------
    kind : str
    minutes : Decimal
        How long it takes [min].
    hour : Decimal
        The price of an hour.
    places : int
        Decimals of the currency.
    """
    return Charge(kind, kind, minutes, "min", hour, _HOUR, line_amount(minutes, hour, _HOUR, places))


def other_charge(text: str, places: int) -> Charge:
    """What is charged besides, as it is typed: "courier=12.50".

    Raises
    ------
    DescriptionError
        For what is not so written.
    """
    what, sign, amount = text.rpartition("=")
    if not sign or not plain(what):
        raise DescriptionError(f"--add: {shown(text)}; written for example courier=12.50")
    price = to_places(parse_amount(amount.strip(), "--add"), places)
    return Charge(OTHER, plain(what), Decimal(1), "piece", price, Decimal(1), price)


def _work_line(work: KindOfWork, shop: ShopSheet) -> Charge:
    if shop.hour is None:
        raise DescriptionError('what does an hour cost? Write it into the shop\'s sheet: hour = "54.00"')
    line = work_charge(work.kind, work.minutes, shop.hour, shop.places)
    return replace(line, what=f"{work.kind}, {work.steps} step{'s' * (work.steps != 1)}")


def _part_line(taken: Taken, shop: ShopSheet) -> Charge:
    """Parts by the piece that goes in, with the shop's surcharge; what a pack leaves over is the shop's."""
    offer, count = taken.fit.offer, Decimal(taken.count)
    price = times(unit_price(offer, shop), EXACT.add(Decimal(1), times(shop.surcharge, _HUNDREDTH)))
    per = Decimal(offer.per)
    what = f"{taken.need.short} ({', '.join(taken.parts)})"
    return Charge(PART, what, count, "piece", price, per, line_amount(count, price, per, shop.places))


def amount_off(text: str, whole: Decimal, places: int, option: str) -> Decimal:
    """An amount, or so many percent of the whole.

    Parameters
    ----------
    text : str
        "50" or "5 %"; "" for nothing.
    whole : Decimal
        What the share is of.
    places : int
        Decimals of the currency.
    option : str
        For the message.

    Raises
    ------
    DescriptionError
        For what is neither, and for more than all of it.
    """
    body = text.strip()
    if not body:
        return Decimal(0)
    if not body.endswith("%"):
        return to_places(parse_amount(body, option), places)
    percent = parse_amount(body[:-1].strip(), option)
    if percent > 100:
        raise DescriptionError(f"{option}: {shown(text)} is more than all of it")
    return share_of(whole, percent, places)
