"""Voltages printed on a drawing beside the simulated ones, as plain numbers: a reader of files needs no more."""

from __future__ import annotations

import math

from ..base.errors import EngineError
from ..circuit.amp import Amp
from ..circuit.build import circuit_at
from ..circuit.semiconductors.description import PINS
from ..circuit.stages.template import GROUND
from ..circuit.supply.averaged import supplied
from .analyses import OperatingPoint
from .netlist import build, node_vector
from .ngspice import engine

DRAWN_COLUMNS = ("place", "drawing [V]", "simulated [V]", "difference [%]")
VoltsRow = tuple[str, float, float, float]


def drawn_volts(amp: Amp) -> list[VoltsRow]:
    """A row per printed voltage, under `DRAWN_COLUMNS`: place, drawing [V], simulated [V], difference [%].

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    places = tuple(place for place, _ in amp.drawn_volts)
    return _rows(amp, places) if places else []


def volts_at_rest(amp: Amp) -> list[VoltsRow]:
    """Rows like those of `drawn_volts`: every rail and pin of a valve or semiconductor, then what else is printed.

    NaN where nothing is printed. What only alternates, such as a winding's end, has no row of its own.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    wired = circuit_at(amp, {})
    steady = {GROUND, *(net for each in supplied(wired).elements for _, net in each.pins)}
    places = [rail.name for rail in amp.rails] + [
        f"{each.designator}.{pin}"
        for each in wired.elements
        if each.kind in ("valve", *PINS)
        for pin, net in each.pins
        if net in steady
    ]
    return _rows(amp, tuple(dict.fromkeys([*places, *(place for place, _ in amp.drawn_volts)])))


def _rows(amp: Amp, places: tuple[str, ...]) -> list[VoltsRow]:
    wired, printed = circuit_at(amp, {}), dict(amp.drawn_volts)
    heard = places or ("speaker",)
    (outcome,) = engine.run_distinct([build(amp, {}, OperatingPoint(), heard, True)])
    if isinstance(outcome, EngineError):
        raise EngineError(f"{amp.name}, {amp.variant}, as drawn: {outcome}") from outcome
    rows = []
    for place in places:
        name = node_vector(wired, place)
        ours, drawn = float(outcome.vectors[name][0]) if name else 0.0, printed.get(place, math.nan)
        rows.append((place, drawn, ours, 100.0 * (ours / drawn - 1.0) if drawn else math.nan))
    return rows
