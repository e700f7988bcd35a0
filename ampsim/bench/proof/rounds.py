"""Voltages read in several rounds: of each place, at what the amp stood at, the latest reading counts."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ...base.errors import DescriptionError, nearest, shown
from ...circuit.amp import Amp
from ...circuit.build import circuit_at
from ...circuit.plugging import plug_in
from ...circuit.positions import Position
from ...circuit.source import DRAWN_SOURCE, Source
from ...simulation.analyses import OperatingPoint
from ...simulation.response import simulate
from .limits import METER_SHARE, METER_VOLTS

_MOST_READINGS = 200


@dataclass(frozen=True, eq=False)
class Round:
    """Voltages read in one go.

    `volts` is place to volts against ground [V]; `mains`, `mains_drawn` [V] and `meter` [ohm] are None where nobody
    wrote them down. `position` is where the controls stood, `source` what was plugged in.
    """

    volts: Mapping[str, float] = field(default_factory=dict)
    position: Position = field(default_factory=dict)
    mains: float | None = None
    mains_drawn: float | None = None
    meter: float | None = None
    source: Source = DRAWN_SOURCE
    name: str = ""
    date: datetime.date = datetime.date.min

    def on(self, amp: Amp) -> Amp:
        """The amp with what was plugged in."""
        return plug_in(amp, self.source)


def checked_round(amp: Amp, given: Round) -> Round:
    """The round with its readings as plain numbers.

    Raises
    ------
    DescriptionError
        For places that are not there, readings that are no numbers, and too many of them.
    """
    if len(given.volts) > _MOST_READINGS:
        raise DescriptionError(f"{len(given.volts)} readings are too many; at most {_MOST_READINGS}")
    known = circuit_at(given.on(amp), given.position).net_by_place
    for place, value in given.volts.items():
        if place not in known:
            raise DescriptionError(f"{amp.name}: {shown(place)} is not a place{nearest(place, known)}")
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) <= 5000.0:
            raise DescriptionError(f"{place}: {shown(value)} is no reading in volts, from -5000 to 5000")
    return Round(**{**vars(given), "volts": {place: float(value) for place, value in given.volts.items()}})


def latest_readings(amp: Amp, rounds: Sequence[Round]) -> list[dict[str, float]]:
    """Of each round the readings [V] that no later round replaces; rounds of one day follow one another as given.

    A later reading replaces an earlier one at the same place where a meter would not tell the healthy amp's volts
    apart: a control that moves nothing at a place makes no other position of it.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    order = sorted(range(len(rounds)), key=lambda number: rounds[number].date)
    kept = [dict(each.volts) for each in rounds]
    healthy = [_healthy_volts(amp, each) for each in rounds] if len(rounds) > 1 else []
    for later, number in enumerate(order):
        for earlier in order[:later]:
            for place in set(kept[earlier]) & set(rounds[number].volts):
                if _alike(healthy[earlier][place], healthy[number][place]):
                    del kept[earlier][place]
    return kept


def _healthy_volts(amp: Amp, given: Round) -> dict[str, float]:
    places = list(given.volts)
    if not places:
        return {}
    found = simulate(given.on(amp), OperatingPoint(), [given.position], nodes=places)["voltage"]
    volts: NDArray[np.float64] = found.isel(variant=0, position=0).values
    return dict(zip(places, volts.tolist(), strict=True))


def _alike(one: float, other: float) -> bool:
    return abs(one - other) <= METER_SHARE * max(abs(one), abs(other)) + METER_VOLTS
