"""A quote, an invoice and an order as pages: what is charged, the sums, and who charges it."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from ..quote.bill_texts import price_words, quantity_words, sorted_lines, sum_rows
from ..quote.choosing import OrderLine
from ..quote.money import total, written
from ..quote.order_list import order_rows
from ..quote.shop_sheet import ShopSheet
from ..quote.sums import rounding_words
from ..record.billing import Bill
from ..record.data import Record
from .html import paper_html


def quote_html(bill: Bill, record: Record, amp: str, shop: ShopSheet, paper: str = "A4") -> str:
    """The page of a quote.

    Parameters
    ----------
    bill : Bill
    record : Record
    amp : str
        What the amp is called.
    shop : ShopSheet
        Its head and what it adds.
    paper : str
        "A4" or "Letter".

    Raises
    ------
    DescriptionError
        For another paper, or when more is taken off than there is.
    """
    until = bill.date + datetime.timedelta(days=shop.valid_days) if shop.valid_days else None
    notes = [f"This quote holds until {until}."] if until else []
    notes.append("Parts are charged by the piece that goes in.")
    return _bill_html(bill, record, amp, shop, paper, title="Quote", notes=[*notes, *shop.notes], paid=False)


def invoice_html(bill: Bill, record: Record, amp: str, shop: ShopSheet, paper: str = "A4") -> str:
    """The page of an invoice; as `quote_html`.

    Parameters
    ----------
    bill, record, amp, shop, paper
        As those of `quote_html`.
    """
    return _bill_html(bill, record, amp, shop, paper, title="Invoice", notes=list(shop.notes), paid=True)


def _bill_html(
    bill: Bill, record: Record, amp: str, shop: ShopSheet, paper: str, *, title: str, notes: Sequence[str], paid: bool
) -> str:
    number = f" {bill.number}" if bill.number else ""
    lines = [
        (group, [(line.what, quantity_words(line, shop.comma), price_words(line, bill.places, shop.comma),
                  written(line.amount, shop.comma, bill.places)) for line in each])
        for group, each in sorted_lines(bill)
    ]  # fmt: skip
    return paper_html(
        "bill.html",
        paper,
        title=f"{title}{number}",
        above=letterhead(shop),
        intro=_intro(bill, record, amp),
        lines=lines,
        heads=("", "quantity", "price", bill.currency),
        sums=[(words, written(amount, shop.comma, bill.places)) for words, amount in sum_rows(bill, paid, shop.comma)],
        currency=bill.currency,
        rounding=rounding_words(bill),
        without=bill.without,
        notes=notes,
        shop=shop,
    )


def letterhead(shop: ShopSheet) -> str:
    """The shop's name and address on one line."""
    return ", ".join((shop.name, *shop.address))


def _intro(bill: Bill, record: Record, amp: str) -> str:
    owner = f" for {record.owner}" if record.owner else ""
    serial = f", serial number {record.serial}" if record.serial else ""
    work = f" Job: {record.name}." if record.name != amp else ""
    return f"{bill.date}{owner}. Amp: {amp}{serial}.{work}"


def order_html(lines: Sequence[OrderLine], shop: ShopSheet, date: datetime.date, paper: str = "A4") -> str:
    """The page of an order to one supplier.

    Parameters
    ----------
    lines : sequence of OrderLine
        One or more, all of one supplier.
    shop : ShopSheet
    date : datetime.date
    paper : str
        "A4" or "Letter".

    Raises
    ------
    DescriptionError
        For another paper.
    """
    supplier = lines[0].offer.supplier
    spent = total(each.amount for each in lines)
    sums = [("Sum", spent)]
    sending = shop.shipping.get(supplier)
    if sending is not None:
        sums += [("Sending", sending), ("In all", total([spent, sending]))]
    rows = [(row[0], row[1], row[4], row[6], row[7]) for row in order_rows(lines, shop)]
    return paper_html(
        "order.html",
        paper,
        title=f"Order to {supplier}" if supplier else "Order",
        above=letterhead(shop),
        intro=f"{date}. {len(rows)} order number{'s' * (len(rows) != 1)}; prices as the list has them.",
        rows=rows,
        heads=("order number", "what", "pieces", "price", shop.currency),
        sums=[(words, written(amount, shop.comma, shop.places)) for words, amount in sums],
        shop=shop,
    )
