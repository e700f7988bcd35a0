"""The record for the shop: one HTML file, what the next person at this amp needs first, the rest in an appendix."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from ...base.files import file_word, write_whole
from ...pictures.canvas import Picture
from ...studies.findings import Finding, Grade
from ...studies.section import Section
from ...studies.sheet.overview import answer_html, grade_html
from ..record.blind import blind_words
from ..record.data import Record
from .handover import Handover
from .html import data_url, drawing_words, figure, job_title, paper_html
from .shop_tables import (
    charge_tables,
    compared_table,
    fitted_parts,
    frozen_table,
    rated_parts,
    readings_table,
    unread_places,
)

_MOST_FINDINGS, _MOST_FINE = 8, 3
_MOST_ROWS = 12


def shop_record(handover: Handover, path: str | Path | None = None, paper: str = "A4") -> Path:
    """Write the record as one HTML file.

    Parameters
    ----------
    handover : Handover
        Of `gather_handover`.
    path : str or Path
        Default: "record-", the job's name and ".html", in the working folder.
    paper : str
        "A4" or "Letter".

    Raises
    ------
    DescriptionError
        For another paper, or when the file cannot be written; an older one then stays as it was.
    """
    target = Path(path) if path is not None else Path(f"record-{file_word(handover.audition.name)}.html")
    return write_whole(target, shop_html(handover, paper))


def shop_html(handover: Handover, paper: str = "A4") -> str:
    """The whole file; the same job gives the same text."""
    audition, record, sheet = handover.audition, handover.record, handover.sheet
    status = f" State: {record.state}." if record and record.state else ""
    intro = (
        f"Everything that was changed on this amp, what it reads, and the way back.{status} Test sheet: "
        f"{handover.proof.verdict}."
    )
    first, later = _pictures(handover)
    return paper_html(
        "shop_record.html",
        paper,
        title=f"Shop record: {job_title(audition, record)}",
        above=audition.stock.name,
        intro=intro,
        record=record,
        wishes=_wishes(record),
        story=_story(record),
        choices=kept_choices(record),
        blind=[f"{each.date}: {blind_words(each)}. {each.note}" for each in record.blind] if record else [],
        readings=readings_table(handover.proof, handover.volts),
        unread=", ".join(unread_places(handover.proof)),
        proof=handover.proof,
        volts=handover.volts,
        changes=handover.changes,
        reasons=[f"{mod.name}: {mod.reason}" for mod in audition.modded.mods],
        parts=handover.parts,
        fitted=fitted_parts(handover.parts),
        rated=rated_parts(handover.parts),
        pictures=first,
        more_pictures=later,
        tables=handover.tables,
        drawings=handover.drawings,
        answer=answer_html(sheet.sections) if sheet else "",
        topics=[_topic(each) for each in sheet.sections] if sheet else None,
        photos_shown=handover.photos,
        undo=handover.plan.undo,
        cautions=handover.cautions,
        charges=charge_tables(handover.cautions),
        limit_sources="; ".join(each.rstrip(".") for each in handover.cautions.sources),
        compared=compared_table(record),
        frozen=frozen_table(record),
        versions=", ".join(f"{name} {version}" for name, version in handover.versions.items()),
        figure=figure,
        data_url=data_url,
        drawing_words=drawing_words,
        grade=grade_html,
    )


def _pictures(handover: Handover) -> tuple[list[Picture], list[Picture]]:
    """What the mod does and the last sweep that proves it; the others."""
    drawn = list(handover.pictures.values())
    proved = [handover.pictures[each.name] for each in handover.proof.sweeps if each.name in handover.pictures]
    first = [*drawn[:1], *(each for each in proved[-1:] if each is not drawn[0])]
    return first, [each for each in drawn if all(each is not shown for shown in first)]


def _wishes(record: Record | None) -> list[str]:
    return [f"{each.words}{f' ({each.note})' if each.note else ''}" for each in record.wishes] if record else []


def kept_choices(record: Record | None) -> list[tuple[str, list[str]]]:
    """What was chosen of what, and what was found of each candidate."""
    choices = record.choices if record else ()
    return [
        (f"{each.date}: {each.chosen}, of {each.asked}{f'. {each.note}' if each.note else ''}", each.found.splitlines())
        for each in choices
    ]


def _story(record: Record | None) -> list[str]:
    """What was seen on arrival, and every state the job had."""
    if record is None:
        return []
    seen = [f"{each.date}: {each.note}" for each in record.arrival]
    return seen + [f"{each.date}: {each.state}{f', {each.note}' if each.note else ''}" for each in record.states]


@dataclass(frozen=True)
class _Topic:
    """One topic of the sheet, shortened; `why` says why nothing was judged where there are no findings."""

    title: str
    grade: Grade
    findings: list[Finding]
    sources: str
    why: str
    tables: dict[str, pd.DataFrame]


def _topic(section: Section) -> _Topic:
    """What does not stand well first, and a little of what does; each way of working out and source once."""
    findings = section.in_order
    fine = [each for each in findings if each.grade == Grade.FINE]
    shown = [each for each in findings if each.grade != Grade.FINE][:_MOST_FINDINGS]
    shown += fine[: _MOST_FINE if shown else 2 * _MOST_FINE]
    hows = dict.fromkeys(f"{each.how}; {each.source}" for each in shown)
    more = len(findings) - len(shown)
    rest = [f"{more} more are in the consequence sheet."] if more > 0 else []
    sources = " ".join([*(f"{how}." for how in hows), *rest])
    # Such as the stability of an amp without feedback: nothing was judged, so nothing is fine.
    why = " ".join(section.notes) or "Nothing to judge in this amp."
    tables = dict(_shorten(title, table) for title, table in section.tables.items() if title in section.key_tables)
    return _Topic(section.title, section.grade, shown, sources, why, tables)


def _shorten(title: str, table: pd.DataFrame) -> tuple[str, pd.DataFrame]:
    """What stands nearest to a limit, or moves most; the whole table is in the consequence sheet."""
    for column in ("of limit [%]", "change [%]"):
        if column in table and len(table) > _MOST_ROWS:
            nearest = table[column].abs().sort_values(ascending=False, kind="stable").index[:_MOST_ROWS]
            return f"{title}: the first {_MOST_ROWS}", table.loc[nearest].reset_index(drop=True)
    return title, table
