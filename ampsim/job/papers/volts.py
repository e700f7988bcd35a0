"""The volts that were measured on a job, as the amp came and after the work, beside those of a healthy amp."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from ...base.errors import DescriptionError
from ...bench.diagnosis.picture import volts_picture
from ...bench.diagnosis.report import diagnose
from ...bench.diagnosis.standing import brief_words, deviations_of
from ...pictures.canvas import Picture
from ...studies.audition_request import Audition
from ..record.data import Measured, Record
from ..record.measurements import recorded_readings
from ..record.words import Phase


@dataclass(frozen=True)
class Volts:
    """One round of measured volts: a title, what is said of them, their table and picture (None where there is none).

    `table` is that of a diagnosis [V].
    """

    title: str
    words: str
    picture: Picture | None = None
    table: pd.DataFrame | None = field(default=None, hash=False)
    phase: Phase = Phase.ARRIVAL

    def rows(self) -> list[dict[str, Any]]:
        """A row to each reading, by column [V], with how it stands in a word."""
        if self.table is None:
            return []
        stand = [brief_words(each) for each in deviations_of(self.table)]
        rows = self.table.to_dict("records")
        return [{**{str(name): cell for name, cell in row.items()}, "standing": word}
                for row, word in zip(rows, stand, strict=True)]  # fmt: skip


def measured_volts(audition: Audition, record: Record | None) -> tuple[Volts, ...]:
    """The last round of each phase; readings that do not fit the amp are told, not drawn.

    Raises
    ------
    EngineError
        When the healthy amp gives no trustworthy answer.
    """
    if record is None:
        return ()
    return tuple(_draw_round(audition, record, each) for phase in Phase for each in record.rounds(phase)[-1:])


def _draw_round(audition: Audition, record: Record, measured: Measured) -> Volts:
    amp = audition.stock if measured.phase == Phase.ARRIVAL else audition.modded
    title = f"Volts {measured.phase}, {measured.date}"
    try:
        known = measured.mains is not None and measured.mains_drawn is None
        read = recorded_readings(measured, amp, mains_drawn=record.mains_drawn if known else None)
        told = diagnose(amp, read, measured.position)
    except DescriptionError as problem:
        return Volts(title, f"Not held against the simulation: {problem}", phase=measured.phase)
    words = f"Measured on {amp.variant}; controls: {told.position}. {told.about_supply} {told.verdict()}"
    picture = volts_picture(told.table, f"{amp.name}, {amp.variant}: volts {measured.phase}")
    return Volts(title, words, picture, told.table, measured.phase)
