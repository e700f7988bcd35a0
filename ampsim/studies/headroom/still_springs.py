"""An amp whose reverb is dry: an echo comes after the cycles that headroom looks at, and would count as compression."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from ...circuit.amp import Amp
from ...circuit.every_part import with_every_part
from ...circuit.reverb_tank import ReverbTank

# What a still spring brings back of the current in its coil [ohm]: next to nothing.
_STILL = 1e-9


@lru_cache(maxsize=64)
def with_still_springs(amp: Amp) -> Amp:
    """The amp with springs that bring nothing back; the very same amp where there are none."""
    if not any(isinstance(part, ReverbTank) for part in amp.part_by_designator.values()):
        return amp
    return with_every_part(amp, lambda each: replace(each, coupling=_STILL) if isinstance(each, ReverbTank) else each)
