"""All jobs of a shop, told: as a table of text, as one page, and in a notebook."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

import pandas as pd
from markupsafe import Markup

from ...base.files import write_whole
from ...base.html import fitted_table, render
from ...base.progress import Progress
from ...base.tables import text_table
from ...base.wording import join_words
from ...studies.sheet.page import sheet_style
from .index import Index
from .lines import JobLine, in_order
from .passages import Passage

# Passages of a job, and jobs that a search tells of; how many more there are is said.
_SHOWN, _MOST = 5, 40


@dataclass(frozen=True, eq=False)
class Overview:
    """Jobs as `shop` found them: in the order in which they are due, then those that are done.

    `found` holds the passages in which the words of a search stand, by the place of each job that is told; it is empty
    without a search. `whole` says that jobs that are done are told one by one too.
    """

    shop: str
    today: datetime.date
    lines: tuple[JobLine, ...]
    words: tuple[str, ...] = ()
    found: dict[str, list[Passage]] = field(default_factory=dict)
    whole: bool = False

    @property
    def _told(self) -> tuple[JobLine, ...]:
        return _told(self.lines, self.words, self.whole)

    @property
    def jobs(self) -> pd.DataFrame:
        """The jobs that are told, a row each."""
        head = (
            "folder",
            "owner",
            "amp",
            "serial number",
            "state",
            "since",
            "waits for",
            "promised",
            "value",
            "last touched",
        )
        shown = [each for each in self._told if not each.fault and (each.is_open or self.whole or self.words)]
        rows = [
            (
                e.place,
                e.owner,
                e.amp,
                e.serial,
                e.state,
                e.since,
                e.waits,
                e.due(self.today),
                f"{e.value} {e.currency}".strip(),
                e.touched,
            )
            for e in shown
        ]
        return pd.DataFrame(rows, columns=list(head))

    @property
    def faults(self) -> pd.DataFrame:
        """Folders that hold no job, or one that cannot be read, and why."""
        rows = [(each.place, each.fault) for each in self.lines if each.fault]
        return pd.DataFrame(rows, columns=["folder", "not on the list because"])

    @property
    def passages(self) -> pd.DataFrame:
        """Where the words of a search stand, the job touched last at the top."""
        rows = []
        for line in self._told:
            told = self.found.get(line.place, [])
            rows += [(line.place, each.kind, each.date, _cut(each.text)) for each in told[:_SHOWN]]
            if len(told) > _SHOWN:
                rows += [(line.place, "", "", f"and {len(told) - _SHOWN} more")]
        return pd.DataFrame(rows, columns=["folder", "what", "date", "words"])

    @property
    def summary(self) -> str:
        """How many jobs there are, and how many of them wait or are late."""
        sound = [each for each in self.lines if not each.fault]
        late = sum((each.days_left(self.today) or 0) < 0 for each in sound)
        if self.words:
            unread = len(self.lines) - len(sound)
            more = f"; {unread} folder{'s' * (unread != 1)} could not be searched" if unread else ""
            if len(sound) > len(self._told):
                more = f"; those touched last are told, all of them with --all{more}"
            return f"{_count(len(sound))} with {' and '.join(self.words)}{more}"
        waiting = sum(each.is_open for each in sound)
        worth = _worth([each for each in sound if each.is_open])
        said = f"{_count(len(sound))}: {waiting} waiting{worth}, {late} of them late, {len(sound) - waiting} done"
        return said if self.whole or waiting == len(sound) else f"{said} (not shown: --all)"

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables that hold something, by their titles."""
        known = {"Jobs": self.jobs, "Where it stands": self.passages}
        known |= {} if self.words else {"Not read": self.faults}
        return {title: _without_empty(table) for title, table in known.items() if not table.empty}

    def __str__(self) -> str:
        told = [f"{title}\n{text_table(table)}" for title, table in self.tables.items()]
        return "\n\n".join([self.summary, *told])

    def _repr_html_(self) -> str:
        return "".join([Markup("<p>{}</p>").format(self.summary), *map(fitted_table, self.tables.values())])

    def write(self, path: str | Path) -> Path:
        """Write the overview as one HTML file that fetches nothing.

        Raises
        ------
        DescriptionError
            When it cannot be written.
        """
        facts = {"summary": self.summary, "tables": self.tables, "table": fitted_table, "style": sheet_style()}
        return write_whole(Path(path), render(__package__, "overview.html", shop=self.shop, today=self.today, **facts))


def shop(
    folder: str | Path,
    words: Sequence[str] = (),
    *,
    whole: bool = False,
    today: datetime.date | None = None,
    progress: Progress | None = None,
    anew: bool = False,
) -> Overview:
    """Look at all jobs in a folder.

    Parameters
    ----------
    folder : str or Path
        The folder in which the job folders lie, also in folders of their own (years, owners).
    words : sequence of str
        Only jobs in which all of these stand somewhere: in words, parts, mods, faults, readings.
    whole : bool
        Tell jobs that are done as well.
    today : datetime.date
        The day from which days are counted; default today.
    progress : callable
        Told how many folders are read, of how many that changed.
    anew : bool
        Throw the index away and read every folder.

    Raises
    ------
    DescriptionError
        When there is no such folder, or it is a job itself.
    """
    day = today or datetime.date.today()
    with Index(folder, progress, anew=anew) as index:
        lines = index.lines()
        if not words:
            return Overview(str(folder), day, tuple(in_order(lines, day)), whole=whole)
        places = set(index.search(words))
        shown = [each for each in lines if each.place in places or each.fault]
        ordered = sorted(shown, key=lambda each: (not each.fault, each.touched, each.place), reverse=True)
        found = index.passages(words, (each.place for each in _told(ordered, words, whole)))
    return Overview(str(folder), day, tuple(ordered), tuple(words), found, whole)


def _told(lines: Sequence[JobLine], words: Sequence[str], whole: bool) -> tuple[JobLine, ...]:
    """The jobs that are told one by one: of a search for a common word the last ones."""
    return tuple(lines[:_MOST] if words and not whole else lines)


def _worth(lines: Sequence[JobLine]) -> str:
    """What jobs come to together, currency by currency; "" where none says."""
    sums: dict[str, Decimal] = {}
    for each in lines:
        if each.value:
            sums[each.currency] = sums.get(each.currency, Decimal(0)) + Decimal(each.value)
    told = join_words([f"{amount:f} {currency}" for currency, amount in sorted(sums.items())]) if sums else ""
    return f" (worth {told})" if told else ""


def _count(number: int) -> str:
    return f"{number} job{'' if number == 1 else 's'}"


def _cut(text: str, most: int = 160) -> str:
    return text if len(text) <= most else f"{text[: most - 4].rstrip()} ..."


def _without_empty(table: pd.DataFrame) -> pd.DataFrame:
    """A table without the columns in which nothing stands."""
    return table[[name for name in table.columns if any(str(cell) for cell in table[name])]]
