"""A sheet of exercises: the same seed gives the same sheet, and the notebook marks it."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pandas as pd

from ...circuit.amp import Amp
from .question import MOST_MARKS, Exercise
from .topics import TOPICS, exercise


@dataclass(eq=False, repr=False)
class Sheet:
    """Exercises by topic, in order; `sheet[1]` is the first."""

    exercises: tuple[tuple[str, Exercise], ...]

    def __getitem__(self, number: int) -> Exercise:
        return self.exercises[number - 1][1]

    def __iter__(self) -> Iterator[Exercise]:
        return (each for _, each in self.exercises)

    def __len__(self) -> int:
        return len(self.exercises)

    def __str__(self) -> str:
        return "\n".join(f"{number}. {each}" for number, each in enumerate(self, 1))

    def __repr__(self) -> str:
        return str(self)

    def _repr_markdown_(self) -> str:
        return str(self)

    @property
    def marks(self) -> pd.DataFrame:
        """Each exercise with its tries and marks, and the sum."""
        rows: list[tuple[object, ...]] = [
            (number, topic, each.level, each.tries, f"{each.marks} of {MOST_MARKS}")
            for number, (topic, each) in enumerate(self.exercises, 1)
        ]
        total = sum(each.marks for each in self)
        rows.append(("", "all", "", "", f"{total} of {MOST_MARKS * len(self)}"))
        return pd.DataFrame(rows, columns=["no.", "topic", "level", "wrong tries", "marks"])


def exercise_sheet(seed: int = 0, level: int = 2, topics: Sequence[str] = (), amp: Amp | None = None) -> Sheet:
    """Make a sheet: one exercise to a topic, with values by the seed.

    Parameters
    ----------
    seed : int
        The same gives the same sheet.
    level : int
        1, 2 or 3; see `topics.exercise`.
    topics : sequence of str
        Default: all of `TOPICS`.
    amp : Amp
        Whose feedback is asked about, in place of workshop amp A.

    Raises
    ------
    DescriptionError
        For a topic or level that there is none of, or an amp without feedback.
    """
    draw = random.Random(seed)
    return Sheet(tuple((each, exercise(each, draw.randrange(10_000), level, amp)) for each in topics or TOPICS))
