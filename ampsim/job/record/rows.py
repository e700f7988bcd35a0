"""The rows of the lists in a job file: each entry taken by name, bounded and checked.

Every function takes one table of a list and raises a DescriptionError that names the entry and what would do.
"""

from __future__ import annotations

import re

from ...base.entries import Entry
from ...base.errors import DescriptionError, shown
from ...base.quantities import OHM, VOLT, Quantity
from ...base.wording import plain
from ...circuit.source import parse_source
from .data import (
    Blind,
    Change,
    Choice,
    Frozen,
    Mark,
    Measured,
    Note,
    OwnersWish,
    Photo,
    Session,
    State,
    Sweep,
)
from .paths import check_file_name
from .words import Audience, Phase, Status

_MAINS = Quantity("mains voltage", "V", ("V",), "", 50.0, 500.0)
_NOTE, _NAME, _SOURCE, _FOUND = 4000, 60, 300, 20_000  # signs
_MOST_KINDS = 60
_MOST_STEPS, _MOST_VOLTS, _MOST_CONTROLS = 500, 1000, 100
MOST_MARKS, MARK_TEXT = 30, 200
_SHA256 = re.compile(r"[0-9a-f]{64}")


def read_wish(entry: Entry) -> OwnersWish:
    """A wish of the owner.

    Raises
    ------
    DescriptionError
        For a mistake in it.
    """
    wish = entry.bare_file("wish", entry.raw("wish")) if entry.has("wish") else ""
    note = entry.plain_text("note", _NOTE, "", lines=True)
    number = entry.whole_number("entry", 0, 100, 0)
    if bool(number) != bool(wish):
        raise entry.fail("entry", "a wish of the finder is tied by both: wish = its file, entry = which of its wishes")
    return OwnersWish(entry.plain_text("words", _NOTE, lines=True), wish, number, note)


def read_state(entry: Entry) -> State:
    """A state with its date."""
    status = Status(entry.choice("state", list(Status)))
    return State(status, entry.date(), entry.plain_text("note", _NOTE, "", lines=True))


def read_note(entry: Entry) -> Note:
    """Something seen on arrival."""
    return Note(entry.date(), entry.plain_text("note", _NOTE, lines=True))


def read_measured(entry: Entry) -> Measured:
    """A round of voltages [V].

    Raises
    ------
    DescriptionError
        For a mistake in it.
    """
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


def read_sweep(entry: Entry) -> Sweep:
    """A measured sweep."""
    file = _file(entry)
    note = entry.plain_text("note", _NOTE, "", lines=True)
    heard = entry.place("heard", entry.raw("heard")) if entry.has("heard") else ""
    return Sweep(_phase(entry), entry.date(), file, note, _positions_at(entry), _source(entry), heard)


def read_choice(entry: Entry) -> Choice:
    """A choice among candidates."""
    note, found = (entry.plain_text(key, most, "", lines=True) for key, most in (("note", _NOTE), ("found", _FOUND)))
    return Choice(entry.date(), entry.plain_text("asked", _FOUND), entry.plain_text("chosen", _NOTE), note, found)


def read_blind(entry: Entry) -> Blind:
    """The result of a comparison by ear alone.

    Raises
    ------
    DescriptionError
        For a mistake in it.
    """
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


def read_session(entry: Entry) -> Session:
    """Steps that were done in one go."""
    steps = tuple(
        entry.element("steps", each).plain_text("steps", _NOTE) for each in entry.elements("steps", _MOST_STEPS)
    )
    minutes = entry.whole_number("minutes", 0, 100_000, 0)
    by, note = entry.plain_text("by", _NAME, ""), entry.plain_text("note", _NOTE, "", lines=True)
    kinds = entry.table("kinds")
    counts = tuple((plain(name), kinds.whole_number(name, 1, _MOST_STEPS, 1)) for name in kinds.names()[:_MOST_KINDS])
    return Session(entry.date(), steps, minutes, by, note, counts)


def read_photo(entry: Entry, strict: bool = True) -> Photo:
    """A photo; `strict` refuses what nobody here knows of its arrows."""
    note, of = entry.plain_text("note", _NOTE, "", lines=True), entry.plain_text("of", _NOTE)
    shown_to = tuple(
        Audience(entry.element("shown_to", each).choice("shown_to", list(Audience)))
        for each in entry.elements("shown_to", len(Audience))
    )
    return Photo(entry.date(), _file(entry), _sha256(entry), of, note, read_marks(entry, strict), shown_to)


def read_marks(entry: Entry, strict: bool = True) -> tuple[Mark, ...]:
    """The arrows on a photo, each once; whether the amp has what they point at is seen when they are placed."""
    entries = entry.tables("marks", MOST_MARKS)
    marks = tuple(dict.fromkeys(_read_mark(each) for each in entries))
    for each in entries if strict else ():
        each.finish()
    return marks


def _read_mark(entry: Entry) -> Mark:
    x, y = (entry.number(key, 0.0, 1.0) for key in ("x", "y"))
    return Mark(x, y, entry.plain_text("at", _NOTE), entry.plain_text("text", MARK_TEXT, ""))


def _file(entry: Entry) -> str:
    """The name of a file of the job."""
    try:
        return check_file_name(entry.raw("file"))
    except DescriptionError as problem:
        raise entry.fail("file", str(problem)) from None


def _sha256(entry: Entry) -> str:
    digest = entry.raw("sha256")
    if not isinstance(digest, str) or not _SHA256.fullmatch(digest):
        raise entry.fail("sha256", f"{shown(digest)} is not a sha256 of 64 hexadecimal digits")
    return digest


def read_change(entry: Entry) -> Change:
    """A line of the history."""
    before, after = (entry.bounded(key, entry.raw(key)) if entry.has(key) else None for key in ("before", "after"))
    return Change(entry.date(), entry.plain_text("entry", 200), before, after)


def read_frozen(entry: Entry) -> Frozen:
    """A frozen file."""
    digest = _sha256(entry)
    names = [entry.bare_file(key, entry.raw(key), ".toml") for key in ("file", "kept") if entry.has(key)]
    entry.raw("file")
    return Frozen(names[0], digest, entry.plain_text("ampsim", _NAME), entry.date(), *names[1:])
