"""The volts that were measured on a job, as the amp came and after the work, beside those of a healthy amp."""

from __future__ import annotations

from dataclasses import dataclass

from ...base.errors import DescriptionError
from ...bench.diagnosis.picture import volts_picture
from ...bench.diagnosis.report import diagnose
from ...pictures.canvas import Picture
from ...studies.audition_request import Audition
from ..record.data import Measured, Phase, Record
from ..record.measurements import recorded_readings


@dataclass(frozen=True)
class Volts:
    """One round of measured volts: a title, what is said of them, and their picture (None where there is none)."""

    title: str
    words: str
    picture: Picture | None = None


def measured_volts(audition: Audition, record: Record | None) -> tuple[Volts, ...]:
    """The last round of each phase; readings that do not fit the amp are told, not drawn.

    Raises
    ------
    EngineError
        When the healthy amp gives no trustworthy answer.
    """
    if record is None:
        return ()
    return tuple(_draw_round(audition, each) for phase in Phase for each in record.rounds(phase)[-1:])


def _draw_round(audition: Audition, measured: Measured) -> Volts:
    amp = audition.stock if measured.phase == Phase.ARRIVAL else audition.modded
    title = f"Volts {measured.phase}, {measured.date}"
    try:
        told = diagnose(amp, recorded_readings(measured, amp), measured.position)
    except DescriptionError as problem:
        return Volts(title, f"Not held against the simulation: {problem}")
    words = f"Measured on {amp.variant}; controls: {told.position}. {told.about_supply} {told.verdict()}"
    return Volts(title, words, volts_picture(told.table, f"{amp.name}, {amp.variant}: volts {measured.phase}"))
