"""What is said of a mod besides its tone: one sentence with a number, its limit and how it was got."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum


class Grade(StrEnum):
    """How a number stands to its limit, in rising order of worry."""

    FINE = "fine"
    UNKNOWN = "not known"
    NEAR = "near the limit"
    BEYOND = "beyond the limit"

    @property
    def worry(self) -> int:
        """Rank among the grades; 0 is no worry."""
        return tuple(Grade).index(self)

    @property
    def advice(self) -> str:
        """What to do about it, as the sheet says it."""
        return {Grade.NEAR: "look again", Grade.BEYOND: "change this first"}.get(self, str(self))


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
    names_position
        Whether the words name the position, or hold at every one.
    where
        The settings that make it, in words, see `settings.Positions`; "" where that was not looked into.
    least
        Whether the limit is the least that the number should be; otherwise it is the most.
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
    names_position: bool = False
    where: str = ""
    least: bool = False

    @property
    def sentence(self) -> str:
        """The words, with the settings that make it in front where they do not name them."""
        return self.words if self.names_position else f"{self.settings}: {self.words}"

    @property
    def excess(self) -> float:
        """How far the number is past its limit [its own unit], less than nothing on the good side; nan without one."""
        if self.limit is None:
            return math.nan
        return self.limit - self.value if self.least else self.value - self.limit

    @property
    def settings(self) -> str:
        """The settings that make it, in words; where that was not looked into, the position it was found at."""
        return self.where or self.position


def grade_below(value: float, limit: float | None, near: float = 0.9) -> Grade:
    """Grade a number that should stay below a limit [both in one unit]; it is near from `near` [ratio] of it on."""
    if limit is None or math.isnan(limit) or math.isnan(value):
        return Grade.UNKNOWN
    return Grade.BEYOND if value > limit else Grade.NEAR if value > near * limit else Grade.FINE


def grade_above(value: float, limit: float, near: float) -> Grade:
    """Grade a number that should stay above a limit; below `near`, above the limit, it is near [all in one unit]."""
    if math.isnan(value):
        return Grade.UNKNOWN
    return Grade.BEYOND if value < limit else Grade.NEAR if value < near else Grade.FINE


def worst(findings: Iterable[Finding]) -> Grade:
    """The most worrying grade among findings; "fine" of none."""
    return max((finding.grade for finding in findings), key=lambda grade: grade.worry, default=Grade.FINE)


def verdict(findings: Sequence[Finding]) -> str:
    """What to do about the worst of them; where nothing was found, such as stability without feedback, nothing."""
    return worst(findings).advice if findings else "nothing to judge"


def most_worrying(findings: Iterable[Finding], size: Callable[[float], float] = abs) -> Finding:
    """The finding of the worst grade; of equals that of the largest number, the first of equal ones.

    Parameters
    ----------
    findings : iterable of Finding
        At least one.
    size : callable
        What makes a value [its own unit] large; default without its sign.
    """
    return max(
        findings,
        key=lambda each: (each.grade.worry, 0.0 if math.isnan(each.value) else size(each.value)),
    )


def worries_first(findings: Sequence[Finding]) -> list[Finding]:
    """Findings with the worries first, otherwise in their order; what is said in the same words is said once."""
    once: dict[str, Finding] = {}
    for finding in sorted(findings, key=lambda finding: -finding.grade.worry):
        once.setdefault(finding.sentence, finding)
    return list(once.values())
