"""How long the work takes: the shop's own minutes per step of the plan, and what the same steps took in earlier jobs.

What neither says is asked for and never made up.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from ...base.errors import DescriptionError
from ...work.steps.step import Step
from ..record.data import Session
from .money import EXACT, over, times, to_places, written

_TENTHS = 1  # decimals of minutes


@dataclass(frozen=True)
class Past:
    """What a step of one kind took in earlier jobs [min]: middle, lower and upper quarter, of how many sessions."""

    median: Decimal
    low: Decimal
    high: Decimal
    sessions: int

    @property
    def words(self) -> str:
        """In a few words."""
        spread = f", half of them {written(self.low)} to {written(self.high)}" if self.sessions > 2 else ""
        return f"{written(self.median)} min in the middle of {self.sessions} earlier{spread}"


@dataclass(frozen=True)
class KindOfWork:
    """The steps of one kind: how many, what one takes [min], where that is from ("" while nobody said it)."""

    kind: str
    steps: int
    each: Decimal | None
    source: str
    past: Past | None = None

    @property
    def minutes(self) -> Decimal:
        """All of them together [min]."""
        return times(Decimal(self.steps), self.each or Decimal(0))


def past_times(sessions: Iterable[tuple[str, int, int]]) -> dict[str, Past]:
    """What a step of each kind took, from sessions of one kind.

    Parameters
    ----------
    sessions : iterable of (str, int, int)
        Kind, how many steps, how many minutes [min]: as `sessions_of_one_kind` gives them.
    """
    known: dict[str, list[Decimal]] = {}
    for kind, steps, minutes in sessions:
        known.setdefault(kind, []).append(over(Decimal(minutes), Decimal(steps)))
    return {kind: _past(sorted(each)) for kind, each in known.items()}


def _past(times_of: Sequence[Decimal]) -> Past:
    low, median, high = (to_places(_quantile(times_of, quarter), _TENTHS) for quarter in (1, 2, 3))
    return Past(median, low, high, len(times_of))


def _quantile(ordered: Sequence[Decimal], quarters: int) -> Decimal:
    """Between the two that stand nearest, as far as it lies from them (the usual median at two quarters)."""
    place, rest = divmod((len(ordered) - 1) * quarters, 4)
    if not rest:
        return ordered[place]
    step = EXACT.subtract(ordered[place + 1], ordered[place])
    return EXACT.add(ordered[place], over(times(step, Decimal(rest)), Decimal(4)))


def sessions_of_one_kind(sessions: Iterable[Session]) -> list[tuple[str, int, int]]:
    """Kind, steps and minutes [min] of each session that was all of one kind and whose time was written down."""
    alike = (each for each in sessions if each.minutes and len(each.kinds) == 1)
    return [(each.kinds[0][0], each.kinds[0][1], each.minutes) for each in alike]


def estimate(
    steps: Sequence[Step], table: Mapping[str, Decimal], past: Mapping[str, Past], take_past: bool = False
) -> list[KindOfWork]:
    """How long the steps of a plan take, kind by kind in its order.

    Parameters
    ----------
    steps : sequence of Step
    table : mapping
        The shop's minutes for one step [min], by kind; it comes first.
    past : mapping
        What earlier jobs took, by kind.
    take_past : bool
        Take the middle of earlier jobs where the table says nothing.
    """
    found = []
    for kind, count in Counter(str(step.phase) for step in steps).items():
        before = past.get(kind)
        if kind in table:
            found.append(KindOfWork(kind, count, table[kind], "the shop's table", before))
        elif take_past and before:
            found.append(KindOfWork(kind, count, before.median, "earlier jobs", before))
        else:
            found.append(KindOfWork(kind, count, None, "", before))
    return found


def refuse_unknown(work: Sequence[KindOfWork]) -> None:
    """Ask for what nobody said.

    Raises
    ------
    DescriptionError
        Naming each kind of work, with what earlier jobs took.
    """
    asked = [each for each in work if each.each is None]
    if asked:
        told = "".join(
            f"\n  {each.kind} ({each.steps} step{'s' * (each.steps != 1)}): "
            f"{each.past.words if each.past else 'no earlier job says it either'}"
            for each in asked
        )
        more = "; --past takes what earlier jobs took" if any(each.past for each in asked) else ""
        raise DescriptionError(
            "how long does one step of each of these take? Write it below [minutes] of the shop's sheet, or say it "
            f'with --minutes "{asked[0].kind}=10"{more}:{told}'
        )
