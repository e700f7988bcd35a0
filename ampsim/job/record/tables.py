"""A record as the tables of its file."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from ...base.quantities import OHM, format_value, parse_value
from .billing import bill_table, row_table
from .data import FORMAT, Blind, Mark, Measured, Photo, Record, Session

Tables = dict[str, Any]


def as_tables(record: Record) -> Tables:
    """A record as the tables of its file, in the order they are written; what is empty is left out."""
    head = {"owner": record.owner, "serial": record.serial, "promised": record.promised}
    head |= {"words": record.words, "amp": record.amp}
    tail = {
        "mounting": dict(record.mounting),
        "wishes": [_nonempty_fields(each) for each in record.wishes],
        "states": [_nonempty_fields(each) for each in record.states],
        "arrival": [_nonempty_fields(each) for each in record.arrival],
        "measured": [_measured_table(each) for each in record.measured],
        "sweeps": [_nonempty_fields(each) | _nonempty({"at": dict(each.at)}) for each in record.sweeps],
        "choices": [_nonempty_fields(each) for each in record.choices],
        "blind": [_blind_table(each) for each in record.blind],
        "sessions": [_session_table(each) for each in record.sessions],
        "photos": [_photo_table(each) for each in record.photos],
        "quotes": [bill_table(each) for each in record.quotes],
        "orders": [row_table(each) for each in record.orders],
        "invoices": [bill_table(each) for each in record.invoices],
        "counted": [row_table(each) for each in record.counted],
        "positions": [dict(each) for each in record.positions],
        "history": [_without_none(vars(each)) for each in record.history],
        "frozen": [_nonempty_fields(each) for each in record.frozen],
    }
    tables: Tables = {"format": FORMAT, "name": record.name, **_nonempty(head), "mods": list(record.mods)}
    return tables | _nonempty({"drawer": record.drawer}) | dict(record.audition) | _nonempty(tail)


def _nonempty(tables: Tables) -> Tables:
    return {key: value for key, value in tables.items() if value}


def _without_none(tables: Tables) -> Tables:
    return {key: value for key, value in tables.items() if value is not None}


def _nonempty_fields(each: object) -> Tables:
    return {key: str(value) if isinstance(value, StrEnum) else value for key, value in vars(each).items() if value}


def _measured_table(each: Measured) -> Tables:
    mains = {"mains_volts": each.mains, "mains_drawn_volts": each.mains_drawn}
    table = {"phase": str(each.phase), "date": each.date, **mains, "meter_ohms": _ohms(each.meter)}
    return _without_none(table) | _nonempty({"source": each.source, "at": each.position}) | {"volts": dict(each.volts)}


def _blind_table(each: Blind) -> Tables:
    table = {"date": each.date, "among": list(each.among), "rounds": each.rounds, "right": each.right}
    return table | _nonempty({"note": each.note})


def _session_table(each: Session) -> Tables:
    return _nonempty_fields(each) | {"steps": list(each.steps)} | _nonempty({"kinds": dict(each.kinds)})


def _photo_table(each: Photo) -> Tables:
    table = _nonempty_fields(each)
    lists = {"marks": [mark_table(mark) for mark in each.marks], "shown_to": [str(who) for who in each.shown_to]}
    return table | _nonempty(lists)


def mark_table(mark: Mark) -> Tables:
    """An arrow on a photo as a table."""
    return {"x": mark.x, "y": mark.y, "at": mark.at} | _nonempty({"text": mark.text})


def _ohms(value: float | None) -> float | str | None:
    """As a schematic writes it, where that says all of it."""
    text = format_value(value, OHM) if value is not None else ""
    return text if text and parse_value(text, OHM) == value else value
