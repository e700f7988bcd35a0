"""What must hold between the entries of a record."""

from __future__ import annotations

from ...base.entries import Entry
from ...base.errors import shown
from .data import Record


def check_dates(top: Entry, record: Record) -> None:
    """Refuse states whose dates do not rise.

    Raises
    ------
    DescriptionError
        Naming the state, and how it is put right.
    """
    for number, (one, two) in enumerate(zip(record.states, record.states[1:], strict=False), 2):
        if two.date < one.date:
            text = (
                f"{two.date} lies before {one.date}, the date of the state above it; the wrong one is put right "
                f"with: ampsim job change FOLDER 'states[{number - 1}].date' {two.date}"
            )
            raise top.fail("", f"states[{number}].date: {text}")


def check_frozen(top: Entry, record: Record) -> None:
    """See that everything the job names is among its frozen files, once there are any.

    Raises
    ------
    DescriptionError
        Naming what is missing, or listed twice.
    """
    names = [each.file for each in record.frozen]
    for file in names:
        if names.count(file) > 1:
            raise top.fail("frozen", f"{file} is listed twice")
    wishes = [(f"wishes[{number}].wish", each.wish) for number, each in enumerate(record.wishes, 1)]
    named = [("amp", record.amp), *(("mods", mod) for mod in record.mods), ("drawer", record.drawer), *wishes]
    for key, name in named:
        if name and names and f"{name}.toml" not in names:
            raise top.fail("", f"{key}: {shown(name)} is not among the job's frozen files; take it in first")
