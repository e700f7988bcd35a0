"""One line for each job: whose amp it is, how far it is, what it waits for, until when."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from datetime import date as Date
from typing import Any

from ..record.billing import Answer, Bill
from ..record.data import Record
from ..record.words import Status

_WAITS_FOR = {
    Status.TAKEN_IN: "being looked over",
    Status.LOOKED_OVER: "a decision",
    Status.WAITING_FOR_OWNER: "the owner's answer",
    Status.WAITING_FOR_PARTS: "parts",
    Status.ON_THE_BENCH: "the bench",
    Status.BEING_WIRED: "the bench",
    Status.BEING_PROVED: "the proof",
}
_UNDECIDED = (Status.TAKEN_IN, Status.LOOKED_OVER, Status.WAITING_FOR_OWNER, Status.WAITING_FOR_PARTS)
_AT_WORK = (Status.ON_THE_BENCH, Status.BEING_WIRED)
_SOON = 7  # days; a habit of ours


@dataclass(frozen=True)
class JobLine:
    """A job as the list of all jobs tells it.

    `place` is its folder, from the shop's; dates are as the calendar writes them (2027-03-01), "" where there is none.
    `waits` says what it waits for, "" when nothing: it was handed over, or given back. `value` is what its invoice,
    else its last quote comes to in its `currency`, "" where there is none or the owner declined it. `fault` says why a
    folder could not be read as a job; everything else then is empty.
    """

    place: str
    name: str = ""
    owner: str = ""
    amp: str = ""
    serial: str = ""
    state: str = ""
    since: str = ""
    waits: str = ""
    promised: str = ""
    touched: str = ""
    value: str = ""
    currency: str = ""
    fault: str = ""

    @property
    def is_open(self) -> bool:
        """Whether there is something left to do, or to mend in its folder."""
        return bool(self.waits or self.fault)

    def days_left(self, today: Date) -> int | None:
        """Days until it was promised for, below zero when it is late; None when it is done or has no such day."""
        return (Date.fromisoformat(self.promised) - today).days if self.promised and self.waits else None

    def due(self, today: Date) -> str:
        """The day it was promised for, and in words how near that is."""
        left = self.days_left(today)
        if left is None or left > _SOON:
            return self.promised
        near = {0: "today", 1: "tomorrow", -1: "1 day late"}
        return f"{self.promised}, {near.get(left, f'in {left} days' if left > 0 else f'{-left} days late')}"


def job_line(place: str, record: Record, amp: str) -> JobLine:
    """The line of a job; `amp` is what its amp is called."""
    bill = _bill(record)
    return JobLine(
        place=place,
        name=record.name,
        owner=record.owner,
        amp=amp or record.amp,
        serial=record.serial,
        state=record.state,
        since=str(record.states[-1].date) if record.states else "",
        waits=_waits_for(record),
        promised=str(record.promised or ""),
        touched=max(map(str, _dates(record)), default=""),
        value=f"{bill.total:f}" if bill else "",
        currency=bill.currency if bill else "",
    )


def _bill(record: Record) -> Bill | None:
    """What the job is worth: its invoice, else its last quote unless that was declined."""
    asked = [each for each in record.quotes[-1:] if each.answer is not Answer.DECLINED]
    return next(iter([*record.invoices[-1:], *asked]), None)


def _waits_for(record: Record) -> str:
    if not record.states:
        return "being taken in"
    last = record.states[-1]
    waits = _WAITS_FOR.get(last.state, "")
    note = " ".join(last.note.split())
    said = f"{waits}: {note}" if waits and note else waits
    if last.state in _UNDECIDED:
        return _by_quote(record) or said
    coming = _parts_to_come(record) if last.state in _AT_WORK else ""
    return f"{said}; {coming}" if coming else said


def _by_quote(record: Record) -> str:
    """What a job waits for before the work, as its last quote and its orders say it; "" without a quote."""
    if not record.quotes:
        return ""
    last = record.quotes[-1]
    if last.answer is Answer.NONE:
        return f"the owner's answer to the quote of {last.date}"
    if last.answer is Answer.DECLINED:
        return f"a decision: the quote was declined on {last.answered}"
    return _parts_to_come(record) or "the bench"


def _parts_to_come(record: Record) -> str:
    """Which parts of the last quote are still to be ordered, or ordered and not here; "" when all are here."""
    ordered = {part for order in record.orders for part in order.parts}
    missing = [part for part in (record.quotes[-1].to_buy if record.quotes else ()) if part not in ordered]
    away = [order for order in record.orders if order.arrived is None]
    told = [f"{_count(len(missing))} to order"] if missing else []
    told += [
        f"{_count(len(each.parts))} of {each.date}{f' from {each.supplier}' * bool(each.supplier)}" for each in away
    ]
    return f"parts: {', '.join(told)}" if told else ""


def _count(parts: int) -> str:
    return f"{parts} part{'s' * (parts != 1)}"


def _dates(record: Record) -> Iterator[Date]:
    dated: Sequence[Any] = (
        *record.states, *record.arrival, *record.measured, *record.sweeps, *record.choices, *record.sessions,
        *record.photos, *record.quotes, *record.orders, *record.invoices, *record.counted, *record.history,
        *record.frozen,
    )  # fmt: skip
    return (each.date for each in dated)


def in_order(lines: Sequence[JobLine], today: Date) -> list[JobLine]:
    """Open jobs first, what was promised soonest at the top; then those that are done, the last one first."""
    closed = sorted((each for each in lines if not each.is_open), key=lambda each: (each.touched, each.place))
    waiting = [each for each in lines if each.is_open]
    far = 10**6

    def urgency(line: JobLine) -> tuple[bool, int, str, str]:
        left = line.days_left(today)
        return bool(line.fault), far if left is None else left, line.since, line.place

    return [*sorted(waiting, key=urgency), *reversed(closed)]


COLUMNS = tuple(each.name for each in fields(JobLine))
