"""Reading a job file: every entry taken by name, bounded and checked; a mistake is named with its line."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from ...base.entries import Entry
from ...base.entry_texts import MOST_WORDS
from ...base.errors import DescriptionError, shown
from ...base.files import read_bounded
from ...base.quantities import OHM, VOLT, Quantity
from ...base.wording import plain
from ...circuit.source import parse_source
from ...library.files import toml_tables
from ...library.loader import FILE
from ...library.toml_lines import broken_at, with_line
from .consistency import check_dates, check_frozen
from .data import (
    FORMAT,
    Blind,
    Change,
    Choice,
    Frozen,
    Measured,
    Note,
    OwnersWish,
    Phase,
    Record,
    Session,
    State,
    Status,
    Sweep,
)
from .paths import check_file_name, path_inside
from .tables import as_tables

AUDITION = ("about", "source", "listen_at", "frequencies", "views", "compare", "waveform")
_MAINS = Quantity("mains voltage", "V", ("V",), "", 50.0, 500.0)
_NOTE, _NAME, _SOURCE, _FOUND = 4000, 60, 300, 20_000
_MOST = {"history": 20_000, "states": 1000, "positions": 200}
_MOST_ROWS, _MOST_VOLTS, _MOST_CONTROLS = 500, 1000, 100
_SHA256 = re.compile(r"[0-9a-f]{64}")
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
    return parse_record(read_bounded(job_file(folder)))


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
    return replace(found, seen=hashlib.sha256(data).hexdigest())


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
    return replace(from_tables(as_tables(record)), format=record.format, beyond=record.beyond, seen=record.seen)


def _record(top: Entry, number: int) -> Record:
    rows = _Rows(top, strict=number <= FORMAT)
    record = Record(
        name=top.plain_text("name", _NAME),
        owner=top.plain_text("owner", _NAME, ""),
        serial=top.plain_text("serial", _NAME, ""),
        promised=top.date("promised") if top.has("promised") else None,
        words=top.plain_text("words", MOST_WORDS, "", lines=True),
        amp=top.bare_file("amp", top.raw("amp")),
        mods=tuple(top.bare_file("mods", each) for each in top.elements("mods", 50)),
        drawer=top.bare_file("drawer", top.raw("drawer")) if top.has("drawer") else "",
        wishes=rows.read("wishes", _wish),
        states=rows.read("states", _state),
        arrival=rows.read("arrival", _note),
        measured=rows.read("measured", _measured),
        sweeps=rows.read("sweeps", _sweep),
        choices=rows.read("choices", _choice),
        blind=rows.read("blind", _blind),
        sessions=rows.read("sessions", _session),
        audition={key: top.bounded(key, top.raw(key)) for key in AUDITION if top.has(key)},
        positions=tuple(top.bounded("positions", each) for each in top.elements("positions", _MOST["positions"])),
        history=rows.read("history", _change),
        frozen=rows.read("frozen", _frozen),
        format=number,
    )
    check_dates(top, record)
    check_frozen(top, record)
    return record


@dataclass(frozen=True)
class _Rows:
    """Lists of tables; a newer format may hold entries that nobody here asks for."""

    top: Entry
    strict: bool

    def read(self, key: str, read_row: Callable[[Entry], _Row]) -> tuple[_Row, ...]:
        entries = self.top.tables(key, _MOST.get(key, _MOST_ROWS))
        rows = tuple(read_row(entry) for entry in entries)
        for entry in entries if self.strict else ():
            entry.finish()
        return rows


def _wish(entry: Entry) -> OwnersWish:
    wish = entry.bare_file("wish", entry.raw("wish")) if entry.has("wish") else ""
    note = entry.plain_text("note", _NOTE, "", lines=True)
    number = entry.whole_number("entry", 0, 100, 0)
    if bool(number) != bool(wish):
        raise entry.fail("entry", "a wish of the finder is tied by both: wish = its file, entry = which of its wishes")
    return OwnersWish(entry.plain_text("words", _NOTE, lines=True), wish, number, note)


def _state(entry: Entry) -> State:
    status = Status(entry.choice("state", list(Status)))
    return State(status, entry.date(), entry.plain_text("note", _NOTE, "", lines=True))


def _note(entry: Entry) -> Note:
    return Note(entry.date(), entry.plain_text("note", _NOTE, lines=True))


def _measured(entry: Entry) -> Measured:
    volts = entry.table("volts")
    if len(volts.names()) > _MOST_VOLTS:
        raise entry.fail("volts", f"{len(volts.names())} readings are too many; at most {_MOST_VOLTS}")
    return Measured(
        _phase(entry),
        entry.date(),
        tuple((volts.place(name, name), volts.value(name, VOLT)) for name in volts.names()),
        entry.value("mains_volts", _MAINS) if entry.has("mains_volts") else None,
        entry.value("meter_ohms", OHM) if entry.has("meter_ohms") else None,
        entry.value("mains_drawn_volts", _MAINS) if entry.has("mains_drawn_volts") else None,
        _positions_at(entry),
        _source(entry),
    )


def _source(entry: Entry) -> str:
    """A source as it is written; whether the amp has its jacks and places is seen when it is asked."""
    return str(parse_source(entry.plain_text("source", _SOURCE), entry.where("source"))) if entry.has("source") else ""


def _phase(entry: Entry) -> Phase:
    return Phase(entry.choice("phase", list(Phase)))


def _positions_at(entry: Entry) -> tuple[tuple[str, float | str], ...]:
    """Where controls stood: rotations and positions; whether the amp has them is seen when it is asked."""
    at = entry.table("at")
    if len(at.names()) > _MOST_CONTROLS:
        raise entry.fail("at", f"{len(at.names())} controls are too many; at most {_MOST_CONTROLS}")
    for name in at.names():
        if len(name) > _NAME or name != plain(name):
            raise entry.fail("at", f"{shown(name)} is not the name of a control")
    return tuple(
        (name, at.plain_text(name, _NAME) if isinstance(at.raw(name), str) else at.number(name, 0.0, 1.0))
        for name in at.names()
    )


def _sweep(entry: Entry) -> Sweep:
    file = entry.raw("file")
    try:
        check_file_name(file)
    except DescriptionError as problem:
        raise entry.fail("file", str(problem)) from None
    note = entry.plain_text("note", _NOTE, "", lines=True)
    heard = entry.place("heard", entry.raw("heard")) if entry.has("heard") else ""
    return Sweep(_phase(entry), entry.date(), file, note, _positions_at(entry), _source(entry), heard)


def _choice(entry: Entry) -> Choice:
    note, found = (entry.plain_text(key, most, "", lines=True) for key, most in (("note", _NOTE), ("found", _FOUND)))
    return Choice(entry.date(), entry.plain_text("asked", _FOUND), entry.plain_text("chosen", _NOTE), note, found)


def _blind(entry: Entry) -> Blind:
    among = tuple(entry.element("among", each).plain_text("among", _NOTE) for each in entry.elements("among", 64))
    if len(among) < 2:
        raise entry.fail("among", f"{shown(list(among))}; two positions or more are compared")
    rounds = entry.whole_number("rounds", 1, 10_000, 0)
    return Blind(
        entry.date(),
        among,
        rounds,
        entry.whole_number("right", 0, rounds, 0),
        entry.plain_text("note", _NOTE, "", lines=True),
    )


def _session(entry: Entry) -> Session:
    steps = tuple(
        entry.element("steps", each).plain_text("steps", _NOTE) for each in entry.elements("steps", _MOST_ROWS)
    )
    minutes = entry.whole_number("minutes", 0, 100_000, 0)
    by, note = entry.plain_text("by", _NAME, ""), entry.plain_text("note", _NOTE, "", lines=True)
    return Session(entry.date(), steps, minutes, by, note)


def _change(entry: Entry) -> Change:
    before, after = (entry.bounded(key, entry.raw(key)) if entry.has(key) else None for key in ("before", "after"))
    return Change(entry.date(), entry.plain_text("entry", 200), before, after)


def _frozen(entry: Entry) -> Frozen:
    digest = entry.raw("sha256")
    if not isinstance(digest, str) or not _SHA256.fullmatch(digest):
        raise entry.fail("sha256", f"{shown(digest)} is not a sha256 of 64 hexadecimal digits")
    names = [entry.bare_file(key, entry.raw(key), ".toml") for key in ("file", "kept") if entry.has(key)]
    entry.raw("file")
    return Frozen(names[0], digest, entry.plain_text("ampsim", _NAME), entry.date(), *names[1:])
