"""The record for the shop: one HTML file with all that the next person at this amp needs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from ...base.files import file_word, write_whole
from ...bench.proof.sheet import ProofSheet
from ...studies.findings import Finding, Grade
from ...studies.section import Section
from ...studies.sheet.overview import grade_html
from ...work.cautions.sheet import CautionSheet
from ...work.parts_list.parts_list import PartsList
from ..record.data import Record
from .handover import Handover
from .html import data_url, drawing_words, figure, paper_html

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
    audition, record = handover.audition, handover.record
    owner = f", for {record.owner}" if record and record.owner else ""
    status = f" State: {record.state}." if record and record.state else ""
    intro = (
        f"Everything that was changed on this amp, what it reads, and the way back.{status} Test sheet: "
        f"{handover.proof.verdict}."
    )
    return paper_html(
        "shop_record.html",
        paper,
        title=f"Shop record: {audition.name}{owner}",
        above=audition.stock.name,
        intro=intro,
        record=record,
        wishes=_wishes(record),
        story=_story(record),
        volts=handover.volts,
        changes=handover.changes,
        reasons=[f"{mod.name}: {mod.reason}" for mod in audition.modded.mods],
        pictures=list(handover.pictures.values()),
        parts=handover.parts,
        fitted=_fitted_parts(handover.parts),
        rated=_rated_parts(handover.parts),
        tables=handover.tables,
        drawings=handover.drawings,
        proof=handover.proof,
        readings=_readings(handover.proof),
        topics=[_topic(each) for each in handover.sheet.sections] if handover.sheet else None,
        undo=handover.plan.undo,
        cautions=handover.cautions,
        charges=_charges(handover.cautions),
        limit_sources="; ".join(each.rstrip(".") for each in handover.cautions.sources),
        frozen=_frozen(record),
        versions=", ".join(f"{name} {version}" for name, version in handover.versions.items()),
        figure=figure,
        data_url=data_url,
        drawing_words=drawing_words,
        grade=grade_html,
    )


def _wishes(record: Record | None) -> list[str]:
    return [f"{each.words}{f' ({each.note})' if each.note else ''}" for each in record.wishes] if record else []


def _story(record: Record | None) -> list[str]:
    """What was seen on arrival, and every state the job had."""
    if record is None:
        return []
    seen = [f"{each.date}: {each.note}" for each in record.arrival]
    return seen + [f"{each.date}: {each.state}{f', {each.note}' if each.note else ''}" for each in record.states]


def _fitted_parts(parts: PartsList) -> pd.DataFrame:
    names = ["part", "mod", "when", "place", "what", "kind of part", "tolerance [%]"]
    return parts.table if parts.table.empty else parts.table[names]


def _rated_parts(parts: PartsList) -> pd.DataFrame:
    """The parts of which it is known what they carry."""
    if parts.table.empty:
        return parts.table
    names = ["part", "what", "carries [W]", "rating [W]", "times [W]", "carries [V]", "rating [V]", "times [V]"]
    rated = parts.table[names]
    numbers = rated.iloc[:, 2:].notna().any(axis=1)
    renamed = rated[numbers].rename(columns={"times [W]": "margin, W (times)", "times [V]": "margin, V (times)"})
    return renamed.reset_index(drop=True)


def _readings(sheet: ProofSheet) -> pd.DataFrame:
    """The readings against their limits; where nothing was measured yet, with a blank to write into."""
    table = sheet.table
    if table["measured [V]"].isna().all():
        table = table[["place", "expected [V]", "lowest [V]", "highest [V]"]].assign(**{"measured [V]": ""})
    return table


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


def _charges(sheet: CautionSheet) -> dict[str, pd.DataFrame]:
    """What is stored, and how long it stays, by title."""
    table = sheet.table
    if table.empty:
        return {}
    falls = table[[name for name in table if name == "part" or "[s]" in str(name)]]
    never = falls.astype(object).map(lambda cell: "never" if cell == float("inf") else cell)
    return {
        "": table[["part", "value", "at rest [V]", "cold [V]", "at rest [J]", "cold [J]", "bleeder"]],
        "how long until it is below 60 V": pd.DataFrame(never),
    }


def _frozen(record: Record | None) -> pd.DataFrame | None:
    if record is None or not record.frozen:
        return None
    rows = [(each.file, each.sha256, each.ampsim, str(each.date)) for each in record.frozen]
    return pd.DataFrame(rows, columns=["file", "sha256", "ampsim", "frozen on"])
