"""An amp whose reverb is dry: an echo comes after the cycles that headroom looks at, and would count as compression."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from ...circuit.amp import Amp, AnyPart
from ...circuit.reverb_tank import ReverbTank

# What a still spring brings back of the current in its coil [ohm]: next to nothing.
_STILL = 1e-9


@lru_cache(maxsize=64)
def with_still_springs(amp: Amp) -> Amp:
    """The amp with springs that bring nothing back; the very same amp where there are none."""
    if not any(isinstance(part, ReverbTank) for part in amp.part_by_designator.values()):
        return amp
    mods = tuple(replace(mod, parts=_still(mod.parts)) for mod in amp.mods)
    return replace(amp, parts=_still(amp.parts), mods=mods)


def _still(parts: tuple[AnyPart, ...]) -> tuple[AnyPart, ...]:
    return tuple(replace(part, coupling=_STILL) if isinstance(part, ReverbTank) else part for part in parts)
