"""What the error of the valves' laws makes of volts at rest: how far a healthy amp's may lie for that alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ...base.errors import DescriptionError
from ...circuit.amp import Amp
from ...circuit.positions import Position
from ...circuit.valves.emission import stronger_valve
from ...circuit.valves_in_use import valves_in_use
from ...measures.law_bands import BANDS, REST
from ...simulation.analyses import OperatingPoint
from ...simulation.response import simulate


def law_volts(amp: Amp, at: Position, places: Sequence[str]) -> Mapping[str, tuple[float, float]]:
    """How far volts may lie below and above those of average valves [V]: of each type as much current as its band has.

    Types are changed one at a time, and what they do added up as squares.

    Parameters
    ----------
    amp : Amp
    at : mapping
        Where the controls stand.
    places : sequence of str

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    drawn, squares = _volts(amp, at, places), np.zeros((2, len(places)))
    for name in dict.fromkeys(part.type for _, part in valves_in_use(amp).values()):
        for factor in (1.0 - BANDS[REST], 1.0 + BANDS[REST]):
            changed = _changed(amp, name, factor)
            if changed is not None:
                moved = _volts(changed, at, places) - drawn
                squares += np.square([np.minimum(moved, 0.0), np.maximum(moved, 0.0)])
    below, above = np.sqrt(squares)
    return {place: (float(below[n]), float(above[n])) for n, place in enumerate(places)}


def _changed(amp: Amp, name: str, factor: float) -> Amp | None:
    """The amp whose valves of a type have more or less current; nothing where the law does not say how."""
    try:
        strong = stronger_valve(amp.valve_by_type[name], factor)
    except DescriptionError:
        return None
    return replace(amp, valves=tuple(strong if each.type == name else each for each in amp.valves))


def _volts(amp: Amp, at: Position, places: Sequence[str]) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    found = simulate(amp, OperatingPoint(), [at], nodes=list(places))["voltage"].isel(variant=0, position=0)
    return np.asarray(found.sel(node=list(places)).values, dtype=np.float64)
