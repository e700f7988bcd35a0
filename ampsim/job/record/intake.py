"""A job told as it was taken in: the owner's words, each wish and what answers it, the amp as drawn and as it came."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date as Date
from typing import TYPE_CHECKING, Any

from ...base.errors import DescriptionError
from ...base.quantities import OHM, format_value
from ...base.tables import text_of_rows
from ...base.wording import plain
from ...circuit.amp import Amp, Socket
from ...circuit.build import SPEAKER
from ...circuit.positions import position_label
from .billing import Bill
from .blind import blind_words
from .data import Measured, OwnersWish, Record
from .frozen import Opened
from .words import Phase

if TYPE_CHECKING:
    import pandas as pd


Rows = tuple[tuple[str, ...], list[tuple[str, ...]]]
"""A table's header and its rows."""


@dataclass(frozen=True, eq=False)
class Intake:
    """What `intake` tells, rows by title; `str` gives all of it as text. Any text may hold markup: escape it."""

    name: str
    owner: str
    state: str
    words: str
    amp: str
    rows: dict[str, Rows]
    cautions: str = ""
    serial: str = ""
    promised: Date | None = None

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables by title."""
        import pandas as pd

        return {title: pd.DataFrame(rows, columns=list(header)) for title, (header, rows) in self.rows.items()}

    def __str__(self) -> str:
        head = [f"{self.name}: {self.state}" if self.state else self.name]
        head += [f"Owner: {self.owner}"] if self.owner else []
        head += [f"Serial number: {self.serial}"] if self.serial else []
        head += [f"Promised for: {self.promised}"] if self.promised else []
        pieces = ["\n".join(head)]
        if self.words:
            pieces.append(
                "\n".join(["In the owner's words", *(f"  {line}".rstrip() for line in self.words.splitlines())])
            )
        pieces += [self.amp, *(f"{title}\n{text_of_rows(*rows)}" for title, rows in self.rows.items())]
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
        Its tables: wishes, states, notes and voltages on arrival (drawing [V], measured [V]), files of sweeps,
        photos, what was chosen, quoted, ordered and charged.

    Raises
    ------
    DescriptionError
        When a wish is tied to one that its file does not hold.
    """
    drawn = dict(opened.stock.drawn_volts) if opened else {}
    tables = {
        "Wishes": _table(("wish", "what answers it"), (_wish(each, opened) for each in record.wishes)),
        "States": _table(("since", "state", "note"), ((each.date, each.state, each.note) for each in record.states)),
        "Seen on arrival": _table(("date", "note"), ((each.date, each.note) for each in record.arrival)),
        **_rounds(record.rounds(Phase.ARRIVAL), drawn),
        "Sweeps": _table(
            ("date", "phase", "file", "from", "heard at", "note"),
            (
                (each.date, each.phase, each.file, each.source or "not written down", each.heard or SPEAKER, each.note)
                for each in record.sweeps
            ),
        ),
        "Photos": _table(
            ("no.", "file", "shows", "arrows", "also seen by", "note"),
            (
                (number, each.file, each.of, len(each.marks) or "none", ", ".join(each.shown_to), each.note)
                for number, each in enumerate(record.photos, 1)
            ),
        ),
        "Chosen": _table(
            ("date", "chosen", "of", "why"),
            ((each.date, each.chosen, each.asked, each.note) for each in record.choices),
        ),
        "Compared by ear alone": _table(
            ("date", "result", "note"), ((each.date, blind_words(each), each.note) for each in record.blind)
        ),
        "Quoted": _bills(record.quotes, "answer"),
        "Ordered": _table(
            ("date", "supplier", "parts", "amount", "came"),
            (
                (
                    each.date,
                    each.supplier,
                    ", ".join(each.parts),
                    f"{each.amount:f} {each.currency}",
                    each.arrived or "not yet",
                )
                for each in record.orders
            ),
        ),
        "Charged": _bills(record.invoices, "paid beforehand"),
        "Taken from the drawer": _table(
            ("date", "offer", "for", "price list"),
            ((each.date, each.offer, ", ".join(each.parts), each.file) for each in record.counted),
        ),
        "What was before": _table(("date", "entry", "before"), map(_before, record.history)),
    }
    amp = _amp(opened.stock) if opened else f"Amp: {record.amp}"
    mods = f"Mods: {', '.join(record.mods)}" if record.mods else "No mods yet"
    found = {title: (header, rows) for title, (header, rows) in tables.items() if rows}
    return Intake(
        record.name, record.owner, record.state, record.words, f"{amp}\n{mods}", found, cautions,
        record.serial, record.promised,
    )  # fmt: skip


def _table(columns: tuple[str, ...], rows: Iterable[tuple[Any, ...]]) -> Rows:
    return columns, [tuple(plain(str(cell)) for cell in row) for row in rows]


def _bills(bills: Iterable[Bill], last: str) -> Rows:
    """Quotes with their answer, or invoices with what was paid."""
    rows = []
    for each in bills:
        answer = f"{each.answer} {each.answered}" if each.answer else "none yet"
        told = answer if last == "answer" else f"{each.deposit:f} {each.currency}"
        rows.append((each.date, each.number, f"{each.total:f} {each.currency}", told))
    return _table(("date", "number", "total", last), rows)


def _before(change: Any) -> tuple[Any, ...]:
    before = change.before
    if isinstance(before, dict):
        before = ", ".join(f"{key} = {value}" for key, value in before.items())
    if isinstance(before, list):
        before = ", ".join(map(str, before))
    return change.date, change.entry, "(nothing)" if before in (None, "") else before


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


def _rounds(measured: list[Measured], drawn: dict[str, float]) -> dict[str, Rows]:
    titles = [_round_title(each) for each in measured]
    # Two rounds of one day may be told apart by nothing but their place in the list.
    named = [f"{title} ({n})" if titles.count(title) > 1 else title for n, title in enumerate(titles, 1)]
    return {title: _volts(each, drawn) for title, each in zip(named, measured, strict=True)}


def _round_title(measured: Measured) -> str:
    mains = f", mains {measured.mains:g} V" if measured.mains is not None else ""
    meter = f", meter {format_value(measured.meter, OHM)}" if measured.meter is not None else ""
    drawn = f", {measured.mains_drawn:g} V in the drawing" if measured.mains_drawn is not None else ""
    at = f", controls at {position_label(measured.position)}" if measured.at else ""
    plugged = f", plugged in: {measured.source}" if measured.source else ""
    return plain(f"Voltages {measured.phase}, {measured.date}{mains}{drawn}{meter}{plugged}{at}")


def _volts(measured: Measured, drawn: dict[str, float]) -> Rows:
    rows = [(place, f"{drawn[place]:g}" if place in drawn else "", f"{volts:g}") for place, volts in measured.volts]
    return _table(("place", "drawing [V]", "measured [V]"), rows)


def _amp(amp: Amp) -> str:
    valves = [f"{part.designator} {part.type}" for part in amp.parts if isinstance(part, Socket)]
    lines = [f"Amp as drawn: {amp.name} ({amp.file})", *([amp.about] if amp.about else [])]
    return "\n".join([*lines, f"Valves: {', '.join(valves)}", f"Controls: {', '.join(amp.controls)}"])
