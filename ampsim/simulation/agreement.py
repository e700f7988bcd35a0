"""How our own solvers and ngspice agree in what a study asked of both."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .facts import Fact

TIMED_LIMIT = 0.03
"""How far [ratio] the two may differ: rms of the difference at the speaker over rms of the movement there."""
TOLD_LIMIT = 0.05
"""The same of each number that a study tells of a run, such as a peak, by its own size: a spike is little of a wave."""
SWEPT_LIMIT = 1e-3
"""The same of small signals: difference over response, at whatever frequency it is largest; of volts at rest too.

A hundredth of a decibel. Over a thousand amps by lot the median is 5e-7, and 4e-5 in the worst percent.
"""
_FAINT = 1e-6  # of the largest response: less is nothing as far as the two agree
_VOLT = 1.0


@dataclass(frozen=True)
class Agreement:
    """How the solver and ngspice agree.

    `solved` and `by_ngspice`: how many runs each of them answered; `checked` how many of the first ngspice did too;
    `worst` the largest difference among them [ratio], NaN without any; `refused`: why the solver did not, in words;
    `seconds`: how much of each was checked at most [s]; `swept`: whether they are small signals and volts at rest.
    `tone`: how long a tone [s] ngspice played into the circuits that are checked; then so many seconds of each run were
    checked in steps half as long. 0: ngspice did those seconds itself. `told`: the largest difference of a number that
    is told of what was checked [ratio], NaN without any; `told_of`: what that is, in words. `unchecked`: how many runs
    ngspice was to do too that left nothing to compare.
    """

    solved: int = 0
    by_ngspice: int = 0
    checked: int = 0
    worst: float = np.nan
    refused: tuple[str, ...] = ()
    seconds: float = np.inf
    swept: bool = False
    tone: float = 0.0
    told: float = np.nan
    told_of: str = ""
    unchecked: int = 0

    def __add__(self, other: Agreement) -> Agreement:
        further = other if np.isnan(self.told) or other.told > self.told else self
        return Agreement(
            self.solved + other.solved,
            self.by_ngspice + other.by_ngspice,
            self.checked + other.checked,
            float(np.fmax(self.worst, other.worst)),
            tuple(dict.fromkeys([*self.refused, *other.refused])),
            min(self.seconds, other.seconds),
            self.swept or other.swept,
            max(self.tone, other.tone),
            further.told,
            further.told_of,
            self.unchecked + other.unchecked,
        )

    @property
    def broken(self) -> bool:
        """Whether they differ by more than stated; then every answer is ngspice's."""
        return self.worst > self.limit

    @property
    def limit(self) -> float:
        """How far they may differ [ratio]."""
        return SWEPT_LIMIT if self.swept else TIMED_LIMIT


AGREEMENT = Fact("agreement", Agreement)
"""How the solver and ngspice agree in a response."""


def swept_difference(ours: NDArray[Any], theirs: NDArray[Any]) -> float:
    """How far two answers of one shape are apart [ratio]: of the response, of a volt or more at rest."""
    size = np.abs(theirs)
    floor = max(_FAINT * float(size.max(initial=0.0)), 1e-12) if np.iscomplexobj(ours) else _VOLT
    return float((np.abs(ours - theirs) / np.maximum(size, floor)).max(initial=0.0))
