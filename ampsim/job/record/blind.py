"""Comparisons by ear alone, kept in a job: who hears it, and how sure that is."""

from __future__ import annotations

import datetime

from ...base.wording import plain
from ...measures.blind import BlindResult
from .changing import add_entry
from .data import Blind, Record


def blind_words(found: Blind) -> str:
    """The result in a sentence, with what guessing would have done."""
    return BlindResult(found.among, found.rounds, found.right).words


def keep_blind(record: Record, found: BlindResult, note: str = "", date: datetime.date | None = None) -> Record:
    """Add the result of a comparison by ear alone, such as the last of `Player.blind`.

    Parameters
    ----------
    record : Record
    found : BlindResult
    note : str
        Who listened, where the controls stood.
    date : datetime.date
        Default today.

    Raises
    ------
    DescriptionError
        For a text that a job cannot hold.
    """
    table = {
        "date": date or datetime.date.today(),
        "among": [plain(each) for each in found.among],
        "rounds": found.rounds,
        "right": found.right,
    }
    return add_entry(record, "blind", table | ({"note": plain(note, lines=True)} if note else {}))
