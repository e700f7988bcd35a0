"""What to measure next to tell two suspects apart: cold first, resistances with the plug pulled; then voltages."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from ...base.quantities import OHM, with_unit
from ...circuit.amp import Amp
from ...circuit.positions import Position
from ...simulation.unpowered import DeadAmp, dead_amp
from .fault_model import FaultModel
from .faults import SHORT_OHMS, Size, Suspect
from .metered_amp import WHOLE
from .ranking import EFFECT_SHARE, Meter

Array = NDArray[np.float64]
# A meter that is not built for it shows more than this as open [ohm]; parts in circuit are known to about this share.
_OVER_RANGE, _COLD_SHARE = 20e6, 0.07
LEAK = "Some leaks show at working voltage alone: a meter that finds none does not clear a capacitor."
# What separates two suspects: so many standard deviations (own choice).
TELLING_DEVIATIONS = 3.0


@dataclass(frozen=True)
class SizedSuspect:
    """A suspect with the size that fits best."""

    suspect: Suspect
    size: float


class Way(StrEnum):
    """How something is found out: unplugged and discharged, by another valve, or by a voltage."""

    COLD = "cold"
    SWAP = "swap"
    LIVE = "live"


_WHEN = {
    Way.COLD: "Unplugged, discharged, verified: ",
    Way.SWAP: "Unplugged, discharged, cold: ",
    Way.LIVE: "Then, clipped on while unplugged: ",
}


@dataclass(frozen=True)
class NextStep:
    """One thing to do next.

    Attributes
    ----------
    kind
        How it is found out.
    what
        Such as "resistance across R4", "voltage V1A.grid".
    first, second
        What it shows if the first, or the second suspect is right; in words.
    telling
        How far these lie apart, in standard deviations; not a number for a swap.
    """

    kind: Way
    what: str
    first: str
    second: str
    telling: float

    def words(self, names: tuple[str, str]) -> str:
        """In a sentence; `names` are those of the two suspects."""
        how = "" if math.isnan(self.telling) else f" ({min(self.telling, 99.0):.0f} standard deviations apart)"
        return f"{_WHEN[self.kind]}{self.what}: {self.first} if it is {names[0]}, {self.second} if {names[1]}{how}."


def next_steps(
    amp: Amp,
    position: Position,
    model: FaultModel,
    taken: tuple[str, ...],
    readings: Array,
    supply: float,
    meter: Meter,
    pair: tuple[SizedSuspect, SizedSuspect],
) -> tuple[NextStep, ...]:
    """Cold readings that tell two suspects apart, then valves to change over, then the best three voltages.

    Parameters
    ----------
    amp, position
        As read.
    model : FaultModel
        Of the places that were read and of those that may be.
    taken : tuple of str
        Where was read.
    readings : ndarray
        What was read there [V], shape (n,).
    supply : float
        As a factor of the drawing's.
    meter : Meter
    pair
        The first two suspects.
    """
    cold = [step for step in _cold(dead_amp(amp, position), pair) if step.telling >= TELLING_DEVIATIONS]
    live = [step for step in _live(model, taken, readings, supply, meter, pair) if step.telling >= TELLING_DEVIATIONS]
    cold.sort(key=lambda step: -step.telling)
    live.sort(key=lambda step: -step.telling)
    return (*cold[:2], *_swaps(model, pair), *live[:3])


def _cold(dead: DeadAmp, pair: tuple[SizedSuspect, SizedSuspect]) -> Iterator[NextStep]:
    """The resistance across each of the two parts, in circuit."""
    pins = {each.designator: dict(each.pins) for each in dead.wired.elements}
    for each in dict.fromkeys(one.suspect for one in pair):
        if each.kind.part == "valve":
            continue
        ends = ("1", "2")
        if each.kind.part == "transformer":
            ends = (each.pin, "centre" if "centre" in pins[each.part] else "primary_b")
        places = tuple(f"{each.part}.{end}" for end in ends)
        if {pins[each.part][end] for end in ends} & dead.unsure:
            continue
        ohms = [_faulty_amp(dead, one).ohms(*places) for one in pair]
        seen = [min(max(value, WHOLE), 2.0 * _OVER_RANGE) for value in ohms]
        apart = abs(math.log((seen[0] + 1.0) / (seen[1] + 1.0))) / (_COLD_SHARE * math.sqrt(2.0))
        where = f" from {places[0]} to {places[1]}" if each.kind.part == "transformer" else f" across {each.part}"
        yield NextStep(Way.COLD, f"resistance{where}, in circuit", _ohms(ohms[0]), _ohms(ohms[1]), apart)


def _faulty_amp(dead: DeadAmp, one: SizedSuspect) -> DeadAmp:
    """The unplugged amp with a fault; a valve's does not show in resistances."""
    suspect, size = one.suspect, one.size
    pins = {each.designator: dict(each.pins) for each in dead.wired.elements}[suspect.part]
    if suspect.kind.part == "capacitor":
        return replace(dead, paths=(*dead.paths, (suspect.part, (pins["1"], pins["2"], size))))
    if suspect.kind.part == "transformer":
        cut = pins[suspect.pin]
        kept = [(name, way) for name, way in dead.paths if name != suspect.part or cut not in way[:2]]
        return replace(dead, paths=tuple(kept))
    if suspect.kind.part == "resistor":
        factor = suspect.kind.size is Size.FACTOR
        return replace(
            dead,
            paths=tuple(
                (name, (*way[:2], way[2] * size if factor else size) if name == suspect.part else way)
                for name, way in dead.paths
            ),
        )
    return dead


def _ohms(value: float) -> str:
    if value > _OVER_RANGE:
        return "open (over range)"
    if value <= 2.0 * SHORT_OHMS:
        return "about 0 ohm"
    return f"about {with_unit(float(f'{value:.2g}'), OHM)}"


def _swaps(model: FaultModel, pair: tuple[SizedSuspect, SizedSuspect]) -> Iterator[NextStep]:
    valves = [one.suspect.part for one in pair if one.suspect.kind.part == "valve"]
    if not valves or pair[0].suspect.part == pair[1].suspect.part:
        return
    if len(valves) == 2:
        what = f"change {valves[0]} and {valves[1]} over, if they are of one type, or fit a good one for the first"
        yield NextStep(Way.SWAP, what, "the readings follow it", "they follow that one", math.nan)
        return
    stays, goes = "the readings come right with it", "they stay as they are"
    texts = (goes, stays) if pair[1].suspect.part == valves[0] else (stays, goes)
    yield NextStep(Way.SWAP, f"fit a good valve for {valves[0]} and read again", *texts, math.nan)


def _live(
    model: FaultModel, taken: tuple[str, ...], readings: Array, supply: float, meter: Meter,
    pair: tuple[SizedSuspect, SizedSuspect],
) -> Iterator[NextStep]:  # fmt: skip
    """Voltages not read yet: what each suspect foretells, given what was read (conditional normal distribution)."""
    read = [model.names.index(name) for name in taken]
    nets = {frozenset(model.nets[place]) for place in read}
    rest = [place for place, each in enumerate(model.nets) if frozenset(each) not in nets]
    fits = [_fit(model, one, supply) for one in pair]
    slopes = np.concatenate([model.spread, meter.supply * model.per_supply[None]])
    both = slopes.T @ slopes + np.diag((EFFECT_SHARE * np.abs(fits[0] - model.healthy)) ** 2)
    noise = (meter.accuracy * 0.5 * (np.abs(fits[0]) + np.abs(fits[1]))) ** 2 + meter.digit**2
    inner = both[np.ix_(read, read)] + np.diag((meter.accuracy * readings) ** 2 + meter.digit**2)
    gain = np.linalg.solve(inner, both[np.ix_(read, rest)]).T
    told = [fit[rest] + gain @ (readings - fit[read]) for fit in fits]
    variance = np.diag(both)[rest] - np.sum(gain * both[np.ix_(rest, read)], axis=1) + noise[rest]
    for place, first, second, deviation in zip(rest, *told, np.sqrt(np.maximum(variance, 1e-12)), strict=True):
        apart = abs(first - second) / (deviation * math.sqrt(2.0))
        yield NextStep(Way.LIVE, f"voltage {model.names[place]}", _volts(first), _volts(second), float(apart))


def _fit(model: FaultModel, one: SizedSuspect, supply: float) -> Array:
    """Readings of a suspect at its size and at a supply [V], shape (places,)."""
    number = model.suspects.index(one.suspect)
    sizes, readings = np.log(np.maximum(model.sizes[number], 1e-30)), model.readings[number]
    at = math.log(max(one.size, 1e-30))
    own = np.array([np.interp(at, sizes, column) for column in readings.T])
    return np.asarray(supply * own + (model.per_supply - model.healthy) * (supply - 1.0))


def _volts(value: float) -> str:
    return f"about {value:.3g} V" if abs(value) < 999.5 else f"about {value:.0f} V"
