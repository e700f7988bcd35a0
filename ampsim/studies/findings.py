"""What is said of a mod besides its tone: one sentence with a number, its limit and how it was got."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Grade = Literal["fine", "near the limit", "beyond the limit", "not known"]
GRADES: tuple[Grade, ...] = ("fine", "not known", "near the limit", "beyond the limit")  # in rising order of worry


@dataclass(frozen=True)
class Finding:
    """One consequence of a mod at one position.

    Attributes
    ----------
    topic, subject
        What was looked at: "bias and ratings", "V4 plate dissipation".
    variant, position
        Labels as in a response.
    value, unit
        The number found.
    limit
        The number it is held against [unit]; None where there is none.
    grade
        How it stands to the limit; said in words wherever it is shown in colour.
    words
        A sentence with the number and the margin to the limit, in words of the trade.
    how
        How the number was got: "operating point", "frequency sweep", ...
    source
        Where formula and limit come from.
    picture
        Name of the picture of its section that shows it; "" for none.
    """

    topic: str
    subject: str
    variant: str
    position: str
    value: float
    unit: str
    limit: float | None
    grade: Grade
    words: str
    how: str
    source: str
    picture: str = ""


def grade_below(value: float, limit: float | None, near: float = 0.9) -> Grade:
    """Grade a number that should stay below a limit; from `near` times the limit on it is near."""
    if limit is None or math.isnan(limit) or math.isnan(value):
        return "not known"
    return "beyond the limit" if value > limit else "near the limit" if value > near * limit else "fine"


def grade_above(value: float, limit: float, near: float) -> Grade:
    """Grade a number that should stay above a limit; below `near` (a value above the limit) it is near."""
    if math.isnan(value):
        return "not known"
    return "beyond the limit" if value < limit else "near the limit" if value < near else "fine"


def worst(findings: Iterable[Finding]) -> Grade:
    """The most worrying grade among findings; "fine" of none."""
    return max((finding.grade for finding in findings), key=GRADES.index, default="fine")
