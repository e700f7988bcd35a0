"""What can be searched for in a job: a passage for each thing that was said, done or measured, with its day."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from ...base.wording import one_line
from ...circuit.positions import position_label
from ..record.data import Measured, Record

_LONGEST, _MOST = 2000, 4000
# 4k7 and 2u2 as 4.7k and 2.2u; "22 uF", "22 µ" and "22u" as one; 0,22 as 0.22.
_COMMA = re.compile(r"(?<=\d),(?=\d)")
_INSIDE = re.compile(r"\b(\d+)([pnumkMGR])(\d+)(?=[FHΩ]?(?![A-Za-z0-9Ω]))")
_UNIT = re.compile(r"\b(\d+(?:\.\d+)?) ?([pnumkMG]?)(?:F|H|ohms?|Ohms?|Ω)?(?![A-Za-z0-9Ω])")
_MU = str.maketrans({"µ": "u", "μ": "u"})


@dataclass(frozen=True)
class Passage:
    """A passage of a job: what kind of thing it is, its day ("" where none is known), its words."""

    kind: str
    date: str
    text: str


def passages(record: Record, frozen: Mapping[str, Mapping[str, Any]]) -> list[Passage]:
    """Everything of a job that can be searched for, of at most a few thousand pieces.

    Parameters
    ----------
    record : Record
    frozen : mapping
        The tables of its frozen files, by the name of the file; those that could not be read are not in it.
    """
    found = (*_said(record), *_done(record, frozen), *_measured(record), *_charged(record), *_before(record))
    whole = [Passage(each.kind, each.date, one_line(each.text)[:_LONGEST]) for each in found if each.text.strip()]
    return whole[:_MOST]


def fold(text: str) -> str:
    """A text as it is compared: values written one way, whichever way they were written (4k7, 4.7 k, 4,7k)."""
    plain = _COMMA.sub(".", text.translate(_MU))
    plain = _INSIDE.sub(lambda found: f"{found[1]}.{found[3]}{'' if found[2] == 'R' else found[2]}", plain)
    return _UNIT.sub(lambda found: f"{_trimmed(found[1])}{found[2]}", plain)


def _trimmed(number: str) -> str:
    return number.rstrip("0").rstrip(".") if "." in number else number


def _said(record: Record) -> Iterator[Passage]:
    yield Passage("job", "", f"{record.name} {record.owner} {record.serial}")
    yield Passage("asked for", "", record.words)
    for wish in record.wishes:
        yield Passage("wish", "", f"{wish.words} ({wish.note})" if wish.note else wish.words)
    for note in record.arrival:
        yield Passage("seen on arrival", str(note.date), note.note)
    for state in record.states:
        yield Passage("state", str(state.date), f"{state.state}: {state.note}" if state.note else str(state.state))
    for session in record.sessions:
        words = f"{len(session.steps)} steps {session.by} {session.note} {'; '.join(session.steps)}"
        yield Passage("done", str(session.date), words)
    for photo in record.photos:
        arrows = "; ".join(f"{mark.at} {mark.text}".strip() for mark in photo.marks)
        yield Passage("photo", str(photo.date), " ".join(filter(None, (photo.of, photo.note, arrows))))
    for each in record.choices:
        yield Passage("chosen", str(each.date), f"{each.chosen} of {each.asked}: {each.note}")


def _charged(record: Record) -> Iterator[Passage]:
    for kind, bills in (("quote", record.quotes), ("invoice", record.invoices)):
        for bill in bills:
            lines = "; ".join(line.what for line in bill.lines)
            yield Passage(kind, str(bill.date), f"{bill.number} {bill.total:f} {bill.currency} {bill.answer}: {lines}")
    for order in record.orders:
        state = f"came {order.arrived}" if order.arrived else "on the way"
        words = f"{order.supplier} {order.amount:f} {order.currency} {state}: {', '.join(order.parts)}"
        yield Passage("ordered", str(order.date), words)


def _done(record: Record, frozen: Mapping[str, Mapping[str, Any]]) -> Iterator[Passage]:
    amp = frozen.get(f"{record.amp}.toml", {})
    yield Passage("amp", "", f"{_text(amp.get('name'))} {record.amp} {' '.join(_types(amp))}")
    for name in record.mods:
        mod = frozen.get(f"{name}.toml", {})
        yield Passage("mod", "", f"{_text(mod.get('name')) or name}: {_text(mod.get('reason'))}")
        yield from (Passage("part", "", f"{text} ({_text(mod.get('name')) or name})") for text in _fitted(mod))


def _types(amp: Mapping[str, Any]) -> list[str]:
    """The values and types of sockets: 12AX7 and the like."""
    parts = amp.get("parts")
    known = parts.items() if isinstance(parts, Mapping) else ()
    return sorted({_text(value) for name, value in known if str(name).startswith("V") and _text(value)})


def _fitted(mod: Mapping[str, Any]) -> Iterator[str]:
    """Each part of a mod with its value and where it goes, from the tables as they stand."""
    parts = mod.get("parts")
    values = {str(name): _value(value) for name, value in parts.items()} if isinstance(parts, Mapping) else {}
    told = set()
    for position, edit in _edits(mod):
        part = next((_text(edit.get(key)) for key in ("fit", "replace", "bridge") if _text(edit.get(key))), "")
        if part:
            told.add(part)
            value = _value(edit.get("with")) or values.get(part, "")
            where = " ".join(_where(edit))
            yield " ".join(filter(None, (part, value, where, f"at {position}" if position else "")))
    yield from (f"{part} {value}" for part, value in values.items() if part not in told)


def _edits(mod: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    for edit in _tables(mod.get("edits")):
        yield "", edit
    for switch in _tables(mod.get("switches")):
        positions = switch.get("positions")
        for position, doings in positions.items() if isinstance(positions, Mapping) else ():
            yield from ((str(position), edit) for edit in _tables(doings))


def _tables(value: object) -> Iterable[Mapping[str, Any]]:
    return [each for each in value if isinstance(each, Mapping)] if isinstance(value, list) else ()


def _where(edit: Mapping[str, Any]) -> Iterator[str]:
    for key in ("across", "between", "in_series_at"):
        value = edit.get(key)
        if value:
            places = " and ".join(map(_text, value)) if isinstance(value, list) else _text(value)
            yield f"{key.replace('_', ' ')} {places}"


def _value(value: object) -> str:
    if isinstance(value, Mapping):
        return " ".join(f"{_value(each)}" for key, each in value.items() if key in ("track", "value", "type", "taper"))
    return _text(value) if isinstance(value, (str, int, float)) else ""


def _text(value: object) -> str:
    return str(value) if isinstance(value, (str, int, float)) and not isinstance(value, bool) else ""


def _measured(record: Record) -> Iterator[Passage]:
    for each in record.measured:
        yield Passage("measured", str(each.date), _round(each))
    for sweep in record.sweeps:
        words = f"sweep {sweep.phase}: {sweep.file} {sweep.note} {position_label(dict(sweep.at)) if sweep.at else ''}"
        yield Passage("measured", str(sweep.date), words)


def _round(measured: Measured) -> str:
    volts = ", ".join(f"{place} {value:g} V" for place, value in measured.volts)
    at = f" ({position_label(measured.position)})" if measured.at else ""
    return f"{measured.phase}{at}: {volts}"


def _before(record: Record) -> Iterator[Passage]:
    for each in record.history:
        yield Passage("before", str(each.date), f"{each.entry} was {each.before}")
