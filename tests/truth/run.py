"""All claims, and all checks with our numbers."""

from __future__ import annotations

from functools import lru_cache

from tests.truth import (
    blocking,
    copied,
    headroom,
    listening,
    measured,
    networks,
    noise,
    outputs,
    pop,
    ports,
    ratings,
    reverb_tremolo,
    semiconductors,
    spread,
    stability,
    stages,
    supplies,
    textbook,
    transformers,
    valves_alone,
    voltmeter,
)
from tests.truth.claims import Case, Check, Claim

FAMILIES = (
    valves_alone,
    stages,
    supplies,
    outputs,
    textbook,
    transformers,
    networks,
    ratings,
    headroom,
    blocking,
    stability,
    noise,
    pop,
    spread,
    ports,
    measured,
    voltmeter,
    listening,
    semiconductors,
    reverb_tremolo,
    copied,
)


@lru_cache(maxsize=1)
def cases() -> tuple[Case, ...]:
    """Every circuit with its claims; nothing is simulated yet."""
    return tuple(case for family in FAMILIES for case in family.cases())


def claims() -> list[Claim]:
    """Every claim, in order."""
    return [claim for case in cases() for claim in case.claims]


@lru_cache(maxsize=1)
def checks() -> dict[str, Check]:
    """Every claim by name with our number: simulates everything, once."""
    found = {}
    for case in cases():
        ours = case.measure()
        found.update({claim.name: Check(claim, ours[claim.quantity]) for claim in case.claims})
    return found
