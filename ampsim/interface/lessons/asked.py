"""A question as its topic makes it, before it is known how much of it is given."""

from __future__ import annotations

from dataclasses import dataclass

from ...circuit.amp import Amp


@dataclass(frozen=True)
class Asked:
    """A question before its level is chosen.

    Attributes
    ----------
    amp
        Whose drawing stands beside it.
    ask, data, formula, last
        The question; what it needs; by which formula; the hint before the solution.
    unit, simulated, by_hand, close
        As of `Exercise`.
    reason
        The model answer to the number.
    why
        Question, right statement, two wrong ones, model answer.
    """

    amp: Amp
    ask: str
    data: str
    formula: str
    last: str
    unit: str
    simulated: float
    by_hand: float
    reason: str
    close: float
    why: tuple[str, str, str, str, str]
