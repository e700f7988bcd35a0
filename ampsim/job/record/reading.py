"""Reading a job file: every entry taken by name, bounded and checked; a mistake is named with its line."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from ...base.entries import Entry
from ...base.entry_texts import MOST_WORDS
from ...base.errors import DescriptionError
from ...base.files import printable, read_bounded
from ...library.files import toml_tables
from ...library.loader import FILE
from ...library.mounting import parse_mounting_of
from ...library.toml_lines import broken_at, with_line
from . import rows
from .billing import read_bill, read_counted, read_order
from .consistency import check_dates, check_frozen
from .data import FORMAT, Record
from .paths import path_inside
from .tables import as_tables

AUDITION = ("about", "source", "listen_at", "frequencies", "views", "compare", "waveform")
_NAME = 60  # signs
_MOST = {"history": 20_000, "states": 1000, "positions": 200}
_MOST_ROWS = 500
_Row = TypeVar("_Row")


def read_record(folder: str | Path) -> Record:
    """Read the record of a job.

    Parameters
    ----------
    folder : str or Path
        The job folder, or the job file in it. A plain job file (format 1) opens as a record too.

    Raises
    ------
    DescriptionError
        When there is none, or for a mistake in it: names file, line, entry, offending value and what would do.
        The file is never changed by reading.
    """
    path = job_file(folder)
    return parse_record(read_bounded(path), printable(path.name))


def job_file(folder: str | Path) -> Path:
    """The job file of a job folder; a file is taken as it is.

    Raises
    ------
    DescriptionError
        When the job file is a link that leads out of the folder.
    """
    path = Path(folder)
    return path if path.suffix == ".toml" and not path.is_dir() else path_inside(path, FILE)


def is_job(path: str | Path) -> bool:
    """Whether this is a folder with a job in it, or the job file of one and no plain job file (format 1)."""
    place = Path(path)
    if place.suffix != ".toml" or place.is_dir():
        return (place / FILE).is_file()
    return place.is_file() and "format" in toml_tables(read_bounded(place), place.name)


def parse_record(data: bytes, file: str = FILE) -> Record:
    """Read a record from the bytes of its file.

    Raises
    ------
    DescriptionError
        As `read`.
    """
    text = data.decode("utf-8", "replace")
    try:
        tables = toml_tables(data, file)
    except DescriptionError as problem:
        place = broken_at(text)
        raise DescriptionError(f"{problem}{f'; {place}' if place else ''}") from None
    try:
        found = from_tables(tables, file)
    except DescriptionError as problem:
        raise DescriptionError(with_line(str(problem), file, text)) from None
    return replace(found, seen=hashlib.sha256(data).hexdigest(), file=file)


def from_tables(tables: Mapping[str, object], file: str = FILE) -> Record:
    """Make a record of tables that need not come from a file (the same checks apply).

    Raises
    ------
    DescriptionError
        Naming entry, offending value and what would do.
    """
    top = Entry(tables, file)
    number = top.whole_number("format", 1, 1_000_000, 1)
    try:
        record = _record(top, number)
        if number <= FORMAT:
            top.finish(" in a job")
    except DescriptionError as problem:
        if number <= FORMAT:
            raise
        raise DescriptionError(f"{problem} (the file has format {number}, this ampsim knows {FORMAT})") from None
    return record if number <= FORMAT else replace(record, beyond=tuple(top.unasked()))


def check_record(record: Record) -> Record:
    """The record as it would read back: texts made plain.

    Raises
    ------
    DescriptionError
        For what a job file cannot hold, naming the entry.
    """
    return rebuilt(record, as_tables(record))


def rebuilt(record: Record, tables: Mapping[str, object]) -> Record:
    """A record made of other tables, which still comes from the file that this one does.

    Raises
    ------
    DescriptionError
        As `from_tables`.
    """
    made = from_tables(tables, record.file)
    return replace(made, format=record.format, beyond=record.beyond, seen=record.seen, file=record.file)


def _record(top: Entry, number: int) -> Record:
    lists = _Lists(top, strict=number <= FORMAT)
    record = Record(
        name=top.plain_text("name", _NAME),
        owner=top.plain_text("owner", _NAME, ""),
        serial=top.plain_text("serial", _NAME, ""),
        promised=top.date("promised") if top.has("promised") else None,
        words=top.plain_text("words", MOST_WORDS, "", lines=True),
        amp=top.bare_file("amp", top.raw("amp")),
        mods=tuple(top.bare_file("mods", each) for each in top.elements("mods", 50)),
        drawer=top.bare_file("drawer", top.raw("drawer")) if top.has("drawer") else "",
        wishes=lists.read("wishes", rows.read_wish),
        states=lists.read("states", rows.read_state),
        arrival=lists.read("arrival", rows.read_note),
        measured=lists.read("measured", rows.read_measured),
        sweeps=lists.read("sweeps", rows.read_sweep),
        choices=lists.read("choices", rows.read_choice),
        blind=lists.read("blind", rows.read_blind),
        sessions=lists.read("sessions", rows.read_session),
        photos=lists.read("photos", partial(rows.read_photo, strict=lists.strict)),
        mounting=_mounting(top),
        quotes=lists.read("quotes", partial(read_bill, strict=lists.strict)),
        orders=lists.read("orders", read_order),
        invoices=lists.read("invoices", partial(read_bill, strict=lists.strict)),
        counted=lists.read("counted", read_counted),
        audition={key: top.bounded(key, top.raw(key)) for key in AUDITION if top.has(key)},
        positions=_positions(top),
        history=lists.read("history", rows.read_change),
        frozen=lists.read("frozen", rows.read_frozen),
        format=number,
    )
    check_dates(top, record)
    check_frozen(top, record)
    return record


def _positions(top: Entry) -> tuple[dict[str, Any], ...]:
    """Tables as they stand: what is in them, the panel reads."""
    top.tables("positions", _MOST["positions"])
    return tuple(top.bounded("positions", each) for each in top.elements("positions", _MOST["positions"]))


def _mounting(top: Entry) -> tuple[tuple[str, str], ...]:
    """The words alone: which parts there are, the amp says when the job opens."""
    table = top.table("mounting")
    return tuple((name, parse_mounting_of(table, name).words) for name in table.names())


@dataclass(frozen=True)
class _Lists:
    """Lists of tables; a newer format may hold entries that nobody here asks for."""

    top: Entry
    strict: bool

    def read(self, key: str, read_row: Callable[[Entry], _Row]) -> tuple[_Row, ...]:
        entries = self.top.tables(key, _MOST.get(key, _MOST_ROWS))
        rows = tuple(read_row(entry) for entry in entries)
        for entry in entries if self.strict else ():
            entry.finish()
        return rows
