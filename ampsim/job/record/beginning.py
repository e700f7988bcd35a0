"""Beginning a job: its folder, the frozen files and the first record."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from ...base.errors import DescriptionError
from ...base.files import check_name
from ...base.wording import plain
from ...library.loader import FILE
from .changing import enter_status
from .data import Record
from .frozen import freeze_files, open_job
from .paths import path_inside
from .saving import save_record
from .words import Status

MEASUREMENTS, PICTURES = "measurements", "pictures"


def begin_job(
    folder: str | Path,
    amp: str | Path,
    mods: Sequence[str | Path] = (),
    *,
    name: str = "",
    owner: str = "",
    words: str = "",
    serial: str = "",
    promised: datetime.date | None = None,
    date: datetime.date | None = None,
) -> Record:
    """Begin a job: make its folder, freeze the amp, the mods and their valves into it, and save its record.

    Parameters
    ----------
    folder : str or Path
        Made when it is missing; it must not hold a job.
    amp : str or Path
        An amp file, or the name of one that comes with ampsim.
    mods : sequence of str or Path
        The same for mods; more can be taken in later.
    name, owner, words, serial : str
        What the job and the owner are called, what the owner asks for, the amp's serial number. Default name: the
        amp's.
    promised : datetime.date
        The day the amp was promised for.
    date : datetime.date
        The day it was taken in; default today.

    Returns
    -------
    Record
        As saved.

    Raises
    ------
    DescriptionError
        For a folder that holds a job, files with mistakes, names that would leave the folder, no room on the disk.
    """
    home = Path(folder)
    check_name(home if "\0" in str(home) else home.resolve(), "a job's folder")
    if (home / FILE).exists():
        raise DescriptionError(f"{home}: there is a job in this folder already")
    day = date or datetime.date.today()
    record = Record(plain(name), "", owner=plain(owner), words=plain(words, lines=True))
    record = replace(record, serial=plain(serial), promised=promised)
    record = freeze_files(record, home, amp=amp, mods=mods, date=day)
    # A folder is named for a shelf, not for a heading that the owner reads.
    record = record if record.name else replace(record, name=plain(open_job(record, home).stock.name) or "job")
    for each in (MEASUREMENTS, PICTURES):
        _make_folder(path_inside(home, each))
    return save_record(enter_status(record, Status.TAKEN_IN, day), home)


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise DescriptionError(f"{folder}: cannot be made: {problem.strerror}") from None
