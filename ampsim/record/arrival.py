"""A job told as it was taken in: the owner's words, each wish and what answers it, the amp as drawn and as it came."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ..amp import Amp, Socket
from ..errors import DescriptionError
from ..quantities import OHM, format_value
from .data import Measured, OwnersWish, Record, plain
from .frozen import Opened

_WIDEST = 60  # characters of a column


@dataclass(frozen=True)
class Sheet:
    """One table: what it tells, its columns with units, its rows as texts."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def __str__(self) -> str:
        lines = [self.columns, *self.rows]
        widths = [min(_WIDEST, max(len(line[column]) for line in lines)) for column in range(len(self.columns))]
        told = ["  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)) for line in lines]
        return "\n".join([self.title, *(f"  {line.rstrip()}" for line in told)])


@dataclass(frozen=True)
class Intake:
    """What `intake` tells; `str` gives all of it as text. Every text may hold anything that prints: escape it."""

    name: str
    owner: str
    state: str
    words: str
    amp: str
    tables: tuple[Sheet, ...]
    cautions: str = ""

    def __str__(self) -> str:
        head = [f"{self.name}: {self.state}" if self.state else self.name]
        head += [f"Owner: {self.owner}"] if self.owner else []
        pieces = ["\n".join(head)]
        if self.words:
            pieces.append(
                "\n".join(["In the owner's words", *(f"  {line}".rstrip() for line in self.words.splitlines())])
            )
        pieces += [self.amp, *map(str, self.tables)]
        return "\n\n".join([*pieces, *([self.cautions] if self.cautions else [])])


def intake(record: Record, opened: Opened | None = None, cautions: str = "") -> Intake:
    """Tell a job as it was taken in.

    Parameters
    ----------
    record : Record
    opened : Opened
        What `open_job` gives; without it amp and wishes go by their names alone.
    cautions : str
        The caution sheet of this amp, which stands at the end.

    Returns
    -------
    Intake
        Its tables: wishes, states, notes and voltages on arrival (drawing [V], measured [V]), files of sweeps.

    Raises
    ------
    DescriptionError
        When a wish is tied to one that its file does not hold.
    """
    drawn = dict(opened.stock.drawn_volts) if opened else {}
    tables = [
        Sheet("Wishes", ("wish", "what answers it"), tuple(_wish(each, opened) for each in record.wishes)),
        Sheet(
            "States", ("since", "state", "note"), _rows((each.date, each.state, each.note) for each in record.states)
        ),
        Sheet("Seen on arrival", ("date", "note"), _rows((each.date, each.note) for each in record.arrival)),
        *(_volts(each, drawn) for each in record.measured if each.phase == "on arrival"),
        Sheet("Sweeps", ("date", "phase", "file", "note"), _rows(_values(each) for each in record.sweeps)),
        Sheet("What was before", ("date", "entry", "before"), _rows(_before(each) for each in record.history)),
    ]
    amp = _amp(opened.stock) if opened else f"Amp: {record.amp}"
    mods = f"Mods: {', '.join(record.mods)}" if record.mods else "No mods yet"
    found = tuple(table for table in tables if table.rows)
    return Intake(record.name, record.owner, record.state, record.words, f"{amp}\n{mods}", found, cautions)


def _rows(rows: Any) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(plain(str(cell)) for cell in row) for row in rows)


def _values(sweep: Any) -> tuple[Any, ...]:
    return sweep.date, sweep.phase, sweep.file, sweep.note


def _before(change: Any) -> tuple[Any, ...]:
    before = change.before
    if isinstance(before, dict):
        before = ", ".join(f"{key} = {value}" for key, value in before.items())
    return change.date, change.entry, "(nothing)" if before is None else before


def _wish(wish: OwnersWish, opened: Opened | None) -> tuple[str, str]:
    answers = [plain(wish.note)] if wish.note else []
    if wish.wish and opened:
        known = opened.wishes[wish.wish].wishes
        if wish.entry > len(known):
            raise DescriptionError(f"{wish.wish} holds {len(known)} wishes, not {wish.entry}")
        answers.insert(0, known[wish.entry - 1].label)
    elif wish.wish:
        answers.insert(0, f"wish {wish.entry} of {wish.wish}")
    return plain(wish.words), "; ".join(answers) or "nothing yet"


def _volts(measured: Measured, drawn: dict[str, float]) -> Sheet:
    mains = f", mains {measured.mains:g} V" if measured.mains is not None else ""
    meter = f", meter {format_value(measured.meter, OHM)}" if measured.meter is not None else ""
    rows = [(place, f"{drawn[place]:g}" if place in drawn else "", f"{volts:g}") for place, volts in measured.volts]
    title = f"Voltages {measured.phase}, {measured.date}{mains}{meter}"
    return Sheet(title, ("place", "drawing [V]", "measured [V]"), tuple(rows))


def _amp(amp: Amp) -> str:
    valves = [f"{part.designator} {part.type}" for part in amp.parts if isinstance(part, Socket)]
    lines = [f"Amp as drawn: {amp.name} ({amp.file})", *([amp.about] if amp.about else [])]
    return "\n".join([*lines, f"Valves: {', '.join(valves)}", f"Controls: {', '.join(amp.controls)}"])
