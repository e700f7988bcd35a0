"""Voltages printed on a drawing beside the simulated ones, as plain numbers: a reader of files needs no more."""

from __future__ import annotations

import math

from ..base.errors import EngineError
from ..circuit.amp import Amp
from ..circuit.build import circuit_at
from .analyses import OperatingPoint
from .netlist import build, node_vector
from .ngspice import engine

DRAWN_COLUMNS = ("place", "drawing [V]", "simulated [V]", "difference [%]")


def drawn_volts(amp: Amp) -> list[tuple[str, float, float, float]]:
    """A row per printed voltage, under `DRAWN_COLUMNS`: place, drawing [V], simulated [V], difference [%].

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    places = tuple(place for place, _ in amp.drawn_volts)
    if not places:
        return []
    wired = circuit_at(amp, {})
    (outcome,) = engine.run_distinct([build(amp, {}, OperatingPoint(), places, True)])
    if isinstance(outcome, EngineError):
        raise EngineError(f"{amp.name}, {amp.variant}, as drawn: {outcome}") from outcome
    rows = []
    for place, drawn in amp.drawn_volts:
        name = node_vector(wired, place)
        ours = float(outcome.vectors[name][0]) if name else 0.0
        rows.append((place, drawn, ours, 100.0 * (ours / drawn - 1.0) if drawn else math.nan))
    return rows
