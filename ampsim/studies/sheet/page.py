"""The sheet as one HTML file."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from markupsafe import Markup

from ...base.caution import CAUTION
from ...base.files import file_word, write_whole
from ...base.html import fitted_table, render, script_digests
from ...pictures.export import svg_element
from .overview import anchor, answer_html, grade_html, verdict_html
from .sheet import Sheet


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
    """The whole file, the first answer open and the topics folded; the same sheet gives the same text."""
    script = Markup((files(__package__) / "sheet.js").read_text("utf-8"))
    return render(
        __package__,
        "sheet.html",
        modded=sheet.examined.modded,
        style=sheet_style(),
        allowed=script_digests([script]),
        script=script,
        answer=answer_html(sheet.sections, linked=True),
        sections=sheet.sections,
        caution=CAUTION,
        anchor=anchor,
        grade=grade_html,
        verdict=verdict_html,
        picture=svg_element,
        table=fitted_table,
    )


def sheet_style() -> Markup:
    """The style sheet, which the shop's papers share."""
    return Markup((files(__package__) / "sheet.css").read_text("utf-8"))
