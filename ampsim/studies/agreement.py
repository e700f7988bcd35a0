"""What the sheet says of its two solvers: how many runs each answered, and how a sample of both agrees."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import reduce
from operator import add

import xarray as xr

from ..simulation.agreement import AGREEMENT, STATED, Agreement
from ..simulation.facts import get
from .findings import Finding, Grade

_SOURCE = "our own limit: rms of the difference at the speaker over rms of the movement there"


def agreement_of(*responses: xr.Dataset) -> Agreement:
    """The agreement of several responses together."""
    return reduce(add, (get(each, AGREEMENT) for each in responses), Agreement())


def agreement_words(agreement: Agreement) -> str:
    """One line on which solver answered and how far the two differ."""
    if agreement.broken:
        return (
            f"In time: two solvers differ by {_percent(agreement.worst)} in a sample, {_percent(STATED)} is allowed, "
            f"so all {agreement.by_ngspice} runs are ngspice's."
        )
    total = agreement.solved + agreement.by_ngspice
    words = f"In time: {agreement.solved} of {total} runs by the time-step solver"
    if agreement.checked:
        some = "" if math.isinf(agreement.seconds) else f" for {1e3 * agreement.seconds:.0f} ms"
        words += (
            f", {agreement.checked} of them by ngspice too{some}: they differ by {_percent(agreement.worst)} at the "
            f"speaker (rms; {_percent(STATED)} is allowed)"
        )
    if agreement.refused:
        words += f"; the other{'s' * (agreement.by_ngspice > 1)} by ngspice, as {'; '.join(agreement.refused)}"
    return f"{words}."


def agreement_findings(agreement: Agreement, topic: str, variant: str) -> Iterator[Finding]:
    """A finding where the two differ by more than they may; the share is in [ratio]."""
    if agreement.broken:
        yield Finding(
            topic, "two solvers", variant, "every position", agreement.worst, "ratio", STATED, Grade.UNKNOWN,
            f"The time-step solver and ngspice differ by {_percent(agreement.worst)} here, {_percent(STATED)} is "
            "allowed: the numbers are ngspice's alone; look at what clips hard or does not settle.",
            "transient", _SOURCE, names_position=True,
        )  # fmt: skip


def _percent(ratio: float) -> str:
    return f"{100.0 * ratio:.2g} %" if ratio < 0.995 else f"{100.0 * ratio:.0f} %"
