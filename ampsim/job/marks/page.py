"""The page on which arrows are placed: one file, nothing fetched; it saves a small file that the job takes in."""

from __future__ import annotations

import base64
from importlib.resources import files
from pathlib import Path
from typing import Any

from markupsafe import Markup

from ...audio.player.embed import json_text
from ...base.files import write_whole
from ...base.html import render, script_digests
from ...studies.sheet.page import sheet_style
from ..record.data import Record
from ..record.photos import small_photo
from ..record.rows import MARK_TEXT, MOST_MARKS
from ..record.tables import mark_table
from .keeping import Subjects


def marks_script() -> str:
    """The script that page and notebook share: `markPhoto(root, start, changed)`."""
    return _read("marks.js")


def marks_style() -> str:
    """The style of what that script makes."""
    return _read("marks.css")


def marks_facts(record: Record, number: int, folder: str | Path, subjects: Subjects) -> dict[str, Any]:
    """What the script begins with: the photo small and without what the camera wrote, its arrows, names to point at.

    Parameters
    ----------
    record : Record
    number : int
        Which photo, from 1.
    folder : str or Path
        The job folder.
    subjects : Subjects
        Of `mark_subjects`.

    Raises
    ------
    DescriptionError
        When the photo is not there any more, or not as it was kept.
    """
    photo = record.photos[number - 1]
    small = small_photo(photo, folder)
    return {
        "source": f"data:image/jpeg;base64,{base64.b64encode(small.jpeg).decode()}",
        "wide": small.size[0],
        "high": small.size[1],
        "marks": [mark_table(each) for each in photo.marks],
        "names": list(subjects.names),
        "steps": list(subjects.steps),
        "most": MOST_MARKS,
        "longest": MARK_TEXT,
    }


def write_marks_page(record: Record, number: int, folder: str | Path, subjects: Subjects, path: str | Path) -> Path:
    """Write the page for one photo.

    Parameters
    ----------
    record, number, folder, subjects
        As those of `marks_facts`.
    path : str or Path
        The HTML file.

    Raises
    ------
    DescriptionError
        When the photo is not as it was kept, or the file cannot be written.
    """
    photo = record.photos[number - 1]
    file = f"marks-{photo.sha256[:8]}.json"
    script = f"{marks_script()}\n{_read('page.js')}"
    facts = marks_facts(record, number, folder, subjects) | {"sha256": photo.sha256, "file": file}
    text = render(
        __package__,
        "page.html",
        title=f"Arrows on photo {number}: {photo.of}",
        about=f"{record.name}, {photo.date}",
        style=sheet_style() + Markup(marks_style()),
        line=f"ampsim job mark FOLDER {number} --take {file}",
        facts=Markup(json_text(facts)),
        script=Markup(script),
        allowed=script_digests([script]),
    )
    return write_whole(Path(path), text)


def _read(name: str) -> str:
    return (files(__package__) / name).read_text("utf-8")
