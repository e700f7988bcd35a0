"""Blocking: how long a note dying away is missing after a hard stroke."""

from __future__ import annotations

import xarray as xr

from ...base.progress import Progress
from ..agreement import agreement_findings, agreement_of, agreement_words
from ..combinations import combined_labels, where_it_tells, with_loudest
from ..findings import Finding
from ..rows import without_repeats, worst_position
from ..section import Examination, Section
from . import TITLE
from .findings import blocking_findings
from .measures import blocking_table, tone_table
from .picture import blocking_picture as picture
from .simulate import BURST, blocking


def section(examined: Examination, progress: Progress | None = None) -> Section:
    """Play both amps a hard burst between small tones, and say how they come back."""
    played = with_loudest(examined, BURST.frequency)
    response, findings = _played(played, progress)
    if closer := where_it_tells(played, findings):
        response, findings = _played(closer, progress)
    position = worst_position(findings, response)
    table = blocking_table(response)
    here = table[table["position"] == position].drop(columns="position")
    agreement = agreement_of(response)
    return Section(
        title=TITLE,
        findings=(*findings, *agreement_findings(agreement, TITLE, examined.modded.variant)),
        tables={
            "the small tone at the speaker": without_repeats(tone_table(response)),
            **({f"bias of every valve, {position}": here} if len(here) else {}),
        },
        pictures={"blocking": picture(response, position)} if len(here) else {},
        notes=(
            "Bias is the mean over each cycle of the volts between grid and cathode. Times count from the cycle in "
            "which it is pushed furthest; infinite means that the run ended first.",
            "Blocking has no published limit. Our own: a small tone still 3 dB down 100 ms after the stroke, since the "
            "ear itself misses weak sounds for 0.1 to 0.2 s after loud ones (from memory). A longer stroke charges "
            "large coupling capacitors further than this one does.",
            agreement_words(agreement),
        ),
    )


def _played(examined: Examination, progress: Progress | None) -> tuple[xr.Dataset, list[Finding]]:
    response = blocking(examined.variants, examined.every, progress=progress).assign_attrs(combined_labels(examined))
    return response, blocking_findings(response, "blocking")
