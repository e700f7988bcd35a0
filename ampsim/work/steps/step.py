"""One step of the work: its phase, what to do and how, with which tool, and what to measure after it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from .checks import Check


class Phase(StrEnum):
    """Part of the work that a step belongs to, in the order of the work."""

    MAKE_SAFE = "make safe"
    OPEN = "open and discharge"
    PHOTOGRAPH = "photograph"
    BEFORE_THE_IRON = "before the iron"
    REMOVE = "remove"
    PREPARE = "prepare"
    DRILL = "drill"
    FIT = "fit"
    WIRE = "wire"
    COLD_CHECK = "cold check"
    FIRST_POWER = "first power"
    BIAS = "bias"
    PROOF = "proof"
    CLOSE = "close"

    @property
    def always_anew(self) -> bool:
        """Whether it is done again in every session: capacitors charge, and somebody may have plugged the amp in."""
        return self in (Phase.MAKE_SAFE, Phase.OPEN)


@dataclass(frozen=True)
class Step:
    """One step of the work.

    Attributes
    ----------
    phase, do
        Its part of the work, and what to do.
    checks
        What to measure after it.
    tool
        What it is done with.
    how
        How, as the parts are mounted: sentences.
    parts
        Designators of what is put in, as the parts list has them.
    wrong
        What it looks like when it went wrong: sentences.
    plan
        Whose way back it belongs to, "" on the way there: what was checked then tells nothing of the way back.
    """

    phase: Phase
    do: str
    checks: Sequence[Check] = ()
    tool: str = ""
    how: Sequence[str] = ()
    parts: Sequence[str] = ()
    wrong: Sequence[str] = ()
    plan: str = ""

    @property
    def known_by(self) -> str:
        """The words that a job knows it by."""
        return f"{self.plan}: {self.do}" if self.plan else self.do

    def notes(self) -> Iterator[tuple[str, str]]:
        """What stands below it in a plan, each with what it is: tool, how."""
        if self.tool:
            yield "Tool", self.tool
        if self.how:
            yield "How", " ".join(self.how)
