"""Changing a record: any entry by its name, with the value it had before kept in the history."""

from __future__ import annotations

import copy
import datetime
import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from ...base.errors import DescriptionError, nearest, shown
from ...base.wording import plain
from .data import Change, OwnersWish, Record
from .reading import check_record, rebuilt
from .tables import Tables, as_tables
from .words import Status

# These tell how the file came about; positions are where knobs stand at the moment.
_OWN = ("format", "history", "frozen")
_FLEETING = (*_OWN, "positions")
_NUMBER = re.compile(r"\[([0-9]{1,6})\]")


def change_entry(record: Record, entry: str, value: Any, date: datetime.date | None = None) -> Record:
    """Give an entry another value; what it was goes into the history with the date.

    Parameters
    ----------
    record : Record
    entry : str
        As messages name it: "owner", "wishes[2].note", "measured[1].volts.V1A.plate". One that is not there is added.
    value : text, number, date, list or table
        As the job file would hold it; None takes the entry out.
    date : datetime.date
        Default today.

    Raises
    ------
    DescriptionError
        For an entry that a job does not have, or a value it cannot take.
    """
    tables = _open_tables(record)
    holder, key = _locate(tables, entry)
    before = copy.deepcopy(_value(holder, key))
    if value is not None and isinstance(holder, list) and key == len(holder):
        holder.append(value)
    elif value is not None:
        holder[key] = value
    elif before is not None:
        del holder[key]
    made = rebuilt(record, tables)
    after = None if value is None else _value(*_locate(_open_tables(made), entry))
    if after == before:
        return record
    line = Change(date or datetime.date.today(), entry, before, after)
    return replace(made, history=(*record.history, line))


def add_entry(record: Record, entry: str, table: Tables) -> Record:
    """Add a table to a list of the record, such as "measured", "sweeps", "choices" or "wishes".

    Raises
    ------
    DescriptionError
        For a list that a job does not have, or a table with mistakes.
    """
    tables = copy.deepcopy(as_tables(record))
    tables.setdefault(entry, [])
    if entry in _OWN or not isinstance(tables[entry], list):
        raise DescriptionError(f"{shown(entry)} is not a list of a job that can be added to")
    tables[entry].append(dict(table))
    return rebuilt(record, tables)


def enter_status(record: Record, status: Status | str, date: datetime.date | None = None, note: str = "") -> Record:
    """Enter where the job stands now; the states before stay.

    Parameters
    ----------
    record : Record
    status : Status or str
        A status, or its words.
    date : datetime.date
        Since when; default today.
    note : str
        Why, or what for.

    Raises
    ------
    DescriptionError
        For a state that is not known, or a date before that of the last one.
    """
    table = {"state": str(status), "date": date or datetime.date.today(), "note": plain(note, lines=True)}
    return add_entry(record, "states", {key: value for key, value in table.items() if value})


def add_wish(record: Record, words: str, file: str = "", entry: int = 0, note: str = "") -> Record:
    """Add a wish in the owner's words, tied to a wish of a frozen wish file or to a note.

    Parameters
    ----------
    record : Record
    words : str
        What the owner wishes, as they said it.
    file : str
        A frozen wish file that answers it.
    entry : int
        Which wish of that file, from 1.
    note : str
        What is done about it.

    Raises
    ------
    DescriptionError
        When the file is not frozen into the job.
    """
    new = OwnersWish(plain(words, lines=True), file, entry, plain(note, lines=True))
    return check_record(replace(record, wishes=(*record.wishes, new)))


def with_history(old: Record, new: Record, date: datetime.date) -> Record:
    """The new record with a line of history for every value of the old one that it does not keep nor account for.

    Raises
    ------
    DescriptionError
        When lines of the old history are missing in the new one.
    """
    if new.history[: len(old.history)] != old.history:
        raise DescriptionError("the history of a job is only added to; nothing was saved")
    told = [each.entry for each in new.history[len(old.history) :]]
    before, after = (
        {key: value for key, value in as_tables(each).items() if key not in _FLEETING} for each in (old, new)
    )
    lost = [each for each in _lost_values("", before, after) if not any(_same(each[0], entry) for entry in told)]
    lines = tuple(Change(date, entry, was, now) for entry, was, now in lost)
    return replace(new, history=(*new.history, *lines))


def _lost_values(name: str, before: Any, after: Any) -> Iterator[tuple[str, Any, Any]]:
    if before == after:
        return
    if isinstance(before, dict) and isinstance(after, dict):
        for key, value in before.items():
            yield from _lost_values(f"{name}.{key}" if name else key, value, after.get(key))
    elif _is_rows(before) and isinstance(after, list):
        for number, value in enumerate(before):
            there = after[number] if number < len(after) else None
            yield from _lost_values(f"{name}[{number + 1}]", value, there)
    else:
        yield name, before, after


def _is_rows(value: Any) -> bool:
    return isinstance(value, list) and any(isinstance(each, dict) for each in value)


def _same(one: str, two: str) -> bool:
    """Whether two entries are one, or one of them holds the other."""
    short, long = sorted((one, two), key=len)
    return long.startswith(short) and long[len(short) : len(short) + 1] in ("", ".", "[")


def _open_tables(record: Record) -> Tables:
    """The tables of a record, one that single entries may be added to among them though it is empty."""
    return {"mounting": {}} | copy.deepcopy(as_tables(record))


def _locate(tables: Tables, entry: str) -> tuple[Any, Any]:
    """The table or list that holds an entry, and its key or index there."""
    if entry.split(".")[0].split("[")[0] in _OWN:
        raise DescriptionError(f"{shown(entry)} cannot be changed by hand")
    holder: Any = tables
    key, rest = _first(holder, entry)
    while rest:
        holder = holder[key]
        key, rest = _first(holder, rest.removeprefix("."), entry)
    return holder, key


def _first(holder: Any, rest: str, entry: str = "") -> tuple[Any, str]:
    """The first step into a table or a list, and what is left of the way."""
    if isinstance(holder, list):
        number = _NUMBER.match(rest)
        if number and 1 <= int(number[1]) <= len(holder) + (number.end() == len(rest)):
            return int(number[1]) - 1, rest[number.end() :]
    elif isinstance(holder, dict):
        # The longest name wins: a place such as V1A.plate is one name.
        for name in sorted(holder, key=len, reverse=True):
            if rest.startswith(name) and rest[len(name) : len(name) + 1] in ("", ".", "["):
                return name, rest[len(name) :]
        if rest and "[" not in rest:
            return rest, ""
    known = [str(name) for name in holder] if isinstance(holder, dict) else []
    raise DescriptionError(f"{shown(entry or rest)} is not an entry of this job{nearest(rest, known)}")


def _value(holder: Any, key: Any) -> Any:
    return (holder[key] if key < len(holder) else None) if isinstance(holder, list) else holder.get(key)
