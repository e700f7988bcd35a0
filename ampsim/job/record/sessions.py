"""The work as it is done: which steps of the plan, by whom, how long they took."""

from __future__ import annotations

import datetime
import re
from collections import Counter
from collections.abc import Sequence

from ...base.errors import DescriptionError, shown
from ...base.wording import plain
from ...work.steps.step import Step
from .changing import add_entry
from .data import Record, Session

_NUMBERS = re.compile(r"(\d{1,4})(?:-(\d{1,4}))?")


def asked_steps(steps: Sequence[Step], numbers: Sequence[str]) -> list[int]:
    """The numbers of steps, from 1, that were asked for, such as ``["3", "5-8"]``, in order.

    Raises
    ------
    DescriptionError
        For what is no number, and a step that the plan does not have.
    """
    found: set[int] = set()
    for text in numbers:
        given = _NUMBERS.fullmatch(text)
        if given is None:
            raise DescriptionError(f"{shown(text)} is no step; written for example 3, or 5-8")
        first, last = int(given[1]), int(given[2] or given[1])
        if not 1 <= first <= last <= len(steps):
            raise DescriptionError(f"{text}: the plan has the steps 1 to {len(steps)}")
        found |= set(range(first, last + 1))
    return sorted(found)


def keep_session(
    record: Record,
    steps: Sequence[Step],
    numbers: Sequence[int],
    *,
    minutes: int = 0,
    by: str = "",
    note: str = "",
    date: datetime.date | None = None,
) -> Record:
    """Write down steps that were done in one go.

    Parameters
    ----------
    record : Record
    steps : sequence of Step
        Those of the plan.
    numbers : sequence of int
        Which of them, from 1.
    minutes : int
        How long they took together [min].
    by, note : str
        Who did them, and what there is to say.
    date : datetime.date
        Default today.

    Raises
    ------
    DescriptionError
        For texts and numbers that a job file cannot hold.
    """
    words = [plain(steps[number - 1].known_by) for number in numbers]
    kinds = Counter(str(steps[number - 1].phase) for number in numbers)
    known = {"minutes": minutes, "by": plain(by), "note": plain(note, lines=True)}
    table = {"date": date or datetime.date.today(), "steps": words, "kinds": dict(kinds)} | {
        key: each for key, each in known.items() if each
    }
    return add_entry(record, "sessions", table)


def sessions_of(record: Record, steps: Sequence[Step]) -> list[Session | None]:
    """For each step of the plan the session in which it was done, None where it was not yet.

    A step is known by its words: one that a changed plan says otherwise is to be done again. One that stands in the
    plan several times counts as often as it was done. What makes the amp safe is never done for good: capacitors charge
    again, and somebody may have plugged it in.
    """
    doings: dict[str, list[Session]] = {}
    for session in record.sessions:
        for words in session.steps:
            doings.setdefault(words, []).append(session)
    seen: Counter[str] = Counter()
    found: list[Session | None] = []
    for step in steps:
        words = plain(step.known_by)
        done = doings.get(words, []) if not step.phase.always_anew else []
        found.append(done[seen[words]] if seen[words] < len(done) else None)
        seen[words] += 1
    return found
