"""An invoice from the quote that was agreed on, and what was estimated beside what it took."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from ...base.csv_cells import csv_text, safe_cell
from ...base.errors import DescriptionError, shown
from ...base.wording import plain
from ..record.billing import OTHER, PART, Answer, Bill, Charge
from ..record.data import Record, Session
from ..record.reading import check_record
from .make_quote import amount_off, work_charge
from .money import EXACT, NOTHING, money, shares, total, written
from .sums import add_up

UNSORTED = "not kept of which kind"


def agreed_quote(record: Record) -> Bill:
    """The last quote that the owner accepted, else the last one that was not declined.

    Raises
    ------
    DescriptionError
        When there is none.
    """
    open_ones = [each for each in record.quotes if each.answer is not Answer.DECLINED]
    accepted = [each for each in open_ones if each.answer is Answer.ACCEPTED]
    if not has_quote(record):
        raise DescriptionError("there is no quote to go by; ampsim job quote makes one")
    return (accepted or open_ones)[-1]


def has_quote(record: Record) -> bool:
    """Whether there is a quote to go by: one that was not declined."""
    return any(each.answer is not Answer.DECLINED for each in record.quotes)


def make_invoice(
    record: Record, number: str, *, as_taken: bool = False, paid: str = "", date: datetime.date | None = None
) -> Bill:
    """An invoice of what was quoted, or of the time that it took.

    Parameters
    ----------
    record : Record
    number : str
        As the shop counts its invoices; never made up here.
    as_taken : bool
        Charge the minutes that were written down; a kind of work without any stays as it was quoted.
    paid : str
        What was paid beforehand: an amount, or a share of the total such as "30 %".
    date : datetime.date
        Default today.

    Raises
    ------
    DescriptionError
        When there is no quote, no number, a number that the job has for another invoice, or more was paid than it is.
    """
    quote, told = agreed_quote(record), plain(number)
    lines_say = add_up(quote).total
    if lines_say != quote.total:
        sums = [money(each, quote.currency, quote.places) for each in (lines_say, quote.total)]
        raise DescriptionError(
            f"the lines of the quote of {quote.date} come to {sums[0]}, and its total says {sums[1]}"
        )
    if not told:
        raise DescriptionError("an invoice needs a number of the shop's own: --number")
    lines = _as_taken(record, quote) if as_taken else quote.lines
    bill = replace(
        quote, date=date or datetime.date.today(), number=told, lines=lines, deposit=NOTHING,
        answer=Answer.NONE, answered=None, to_buy=(),
    )  # fmt: skip
    whole = add_up(bill).total
    bill = replace(bill, total=whole, deposit=amount_off(paid, whole, bill.places, "--paid"))
    add_up(bill)
    _refuse_another(record, bill)
    return bill


def _refuse_another(record: Record, bill: Bill) -> None:
    for each in record.invoices:
        if each.number == bill.number and replace(each, date=bill.date) != bill:
            raise DescriptionError(
                f"invoice {shown(bill.number)} of {each.date} says something else; give this one its own number"
            )


def keep_invoice(record: Record, bill: Bill) -> Record:
    """The record with an invoice, once; save it afterwards.

    Raises
    ------
    DescriptionError
        For what a job file cannot hold, and a number that the job has for another invoice.
    """
    _refuse_another(record, bill)
    if any(each.number == bill.number for each in record.invoices):
        return record
    return check_record(replace(record, invoices=(*record.invoices, bill)))


def _as_taken(record: Record, quote: Bill) -> tuple[Charge, ...]:
    """The lines of a quote with the time that each kind of work took."""
    took = minutes_taken(record.sessions)
    work = work_lines(quote)
    if UNSORTED in took:
        raise DescriptionError(
            "--as-taken: of some sessions it was not kept which kind of steps they were; without it what was quoted is "
            "charged"
        )
    if not took or not work:
        raise DescriptionError(
            "--as-taken: nobody wrote down how long it took (ampsim job done ... --minutes); without it what was "
            "quoted is charged"
        )
    hour, rate = work[0].price, work[0].tax_rate
    charged = {kind: replace(work_charge(kind, took[kind], hour, quote.places), tax_rate=rate) for kind in took}
    lines = [charged.get(line.kind, line) for line in work]
    lines += [line for kind, line in charged.items() if kind not in {each.kind for each in work}]
    return (*lines, *(line for line in quote.lines if line.kind in (PART, OTHER)))


def work_lines(bill: Bill) -> list[Charge]:
    """The lines that are work."""
    return [line for line in bill.lines if line.kind not in (PART, OTHER)]


def minutes_taken(sessions: Sequence[Session]) -> dict[str, Decimal]:
    """How long each kind of work took [min]; a session of several kinds is parted by the number of steps of each."""
    found: dict[str, Decimal] = {}
    for session in sessions:
        if not session.minutes:
            continue
        kinds = session.kinds or ((UNSORTED, 1),)
        parts = shares(Decimal(session.minutes), [Decimal(count) for _, count in kinds], 0)
        for (kind, _), minutes in zip(kinds, parts, strict=True):
            found[kind] = EXACT.add(found.get(kind, NOTHING), minutes)
    return found


@dataclass(frozen=True)
class Comparison:
    """What was estimated and what it took.

    `work` has kind, estimated and taken minutes [min] (None: nobody wrote it down); `parts` what the parts were quoted
    at and what was spent on orders, with sending and what is left over (None: nothing was ordered).
    """

    work: tuple[tuple[str, Decimal, Decimal | None], ...]
    parts: tuple[Decimal, Decimal | None]
    currency: str
    places: int
    notes: tuple[str, ...] = ()

    @property
    def compared(self) -> list[tuple[str, Decimal, Decimal | None, str, int]]:
        """What, estimated, taken, their unit and its decimals: each kind of work, their sum, and the parts."""
        rows = [(kind, one, other, "min", 0) for kind, one, other in self.work]
        known = [(one, other) for _, one, other in self.work if other is not None]
        if known and len(self.work) > 1:
            what = "work in all" if len(known) == len(self.work) else "work whose time is known"
            rows.append((what, total(one for one, _ in known), total(other for _, other in known), "min", 0))
        return [*rows, ("parts", *self.parts, self.currency, self.places)]

    def rows(self, comma: bool = False) -> list[tuple[str, str, str, str]]:
        """What, estimated, taken, difference, as texts with their units."""
        found = []
        for what, one, other, unit, places in self.compared:
            first, second = (
                f"{written(each, comma, places)} {unit}" if each is not None else "" for each in (one, other)
            )
            off = EXACT.subtract(other, one) if other is not None else None
            sign = "\u2212" if off is not None and off < 0 else "+" if off else ""
            difference = f"{sign}{written(abs(off), comma, places)} {unit}" if off is not None else ""
            found.append((what, first, second, difference))
        return found

    def csv(self, comma: bool = False, separator: str = ",") -> str:
        """The same as data: plain numbers, and their unit in a column of its own."""
        rows = []
        for what, one, other, unit, places in self.compared:
            off = EXACT.subtract(other, one) if other is not None else None
            numbers = [written(each, comma, places) if each is not None else "" for each in (one, other, off)]
            rows.append((safe_cell(what), *numbers, safe_cell(unit)))
        return csv_text([("what", "estimated", "taken", "difference", "unit"), *rows], separator)


def compare(record: Record) -> Comparison:
    """What was estimated beside what it took, kind by kind.

    Raises
    ------
    DescriptionError
        When there is no quote.
    """
    quote, took = agreed_quote(record), minutes_taken(record.sessions)
    estimated = {line.kind: line.quantity for line in work_lines(quote)}
    work = [(kind, minutes, took.get(kind)) for kind, minutes in estimated.items()]
    work += [(kind, NOTHING, minutes) for kind, minutes in took.items() if kind not in estimated]
    spent = [order.amount for order in record.orders if order.currency == quote.currency]
    parts = total(line.amount for line in quote.lines if line.kind == PART), total(spent) if spent else None
    return Comparison(tuple(work), parts, quote.currency, quote.places, tuple(_notes(record, quote)))


def _notes(record: Record, quote: Bill) -> list[str]:
    """What the comparison leaves open."""
    notes = []
    bare = sum(not each.minutes for each in record.sessions)
    if bare:
        notes.append(f"{bare} session{'s' * (bare != 1)} without a time.")
    if any(each.minutes and len(each.kinds) > 1 for each in record.sessions):
        notes.append("Sessions of several kinds are parted by the number of steps of each.")
    foreign = [each for each in record.orders if each.currency != quote.currency]
    if foreign:
        told = [money(each.amount, each.currency, quote.places) for each in foreign]
        notes.append(f"Orders in another currency are not in it: {', '.join(told)}.")
    if record.orders:
        notes.append("Spent on parts: whole orders, with sending and what a minimum quantity leaves over.")
    return notes
