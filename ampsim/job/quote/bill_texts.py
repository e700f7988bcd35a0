"""A quote or an invoice as plain text, and as data: CSV in the shop's way, no cell of which is a formula."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from ...base.csv_cells import csv_text, safe_cell
from ...base.tables import text_of_rows
from ..record.billing import OTHER, PART, Bill, Charge
from .money import money, over, price_text, to_places, total, written
from .sums import add_up, rounding_words, tax_by_rate

_COLUMNS = (
    "document",
    "number",
    "date",
    "line",
    "kind",
    "what",
    "quantity",
    "unit",
    "price",
    "per",
    "amount",
    "currency",
    "tax rate",
)
_HOUR = Decimal(60)


def quantity_words(line: Charge, comma: bool = False) -> str:
    """How many of what: "2 pieces", "1 h 15 min"."""
    if line.unit == "min":
        minutes = to_places(line.quantity, 0)
        hours, rest = divmod(int(minutes), 60)
        return f"{hours} h {rest:02d} min" if hours else f"{rest} min"
    return written(line.quantity, comma)


def price_words(line: Charge, places: int, comma: bool = False) -> str:
    """The price and what it is for: "54.00 per h", "4.20 per 100".

    Parameters
    ----------
    line : Charge
    places : int
        Decimals of the currency.
    comma : bool
        Write a decimal comma.
    """
    price = price_text(line.price, places, comma)
    if line.unit == "min" and line.per == _HOUR:
        return f"{price} per h"
    return price if line.per == 1 else f"{price} per {written(line.per)}"


def line_rows(bill: Bill, comma: bool = False) -> list[tuple[str, str, str, str]]:
    """What, how many, at which price, amount; a line each."""
    return [
        (line.what, quantity_words(line, comma), price_words(line, bill.places, comma),
         written(line.amount, comma, bill.places))
        for line in bill.lines
    ]  # fmt: skip


def sum_rows(bill: Bill, paid: bool = False, comma: bool = False) -> list[tuple[str, Decimal]]:
    """What stands below the lines: words and amount, the last one to be paid.

    Parameters
    ----------
    bill : Bill
    paid : bool
        The deposit was paid already (an invoice), instead of asked for (a quote).
    comma : bool
        Write decimal commas.
    """
    sums = add_up(bill)
    rows = [(title, total(line.amount for line in lines)) for title, lines in sorted_lines(bill)]
    rows += [("Less discount", sums.discount)] if sums.discount else []
    if bill.tax_name:
        rows.append((f"Without {bill.tax_name}", sums.net))
        by_rate = tax_by_rate(bill)
        for each in by_rate:
            base = f" of {written(each.net, comma, bill.places)}" if len(by_rate) > 1 else ""
            rows.append((f"{bill.tax_name} {written(each.rate, comma)} %{base}", each.tax))
    rows.append(("Total", sums.total))
    if sums.deposit:
        rows += [("Paid already" if paid else "Of this beforehand", sums.deposit), ("To be paid", sums.rest)]
    return rows


def bill_text(bill: Bill, title: str, comma: bool = False, paid: bool = False) -> str:
    """The whole as plain text.

    Parameters
    ----------
    bill : Bill
    title : str
    comma : bool
        Write decimal commas.
    paid : bool
        See `sum_rows`.
    """
    sums = [(words, money(amount, bill.currency, bill.places, comma)) for words, amount in sum_rows(bill, paid, comma)]
    told = [title, text_of_rows(("what", "quantity", "price", "amount"), line_rows(bill, comma)),
            text_of_rows(("", ""), sums)]  # fmt: skip
    if bill.without:
        told.append("Without a price, and not in the sum:\n" + "\n".join(f"  {each}" for each in bill.without))
    return "\n\n".join([*told, rounding_words(bill)])


def bill_csv(bill: Bill, document: str, comma: bool = False, separator: str = ",", paid: bool = False) -> str:
    """The lines and the sums as CSV.

    Parameters
    ----------
    bill : Bill
    document : str
        "quote" or "invoice".
    comma : bool
        Write decimal commas.
    separator : str
        Between cells.
    paid : bool
        See `sum_rows`.
    """
    head = (safe_cell(document), safe_cell(bill.number), str(bill.date))
    end = safe_cell(bill.currency)
    rows: list[tuple[str, ...]] = [
        (
            *head, str(number), safe_cell(line.kind), safe_cell(line.what), written(line.quantity, comma),
            safe_cell(line.unit), price_text(line.price, bill.places, comma), written(line.per, comma),
            written(line.amount, comma, bill.places), end, _rate_cell(bill, line, comma),
        )
        for number, line in enumerate(bill.lines, 1)
    ]  # fmt: skip
    rows += [
        (*head, "", "sum", safe_cell(words), "", "", "", "", written(amount, comma, bill.places), end, "")
        for words, amount in sum_rows(bill, paid, comma)
    ]
    rows += [(*head, "", "without a price", safe_cell(each), *[""] * 5, end, "") for each in bill.without]
    return csv_text([_COLUMNS, *rows], separator)


def _rate_cell(bill: Bill, line: Charge, comma: bool) -> str:
    return written(bill.tax_rate if line.tax_rate is None else line.tax_rate, comma) if bill.tax_name else ""


def hours_words(bill: Bill) -> str:
    """How long the work takes in all."""
    minutes = total(line.quantity for line in bill.lines if line.unit == "min")
    return f"{written(over(minutes, _HOUR), places=1)} hours"


def sorted_lines(bill: Bill) -> Iterator[tuple[str, list[Charge]]]:
    """Work, parts, and what is charged besides, each with its lines; what has none is left out."""
    titles = {PART: "Parts", OTHER: "Other"}
    for title in ("Work", *titles.values()):
        lines = [line for line in bill.lines if titles.get(line.kind, "Work") == title]
        if lines:
            yield title, lines
