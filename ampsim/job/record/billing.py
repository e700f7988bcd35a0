"""What a job keeps of money: quotes with what the owner answered, orders until they arrive, invoices.

Amounts are exact decimals, written as texts ("412.30"), so that no digit is lost on the way.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date as Date
from decimal import Decimal
from enum import StrEnum
from typing import Any

from ...base.entries import Entry
from ...base.errors import shown

_AMOUNT = re.compile(r"[0-9]{1,14}(\.[0-9]{1,12})?")
_TEXT, _NAME, _MOST_LINES, _MOST_PARTS = 400, 120, 300, 500
_NOUGHT = Decimal(0)
PART, OTHER = "part", "other"
"""Kinds of lines that are no work."""


class Answer(StrEnum):
    """What the owner said to a quote. The words stand in the job's file."""

    NONE = ""
    ACCEPTED = "accepted"
    DECLINED = "declined"


@dataclass(frozen=True)
class Charge:
    """One line: so many of a unit, at a price for `per` of them.

    `kind` is what it is sorted by: a phase of the plan ("fit") for work, else `PART` or `OTHER`; `tax_rate` [percent]
    is None where it is that of the whole bill.
    """

    kind: str
    what: str
    quantity: Decimal
    unit: str
    price: Decimal
    per: Decimal
    amount: Decimal
    tax_rate: Decimal | None = None


@dataclass(frozen=True)
class Bill:
    """A quote or an invoice, as it was written.

    Attributes
    ----------
    date, number
        Its day, and the number that the shop gave it ("" where it gave none).
    currency, places
        Of its amounts, and how many decimals they have.
    lines
        What is charged.
    discount
        Taken off the sum of the lines.
    tax_name, tax_rate, tax_included, tax_by_line
        The tax [percent] of lines that name no other; whether the lines hold it already; whether it is rounded at each.
    total
        What it comes to, tax and all.
    deposit
        Of a quote what is asked for beforehand, of an invoice what was paid already.
    answer, answered
        What the owner said to a quote, and when.
    to_buy, without
        Designators of the parts that must be bought, with a price or without; and what had none.
    """

    date: Date
    currency: str
    places: int
    lines: tuple[Charge, ...]
    total: Decimal
    number: str = ""
    discount: Decimal = _NOUGHT
    tax_name: str = ""
    tax_rate: Decimal = _NOUGHT
    tax_included: bool = False
    tax_by_line: bool = False
    deposit: Decimal = _NOUGHT
    answer: Answer = Answer.NONE
    answered: Date | None = None
    to_buy: tuple[str, ...] = ()
    without: tuple[str, ...] = ()


@dataclass(frozen=True)
class Order:
    """What was ordered at a supplier: for which parts, for how much, and the day it came (None while it has not)."""

    date: Date
    supplier: str
    parts: tuple[str, ...]
    amount: Decimal
    currency: str
    arrived: Date | None = None


@dataclass(frozen=True)
class CountedOff:
    """What was counted off the stock of a price list: its offer, the parts of this job it went to, and the list."""

    date: Date
    offer: str
    parts: tuple[str, ...]
    file: str


def bill_table(bill: Bill) -> dict[str, Any]:
    """A quote or an invoice as a table of the job's file."""
    needed = {"date": bill.date, "currency": bill.currency, "places": bill.places, "total": _told(bill.total)}
    told = {key: _told(value) for key, value in vars(bill).items() if value and key not in (*needed, "lines")}
    return needed | told | {"lines": [row_table(each) for each in bill.lines]}


def row_table(each: Order | CountedOff | Charge) -> dict[str, Any]:
    """A row of a job as a table of its file, without what is not known."""
    return {key: _told(value) for key, value in vars(each).items() if value is not None}


def _told(value: Any) -> Any:
    if isinstance(value, Decimal):
        return f"{value:f}"
    return list(value) if isinstance(value, tuple) else str(value) if isinstance(value, StrEnum) else value


def read_bill(entry: Entry, strict: bool = True) -> Bill:
    """A quote or an invoice; `strict` refuses what nobody here knows of its lines."""
    lines = entry.tables("lines", _MOST_LINES)
    found = Bill(
        entry.date(),
        entry.plain_text("currency", 12),
        entry.whole_number("places", 0, 4, 2),
        tuple(_read_charge(each) for each in lines),
        _amount(entry, "total"),
        entry.plain_text("number", _NAME, ""),
        _amount(entry, "discount", _NOUGHT),
        entry.plain_text("tax_name", _NAME, ""),
        _amount(entry, "tax_rate", _NOUGHT),
        entry.has("tax_included") and entry.truth("tax_included"),
        entry.has("tax_by_line") and entry.truth("tax_by_line"),
        _amount(entry, "deposit", _NOUGHT),
        Answer(entry.choice("answer", list(Answer), "")),
        entry.date("answered") if entry.has("answered") else None,
        _texts(entry, "to_buy"),
        _texts(entry, "without"),
    )
    for each in lines if strict else ():
        each.finish()
    return found


def read_order(entry: Entry) -> Order:
    """An order."""
    return Order(
        entry.date(),
        entry.plain_text("supplier", _TEXT, ""),
        _texts(entry, "parts"),
        _amount(entry, "amount"),
        entry.plain_text("currency", 12),
        entry.date("arrived") if entry.has("arrived") else None,
    )


def read_counted(entry: Entry) -> CountedOff:
    """What was counted off."""
    offer, file = (entry.plain_text(key, _TEXT) for key in ("offer", "file"))
    return CountedOff(entry.date(), offer, _texts(entry, "parts"), file)


def _read_charge(entry: Entry) -> Charge:
    kind, what, unit = (entry.plain_text(key, _TEXT) for key in ("kind", "what", "unit"))
    per = _amount(entry, "per")
    if not per:
        raise entry.fail("per", "a price holds for more than none")
    quantity, price, amount = (_amount(entry, key) for key in ("quantity", "price", "amount"))
    return Charge(
        kind, what, quantity, unit, price, per, amount, _amount(entry, "tax_rate") if entry.has("tax_rate") else None
    )


def _amount(entry: Entry, key: str, default: Decimal | None = None) -> Decimal:
    if default is not None and not entry.has(key):
        return default
    value = entry.raw(key)
    if not isinstance(value, str) or not _AMOUNT.fullmatch(value):
        raise entry.fail(key, f'{shown(value)} is not an amount; written for example "12.50", in quotes')
    return Decimal(value)


def _texts(entry: Entry, key: str) -> tuple[str, ...]:
    return tuple(entry.element(key, each).plain_text(key, _TEXT) for each in entry.elements(key, _MOST_PARTS))
