"""Saving a record: whole or not at all, one program at a time, and never over what somebody else saved."""

from __future__ import annotations

import contextlib
import datetime
import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from ...base.errors import DescriptionError
from ...base.files import lock_folder, read_bounded, write_whole
from ...base.line_ends import decode_lines, with_ends
from .changing import with_history
from .data import FORMAT, Record
from .frozen import freeze_named
from .merging import fresh_text, merge_text
from .paths import path_inside
from .reading import check_record, job_file, parse_record
from .tables import as_tables

_MOST_BESIDE = 1000
_MOST_NAME = 40


def save_record(record: Record, folder: str | Path, date: datetime.date | None = None) -> Record:
    """Save a record into its job folder.

    What did not change stays as a person wrote it, comments, order and line ends included. A value that changed and
    that the history does not account for gets a line there. A job of format 1 becomes one of the present format: its
    files are frozen, and the file as it was is kept beside.

    Parameters
    ----------
    record : Record
        As `read`, `begin` or a save before gave it, and changed since.
    folder : str or Path
        The job folder, or the job file in it.
    date : datetime.date
        Of lines of history; default today.

    Returns
    -------
    Record
        What the file says now; save changes of this one next.

    Raises
    ------
    DescriptionError
        When another program saved meanwhile (this version then is kept beside, its name is in the message); when the
        file has a newer format, the record is not one that can be read back, or nothing can be written. The job file
        then is as it was.
    """
    path = job_file(folder)
    _refuse_newer(record)
    record = check_record(record)
    with lock_folder(path.parent) as alone:
        if alone:
            _sweep(path)
        before = _present(path)
        if _digest(before) != record.seen:
            raise _taken_over(record, path)
        return _write(record, path, before, date or datetime.date.today())


def update_record(folder: str | Path, change: Callable[[Record], Record]) -> Record:
    """Change the record as it is saved now, whoever saved it; nobody else saves meanwhile.

    Raises
    ------
    DescriptionError
        When there is no record, it has a mistake or a newer format, or cannot be written; it then is as it was.
    """
    path = job_file(folder)
    with lock_folder(path.parent):
        before = read_bounded(path)
        return _write(change(parse_record(before, path.name)), path, before, datetime.date.today())


def keep_positions(
    folder: str | Path, positions: Sequence[Mapping[str, Any]], known: Sequence[Mapping[str, Any]], own: str
) -> Record:
    """Put the panel's positions into the job file; everything else in it stays, whoever wrote it meanwhile.

    Parameters
    ----------
    folder : str or Path
        The job's folder, or the job file in it.
    positions : sequence of tables
        As the job file holds them: name, at, values.
    known : sequence of tables
        Those that the panel read or wrote there last. Others found in the file are kept, under another name if theirs
        is taken.
    own : str
        The name of the panel's own position, which is wherever its knobs stand.

    Raises
    ------
    DescriptionError
        When there is no record, it has a mistake or a newer format, or cannot be written; it then is as it was.
    """

    def merged(record: Record) -> Record:
        ours = [dict(each) for each in positions]
        taken = {each["name"] for each in ours} | {own}
        for each in record.positions:
            if each.get("name") != own and each not in known and each not in ours:
                ours.append({**each, "name": _another(str(each.get("name")), taken)})
        return replace(record, positions=tuple(ours))

    return update_record(folder, merged)


def _another(name: str, taken: set[str]) -> str:
    number, found = 1, name
    while found in taken:
        number += 1
        found = f"{name[:_MOST_NAME]} ({number})"
    taken.add(found)
    return found


def _write(record: Record, path: Path, before: bytes, date: datetime.date) -> Record:
    """Write what was checked to read back the same; the caller holds the lock."""
    old = parse_record(before, path.name) if before else None
    if old is not None:
        _refuse_newer(old)
        record = with_history(old, record, date)
    if not record.frozen:
        record = freeze_named(record, path.parent)
    record = replace(check_record(record), format=FORMAT)
    text = _text(record, old, before, path)
    if old is not None and old.format < FORMAT:
        _beside(path, before, f"format {old.format}")
    if text.encode() != before:
        write_whole(path, text)
    return parse_record(text.encode(), path.name)


def _text(record: Record, old: Record | None, before: bytes, path: Path) -> str:
    tables, end = as_tables(record), "\n"
    if old is not None:
        edited, end = decode_lines(before)
        # Whatever the library stumbles over: what it made is only used if it reads back the same.
        with contextlib.suppress(Exception):
            text = with_ends(merge_text(edited, _with_format(old), tables), end)
            if parse_record(text.encode(), path.name) == record:
                return text
        _beside(path, before, "as edited")
    text = with_ends(fresh_text(tables), end)
    if parse_record(text.encode(), path.name) != record:
        raise DescriptionError(f"{path}: not saved: the record would not read back the same")
    return text


def _with_format(old: Record) -> dict[str, Any]:
    return as_tables(old) | {"format": old.format}


def _refuse_newer(record: Record) -> None:
    if record.format > FORMAT:
        raise DescriptionError(
            f"{record.file}: not saved: it has format {record.format}, and this ampsim knows {FORMAT}; "
            "use the newer ampsim"
        )


def _taken_over(record: Record, path: Path) -> DescriptionError:
    """The error for a file that is not the one this record came from; the record is kept beside."""
    try:
        kept = _beside(path, fresh_text(as_tables(record)).encode(), "unsaved").name
    except DescriptionError as problem:
        kept = f"nowhere ({problem})"
    return DescriptionError(
        f"{path}: changed by another program or by hand since it was read; it was left as it is. What was to be saved "
        f"is kept beside it: {kept}. Read the job again and put in what is missing."
    )


def _beside(path: Path, data: bytes, why: str) -> Path:
    """Keep a version under a name of its own, with date and time."""
    now = datetime.datetime.now().strftime("%Y-%m-%d %H%M%S")
    for number in range(1, _MOST_BESIDE):
        name = f"{path.stem} {why} {now}{f' {number}' if number > 1 else ''}.toml"
        kept = path_inside(path.parent, name)
        if not kept.exists():
            return write_whole(kept, data)
    raise DescriptionError(f"{path.parent}: too many versions of this second")


def _present(path: Path) -> bytes:
    return read_bounded(path) if path.exists() else b""


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest() if data else ""


def _sweep(path: Path) -> None:
    """Take away what a program left that was killed while it saved; nobody else can be saving now."""
    for left in path.parent.glob(f"{path.name}.????????.part"):
        with contextlib.suppress(OSError):
            left.unlink()
