"""A published number, how far ours may be from it and why, and what came out."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

FITTED, PREDICTED, CLOSED, COPIED = "fitted", "predicted", "closed form", "copied"
KINDS = {
    FITTED: "the parameters of the valve were fitted to this very number, or to others that fix it",
    PREDICTED: "no parameter was fitted to this number",
    CLOSED: "a formula or a published model with its published parameters, worked out apart from ampsim",
    COPIED: "a rating or capacitance that the valve file repeats; shows that it was copied rightly, no more",
}


@dataclass(frozen=True)
class Limit:
    """How far ours may be off: `size` as a fraction, in dB, or one-sided ("at least": by no more than this below)."""

    size: float
    why: str
    scale: str = "relative"

    def error(self, published: float, ours: float) -> float:
        """How far ours is off, in the scale of the limit; not a number counts as infinitely far."""
        if self.scale == "dB":
            error = ours - published
        elif self.scale == "at least":
            error = min(ours - published, 0.0)
        else:
            error = ours / published - 1.0
        return error if math.isfinite(error) else math.inf

    def words(self, error: float) -> str:
        """An error, or the limit itself, with its unit."""
        if self.scale == "relative":
            return f"{100.0 * error:.2f} %"
        return f"{error:.4f} {'dB' if self.scale == 'dB' else 'below'}"


@dataclass(frozen=True)
class Claim:
    """One published number.

    `id` is the row of the source's table and `quantity` what it says; `published` in SI units (or dB), written with
    `unit`. `kind` is one of `KINDS`; `flag` how far the published number itself was checked.
    """

    id: str
    quantity: str
    published: float
    unit: str
    source: str
    flag: str
    kind: str
    limit: Limit

    @property
    def name(self) -> str:
        """Row and quantity: what a test and the list of unmet rows call it."""
        return f"{self.id} {self.quantity}"


@dataclass(frozen=True)
class Case:
    """One circuit and the claims it answers; `measure` gives our number for every quantity claimed."""

    claims: tuple[Claim, ...]
    measure: Callable[[], Mapping[str, float]]


@dataclass(frozen=True)
class Check:
    """A claim with our number."""

    claim: Claim
    ours: float

    @property
    def error(self) -> float:
        """How far ours is off, in the scale of the limit."""
        return self.claim.limit.error(self.claim.published, self.ours)

    @property
    def met(self) -> bool:
        """Whether ours is within the limit."""
        return abs(self.error) <= self.claim.limit.size


def printed(published: float, last_digit: float, share: float = 0.0) -> float:
    """A relative limit: a share, and half a unit of the last digit that the source prints."""
    return share + 0.5 * last_digit / abs(published)
