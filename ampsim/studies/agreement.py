"""What the sheet says of our own solvers and ngspice: how many each answered, and how a sample of both agrees."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import reduce
from operator import add

import xarray as xr

from ..simulation.agreement import AGREEMENT, TOLD_LIMIT, Agreement
from ..simulation.facts import get
from .findings import Finding, Grade

_SOURCE = "our own limit: rms of the difference at the speaker over rms of the movement there"
_SOURCE_TOLD = "our own limit: difference of a number that is told over its size"
_SOURCE_SWEPT = "our own limit: difference over response, at the frequency where it is largest"


def agreement_of(*responses: xr.Dataset) -> Agreement:
    """The agreement of several responses together."""
    return reduce(add, (get(each, AGREEMENT) for each in responses)) if responses else Agreement()


def agreement_words(agreement: Agreement) -> str:
    """One line on which solver answered and how far the two differ."""
    of_what = "Small signals" if agreement.swept else "In time"
    what, solver = ("amps", "small-signal") if agreement.swept else ("runs", "time-step")
    where, limit = "of the response (" if agreement.swept else "at the speaker (rms; ", percent_words(agreement.limit)
    total = agreement.solved + agreement.by_ngspice
    if agreement.broken:
        how_many = f"{agreement.by_ngspice} of {total}" if agreement.solved else f"all {total}"
        return (
            f"{of_what}: two solvers differ by {percent_words(agreement.worst)} in a sample, {limit} is allowed, "
            f"so {how_many} {what} are ngspice's."
        )
    words = f"{of_what}: {agreement.solved} of {total} {what} by the {solver} solver"
    if agreement.checked:
        some = "" if math.isinf(agreement.seconds) else f" for {1e3 * agreement.seconds:.0f} ms"
        if agreement.tone:
            some = f" in a tone as loud for {1e3 * agreement.tone:.1f} ms, and in steps half as long{some}"
        words += (
            f", {agreement.checked} of them by ngspice too{some}: they differ by "
            f"{percent_words(agreement.worst)} {where}"
            f"{limit} is allowed)"
        )
    if agreement.told_of:
        words += f", in what is told by {percent_words(agreement.told)} at most ({agreement.told_of})"
    if agreement.unchecked:
        words += f"; {agreement.unchecked} that ngspice was to do too had no answer to compare"
    if agreement.refused:
        words += f"; the other{'s' * (agreement.by_ngspice > 1)} by ngspice, as {'; '.join(agreement.refused)}"
    return f"{words}."


def agreement_findings(agreement: Agreement, topic: str, variant: str) -> Iterator[Finding]:
    """A finding where the two differ by more than they may; the share is in [ratio]."""
    if agreement.broken:
        solver, why, how, source = (
            ("small-signal", "an amp may have more than one state at rest", "frequency sweep", _SOURCE_SWEPT)
            if agreement.swept else
            ("time-step", "look at what clips hard or does not settle", "transient", _SOURCE)
        )  # fmt: skip
        yield Finding(
            topic, "two solvers", variant, "every position", agreement.worst, "ratio", agreement.limit, Grade.UNKNOWN,
            f"The {solver} solver and ngspice differ by {percent_words(agreement.worst)} here, "
            f"{percent_words(agreement.limit)} "
            f"is allowed: the numbers are ngspice's alone; {why}.", how, source, names_position=True,
        )  # fmt: skip
    elif agreement.told > TOLD_LIMIT:
        yield _told_finding(agreement, topic, variant)


def _told_finding(agreement: Agreement, topic: str, variant: str) -> Finding:
    told, limit = percent_words(agreement.told), percent_words(TOLD_LIMIT)
    return Finding(
        topic, "two solvers", variant, "every position", agreement.told, "ratio", TOLD_LIMIT, Grade.UNKNOWN,
        f"The time-step solver and ngspice differ by {told} in what is told here ({agreement.told_of}), {limit} is "
        f"allowed: take such numbers, those of short spikes before all, to be uncertain by as much.",
        "transient", _SOURCE_TOLD, names_position=True,
    )  # fmt: skip


def percent_words(ratio: float) -> str:
    """A difference of two solvers [ratio] in percent, in plain figures."""
    if ratio < 1e-5:
        return "less than 0.001 %"
    return f"{100.0 * ratio:.2g} %" if ratio < 0.995 else f"{100.0 * ratio:.0f} %"
