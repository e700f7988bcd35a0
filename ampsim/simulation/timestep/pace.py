"""How fine the solver takes a transient, and the name its answers are kept by."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from .kernel_arguments import TOLERANCE


@dataclass(frozen=True)
class Pace:
    """How fine a transient is taken.

    `step` [s]: the length of a step. `fine` says how long [s] and in which steps [s] it goes on after contacts have
    moved or a burst has begun, one stage after the other. From the time `since` [s] on a step is kept every `keep`
    [s], or all are. Until `settled` [s] a tone is taken in steps of `coarse` [s], where that is given. With `slow` the
    speaker is kept without what is too fast for the steps that are (`band_limit`): of a tone, so many cycles of it from
    `since` to its end. With `miss` [ratio] steps adapt: halves of them are taken, of halves..., where what
    comes is off what was foreseen by more than that (`walk`), and all of these are kept besides. `residue` [ratio]: how
    large the last correction of a sample may be, in units of 1 V at grids and 30 V at plates; where what is small is
    listened for beside what is large, the usual one is too coarse.
    """

    step: float
    fine: tuple[tuple[float, float], ...] = ()
    keep: float = 0.0
    since: float = 0.0
    coarse: float = 0.0
    settled: float = 0.0
    slow: int = 0
    miss: float = 0.0
    residue: float = TOLERANCE

    @property
    def halved(self) -> Pace:
        """The same in steps half as long; what is kept stays."""
        fine = tuple((seconds, 0.5 * step) for seconds, step in self.fine)
        return replace(self, step=0.5 * self.step, fine=fine, coarse=0.5 * self.coarse, miss=0.25 * self.miss)

    @property
    def even(self) -> Pace:
        """The same in its shortest steps throughout."""
        return replace(self, step=min([self.step, *(step for _, step in self.fine)]), fine=(), settled=0.0)

    def earlier(self, seconds: float) -> Pace:
        """The same for a transient that is shorter by so many seconds [s]; all of it, as fast as it is."""
        since, settled = (max(0.0, time - seconds) for time in (self.since, self.settled))
        return replace(self, since=since, settled=settled, slow=0)


@lru_cache(maxsize=1)
def _code() -> str:
    # The laws are numbered when they are first needed, not when a study is imported.
    from .differentiate import laws_text

    files = sorted(Path(__file__).resolve().parent.glob("*.py"))
    return hashlib.sha256("\0".join([laws_text(), *(each.read_text("utf-8") for each in files)]).encode()).hexdigest()


def solver_name(pace: Pace) -> str:
    """The solver at a pace, told apart by its source and its laws: what its answers are kept by."""
    return f"time steps {_code()} {pace}"
