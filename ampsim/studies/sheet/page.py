"""The sheet as one HTML file; everything that comes from a file is escaped here."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from importlib.resources import files
from pathlib import Path
from string import Template

from ...base.caution import CAUTION
from ...base.files import file_word, write_whole
from ...base.html import html_table
from ...pictures.canvas import Picture, svg_element
from ..findings import Finding
from ..section import Section
from .sheet import Sheet
from .summary import _anchor, _mark_of, in_order, mark, overview, said


def write_sheet(sheet: Sheet, path: str | Path | None = None) -> Path:
    """Write the sheet as one HTML file, pictures included, every finding linked to the picture that shows it.

    Parameters
    ----------
    sheet : Sheet
    path : str or Path
        Default: "consequences-", the names of the mods and ".html", in the working folder.

    Raises
    ------
    DescriptionError
        When the file cannot be written; an older one then stays as it was.
    """
    modded = sheet.examined.modded
    target = Path(path) if path is not None else Path(f"consequences-{file_word(modded.variant)}.html")
    return write_whole(target, sheet_html(sheet))


def sheet_html(sheet: Sheet) -> str:
    """The whole file; the same sheet gives the same text."""
    modded = sheet.examined.modded
    title = f"{modded.name} with {modded.variant}: what the mod does besides tone"
    return Template((files(__package__) / "sheet.html").read_text("utf-8")).substitute(
        title=escape(title),
        style=(files(__package__) / "sheet.css").read_text("utf-8"),
        amp=escape(modded.name),
        variant=escape(modded.variant),
        overview=overview(sheet.sections, linked=True),
        reasons="\n".join(f"<dt>{escape(mod.name)}</dt><dd>{escape(mod.reason)}</dd>" for mod in modded.mods),
        sections="\n".join(_section(section) for section in sheet.sections),
        caution=escape(CAUTION),
    )


def _section(section: Section) -> str:
    found = "\n".join(_finding(section, finding) for finding in in_order(section.findings))
    tables = "\n".join(
        f'<details><summary>{escape(title)}</summary>\n<div class="scroll">{html_table(table)}</div></details>'
        for title, table in section.tables.items()
        if not table.empty
    )
    pictures = "\n".join(_figure(section, name, picture) for name, picture in section.pictures.items())
    return (
        f'<section id="{_anchor(section.title)}">\n<h2>{escape(section.title)} {_mark_of(section)}</h2>\n'
        f'<ul class="findings">\n{found}\n</ul>\n{pictures}\n{tables}\n{_notes(section.notes)}\n</section>'
    )


def _finding(section: Section, finding: Finding) -> str:
    linked = finding.picture in section.pictures
    see = f' <a href="#{_anchor(section.title, finding.picture)}">picture</a>' if linked else ""
    facts = escape(f"{finding.how}; {finding.source}")
    return (
        f'<li>{mark(finding.grade)} <span class="said">{escape(said(finding))}{see}</span>'
        f'<small class="how">{facts}</small></li>'
    )


def _figure(section: Section, name: str, picture: Picture) -> str:
    return f'<figure id="{_anchor(section.title, name)}">{svg_element(picture)}</figure>'


def _notes(notes: Sequence[str]) -> str:
    return f'<p class="quiet">{escape(" ".join(notes))}</p>' if notes else ""
