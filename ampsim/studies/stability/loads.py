"""The amp on other loads than the one drawn."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from ...base.errors import DescriptionError
from ...circuit.amp import Amp, AnyPart, Part
from ...circuit.build import build_circuit
from ...circuit.every_part import with_every_part
from ...circuit.loudspeaker import Loudspeaker

# Loads as multiples of the impedance drawn; the first stands for none at all.
OPEN = 1e4
LOADS = (OPEN, 2.0, 1.0, 0.5)


def with_load(amp: Amp, factor: float) -> Amp:
    """The amp on a load whose impedance is `factor` [ratio] times the one drawn, at every frequency.

    Raises
    ------
    DescriptionError
        When the amp has no load.
    """
    loads = _load_of(amp)
    if not loads:
        raise DescriptionError(f"{amp.name} has no load of which there could be more or less; it needs a stage 'load'")
    return with_every_part(amp, lambda each: _times(each, factor) if each.designator in loads else each)


@lru_cache(maxsize=64)
def _load_of(amp: Amp) -> frozenset[str]:
    """The parts of its load, those that any position of a switch alone brings included."""
    stand = [((switch.control, label),) for switch in amp.all_switches for label in switch.labels]
    return frozenset(each.designator for switches in ((), *stand) for each in build_circuit(amp, switches).load)


def _times(part: AnyPart, factor: float) -> AnyPart:
    if isinstance(part, Loudspeaker):
        return part.times(factor)
    return replace(part, value=part.value * factor) if isinstance(part, Part) else part
