"""The volts that were measured on a job, as the amp came and after the work, beside those of a healthy amp."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from .. import pictures
from ..diagnosis import diagnose, readings_of
from ..errors import DescriptionError
from ..pictures import Picture
from ..read_job import Job
from ..record import Measured, Record
from .sweeps import AFTER, ARRIVAL


@dataclass(frozen=True)
class Volts:
    """One round of measured volts: a title, what is said of them, and their picture (None where there is none)."""

    title: str
    words: str
    picture: Picture | None = None


def measured_volts(job: Job, record: Record | None) -> tuple[Volts, ...]:
    """The last round of each phase; readings that do not fit the amp are told, not drawn.

    Raises
    ------
    EngineError
        When the healthy amp gives no trustworthy answer.
    """
    return tuple(_drawn(job, each) for each in _last(record)) if record else ()


def _last(record: Record) -> Iterator[Measured]:
    for phase in (ARRIVAL, AFTER):
        yield from [each for each in record.measured if each.phase == phase][-1:]


def _drawn(job: Job, measured: Measured) -> Volts:
    amp = job.stock if measured.phase == ARRIVAL else job.modded
    title = f"Volts {measured.phase}, {measured.date}"
    try:
        told = diagnose(amp, readings_of(measured, amp), measured.position)
    except DescriptionError as problem:
        return Volts(title, f"Not held against the simulation: {problem}")
    words = f"Measured on {amp.variant}; controls: {told.position}. {told.about_supply} {told.verdict()}"
    return Volts(title, words, pictures.volts(told.table, f"{amp.name}, {amp.variant}: volts {measured.phase}"))
