"""The record for the shop: one HTML file with all that the next person at this amp needs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import pandas as pd

from ...base.files import file_word, write_whole
from ...studies.findings import Grade
from ...studies.section import Section
from ...studies.sheet.overview import grade_html
from ...work.parts_list.parts_list import PartsList
from ...work.steps.step import Step
from . import html as on_paper
from .handover import Handover

# Of the sheet's tables, those that the next person needs; by the start of their titles.
_MOST_FINDINGS, _MOST_FINE = 8, 3
_MOST_ROWS = 12


def shop_record(found: Handover, path: str | Path | None = None, paper: str = "A4") -> Path:
    """Write the record as one HTML file.

    Parameters
    ----------
    found : Handover
        Of `gather`.
    path : str or Path
        Default: "record-", the job's name and ".html", in the working folder.
    paper : str
        "A4" or "Letter".

    Raises
    ------
    DescriptionError
        For another paper, or when the file cannot be written; an older one then stays as it was.
    """
    target = Path(path) if path is not None else Path(f"record-{file_word(found.job.name)}.html")
    return write_whole(target, shop_html(found, paper))


def shop_html(found: Handover, paper: str = "A4") -> str:
    """The whole file; the same job gives the same text."""
    job, record = found.job, found.record
    owner = f", for {record.owner}" if record and record.owner else ""
    state = f" State: {record.state}." if record and record.state else ""
    intro = (
        f"Everything that was changed on this amp, what it reads, and the way back.{state} Test sheet: "
        f"{found.proof.verdict}."
    )
    return on_paper.page_html(
        f"Shop record: {job.name}{owner}", job.stock.name, intro, "\n".join(filter(None, _sections(found))), paper
    )


def _sections(found: Handover) -> Iterator[str]:
    record, job = found.record, found.job
    if record:
        wishes = [f"{each.words}{f' ({each.note})' if each.note else ''}" for each in record.wishes]
        yield on_paper.section(
            "What the owner asked for",
            f"<blockquote>{on_paper.lines(record.words)}</blockquote>" if record.words else "",
            on_paper.bullets(wishes),
        )
        told = [f"{each.date}: {each.note}" for each in record.arrival]
        told += [f"{each.date}: {each.state}{f', {each.note}' if each.note else ''}" for each in record.states]
        yield on_paper.section("How it came, and what was done when", on_paper.bullets(told))
    yield on_paper.section("Volts measured", *_volts(found))
    reasons = [f"{mod.name}: {mod.reason}" for mod in job.modded.mods]
    yield on_paper.section("What differs from the drawing", on_paper.table(found.changes), on_paper.bullets(reasons))
    yield on_paper.section("What it does", *(on_paper.figure(each) for each in found.pictures.values()))
    yield on_paper.section("Parts fitted: values, ratings, margins", *_parts(found.parts))
    yield from _tables(found)
    yield on_paper.section("Drawings", *(on_paper.drawing(text, title) for title, text in found.drawings.items()))
    yield on_paper.section("Test sheet", *_proof(found))
    if found.sheet:
        yield "<section>\n<h2>What the mod does besides tone</h2>"
        yield from (_topic(each) for each in found.sheet.sections)
        yield "</section>"
    yield on_paper.section("How to undo it", _steps(found.plan.undo))
    yield on_paper.section("Caution sheet", *_cautions(found))
    yield on_paper.section("Files and versions", *_files(found))


def _tables(found: Handover) -> Iterator[str]:
    """Tables under the word before their colon, such as all of the wiring."""
    grouped: dict[str, list[str]] = {}
    for title, table in found.tables.items():
        head, _, rest = title.partition(": ")
        grouped.setdefault(head, []).append(on_paper.table(table, rest))
    for head, tables in grouped.items():
        yield on_paper.section(head, *tables)


def _volts(found: Handover) -> Iterator[str]:
    for each in found.volts:
        drawn = on_paper.figure(each.picture) if each.picture else ""
        told = f"<h3>{on_paper.plain(each.title)}</h3>\n{on_paper.paragraph(each.words)}"
        yield f'<div class="round">\n{told}\n{drawn}\n</div>'


def _parts(parts: PartsList) -> Iterator[str]:
    table = parts.table
    if table.empty:
        yield on_paper.paragraph("No part is brought or changed.")
        return
    made = table[["part", "mod", "when", "place", "what", "kind of part", "tolerance [%]"]]
    yield on_paper.table(made, "what and where")
    rated = table[["part", "what", "carries [W]", "rating [W]", "times [W]", "carries [V]", "rating [V]", "times [V]"]]
    numbers = rated.iloc[:, 2:].notna().any(axis=1)
    renamed = rated[numbers].rename(columns={"times [W]": "margin, W (times)", "times [V]": "margin, V (times)"})
    yield on_paper.table(renamed.reset_index(drop=True), "what it carries and may carry")
    yield on_paper.paragraph(" ".join(parts.notes), quiet=True)


def _proof(found: Handover) -> Iterator[str]:
    sheet = found.proof
    yield f'<p class="verdict">{on_paper.plain(sheet.verdict)}</p>'
    yield on_paper.paragraph(f"{sheet.amp} with {sheet.variant}, controls: {sheet.position}. Volts against ground.")
    table = sheet.table
    if table["measured [V]"].isna().all():
        table = table[["place", "expected [V]", "lowest [V]", "highest [V]"]].assign(**{"measured [V]": ""})
    yield on_paper.table(table)
    yield from (on_paper.paragraph(f"{each.name}: {each.verdict}. {each.finding.words}.") for each in sheet.sweeps)
    yield on_paper.paragraph(" ".join(sheet.notes), quiet=True)


def _topic(section: Section) -> str:
    """What does not stand well first, and a little of what does; each way of working out and source once."""
    findings = section.in_order
    fine = [each for each in findings if each.grade == Grade.FINE]
    told = [each for each in findings if each.grade != Grade.FINE][:_MOST_FINDINGS]
    told += fine[: _MOST_FINE if told else 2 * _MOST_FINE]
    shown = "\n".join(
        f'<li>{grade_html(each.grade)} <span class="said">{on_paper.plain(each.sentence)}</span></li>' for each in told
    )
    hows = dict.fromkeys(f"{each.how}; {each.source}" for each in told)
    more = len(findings) - len(told)
    rest = [f"{more} more are in the consequence sheet."] if more > 0 else []
    quiet = on_paper.paragraph(" ".join([*(f"{how}." for how in hows), *rest]), quiet=True)
    tables = [_shortened(title, table) for title, table in section.tables.items() if title in section.key_tables]
    if not findings:  # such as the stability of an amp without feedback: nothing was judged, so nothing is Grade.FINE
        why = " ".join(section.notes) or "Nothing to judge in this amp."
        return "\n".join([f"<h3>{on_paper.plain(section.title)}</h3>", on_paper.paragraph(why), *tables])
    head = f"<h3>{on_paper.plain(section.title)} {grade_html(section.grade)}</h3>"
    return "\n".join([head, f'<ul class="findings">\n{shown}\n</ul>', quiet, *tables])


def _shortened(title: str, table: pd.DataFrame) -> str:
    """What stands nearest to a limit, or moves most; the whole table is in the consequence sheet."""
    for column in ("of limit [%]", "change [%]"):
        if column in table and len(table) > _MOST_ROWS:
            nearest = table[column].abs().sort_values(ascending=False, kind="stable").index[:_MOST_ROWS]
            return on_paper.table(table.loc[nearest].reset_index(drop=True), f"{title}: the first {_MOST_ROWS}")
    return on_paper.table(table, title)


def _steps(steps: Sequence[Step]) -> str:
    told = []
    for step in steps:
        checks = "".join(f"<li>{on_paper.plain(each.words)}</li>" for each in step.checks)
        inside = f'<ul class="checks">{checks}</ul>' if checks else ""
        told.append(f"<li>{on_paper.plain(step.do)}{inside}</li>")
    return f"<ol>{''.join(told)}</ol>" if told else ""


def _cautions(found: Handover) -> Iterator[str]:
    sheet = found.cautions
    table = sheet.table
    if not table.empty:
        yield on_paper.table(table[["part", "value", "at rest [V]", "cold [V]", "at rest [J]", "cold [J]", "bleeder"]])
        falls = table[[name for name in table if name == "part" or "[s]" in str(name)]]
        never = falls.astype(object).map(lambda cell: "never" if cell == float("inf") else cell)
        yield on_paper.table(pd.DataFrame(never), "how long until it is below 60 V")
    yield on_paper.bullets(sheet.sentences)
    yield "<h3>What this sheet does not know</h3>"
    yield on_paper.bullets(sheet.unknown)
    yield on_paper.paragraph(
        f"Limits and formulas: {'; '.join(each.rstrip('.') for each in sheet.sources)}.", quiet=True
    )


def _files(found: Handover) -> Iterator[str]:
    record = found.record
    if record and record.frozen:
        rows = [(each.file, each.sha256, each.ampsim, str(each.date)) for each in record.frozen]
        listed = on_paper.table(pd.DataFrame(rows, columns=["file", "sha256", "ampsim", "frozen on"]))
        yield f'<div class="files">{listed}</div>'
    else:
        yield on_paper.paragraph("This job has no folder with frozen files; what it was made from is not kept with it.")
    versions = ", ".join(f"{name} {version}" for name, version in found.versions.items())
    yield on_paper.paragraph(f"Computed with {versions}.")
