"""The supply of an amp at rest over a period of the mains: ripple, and what rectifiers and transformer carry."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..circuit.amp import Amp
from ..circuit.build import Circuit
from ..circuit.positions import Position
from ..circuit.semiconductors.thermistors import ohms_at
from ..circuit.stages.template import GROUND
from ..circuit.supply.averaged import (
    doubled,
    filter_of,
    half_filter,
    mains_of,
    mean_numbers,
    mean_thermistor,
    rail_names,
    supplied,
    upon,
)
from ..circuit.supply.inrush import rms_amps, thermistor_of, warmed
from ..circuit.supply.mean_law import mean_current
from ..circuit.supply.paths import Rectified, Way
from ..circuit.supply.steady import Filter, Period, Supply, different_ways
from .analyses import OperatingPoint
from .netlist import node_vector, rail_vector, write
from .ngspice.engine import Arrays
from .request import Case, answers

Array = NDArray[np.float64]


@dataclass(frozen=True)
class RectifierDuty:
    """What the rectifiers of one way carry.

    `mean_amps`, `rms_amps`, `peak_amps` [A] and `reverse_volts` [V] across each of them; `surge_amps` [A] at most when
    they are hot and meet an empty reservoir (at the mains' peak, held by resistance alone; NaN behind a choke).
    `source_ohms` [ohm] of all resistance in the way, and the `volts` [V rms] that drive it.
    """

    way: Way
    mean_amps: float
    rms_amps: float
    peak_amps: float
    reverse_volts: float
    surge_amps: float

    @property
    def source_ohms(self) -> float:
        """All resistance in the way [ohm], the rectifier's own not included."""
        return self.way.ohms

    @property
    def volts(self) -> float:
        """What drives the way without load [V rms]."""
        return float(abs(self.way.peak) / np.sqrt(2.0))


@dataclass(frozen=True, eq=False)
class SupplyAtRest:
    """One rectified supply of an amp at rest.

    Attributes
    ----------
    rail : str
        The rail that it feeds first.
    source : Rectified
    period : Period
        With one load, that of the amp at rest.
    drawn : float
        Its mean current [A].
    reservoir : float
        Capacitance [F] where the rectified current comes in; 0.0 behind a choke.
    net_by_rail : mapping
        Every rail behind it to its net in `period`; a reservoir without a rail goes by a place there.
    duties : tuple of RectifierDuty
        One for each different way.
    thermistor : str
        The thermistor that all its current passes; "" without one.
    reservoirs : tuple of str
        The capacitors that `reservoir` is of.
    """

    rail: str
    source: Rectified
    period: Period
    drawn: float
    reservoir: float
    net_by_rail: Mapping[str, str]
    duties: tuple[RectifierDuty, ...]
    thermistor: str = ""
    reservoirs: tuple[str, ...] = ()

    @property
    def rms_amps(self) -> float:
        """What flows in all ways together [A rms]."""
        return rms_amps(self.period)

    @property
    def ways(self) -> tuple[tuple[Way, RectifierDuty], ...]:
        """Every way with its duty; ways that mirror one another have one of them."""
        last = len(self.duties) - 1
        return tuple((way, self.duties[min(number, last)]) for number, way in enumerate(self.source.ways))

    @property
    def reservoir_amps(self) -> float:
        """What flows in and out of the reservoir [A rms]; 0.0 behind a choke."""
        volts = self.period.volts[self.source.net][:, 0]
        steps = len(volts) - 1
        return float(self.reservoir * np.std(np.diff(volts)) * steps / self.period.seconds)

    def lost_by(self, other: SupplyAtRest) -> float:
        """What its peak current takes from another supply of its transformer at most [V], in the primary alone."""
        line = max((way.line_ohms for way in self.source.ways), default=0.0)
        peak = max(duty.peak_amps for duty in self.duties)
        return line * peak * abs(other.source.ways[0].peak / self.source.ways[0].peak)

    def volts(self, rail: str) -> float:
        """The mean volts [V] of a rail behind it."""
        return float(self.period.mean(self.net_by_rail[rail])[0])

    def swing(self, rail: str) -> float:
        """The ripple of a rail from peak to peak [V]."""
        return float(self.period.swing(self.net_by_rail[rail])[0])

    def ripple(self, rail: str) -> float:
        """The ripple of a rail [V rms]."""
        return float(self.period.ripple(self.net_by_rail[rail])[0])


def supplies_at_rest(amp: Amp, position: Position | None = None) -> tuple[SupplyAtRest, ...]:
    """Every rectified supply of an amp at rest; none for an amp whose rails are given.

    Parameters
    ----------
    amp : Amp
    position : mapping
        As in `simulate`; default as drawn.

    Raises
    ------
    DescriptionError
        For unknown controls or positions, or a mains side that cannot be worked out.
    EngineError
        When there is no operating point, or no steady state.

    Notes
    -----
    The mean currents come from the operating point, where mean rectifiers stand for the rectifiers; the period is that
    of the rectifiers themselves with their filter under these currents.
    """
    case = Case(amp, position or {})
    wired = case.wired
    if not mains_of(wired).rectified:
        return ()
    filters = [filter_of(wired, each, upper=doubled(wired, each)[1:]) for each in mains_of(wired).rectified]
    nets = {net for given in filters for net in given.nets} & set(wired.places_by_net)
    places = {net: wired.places_by_net[net][0] for net in nets}
    netlist = write(supplied(wired), case.setting, OperatingPoint(), tuple(places.values()), currents=True)
    rest = answers([case], [netlist])[0]
    volts = {net: float(rest.vectors[node_vector(wired, place)][0]) for net, place in places.items()}
    return tuple(
        _at_rest(wired, source, rail, volts, rest)
        for source, rail in zip(mains_of(wired).rectified, rail_names(wired), strict=True)
        if source.start == GROUND
    )


def _at_rest(wired: Circuit, source: Rectified, rail: str, volts: Mapping[str, float], rest: Arrays) -> SupplyAtRest:
    drawn = source.sign * -float(rest.vectors[rail_vector(rail)][0])
    lower, *upper = doubled(wired, source)
    given = filter_of(wired, lower, drawn, tuple(upper))
    source = _joined(lower, upper)
    supply = Supply(given, source)
    loads = _loads(supply.nets, source, given, volts, drawn)
    for each in upper:
        # What flows through the upper half is drawn from the lower one's net.
        amps = _upper_amps(wired, each, each.sign * (volts[each.start] - volts[each.smooth]))
        loads[each.start] -= amps
        loads[each.smooth] += amps
    warm, period = warmed(source, given, np.array([loads[net] for net in supply.nets])[:, None], wired.amp.file)
    rails = {each.name: wired.net(each.name) for each in wired.amp.rails if wired.net(each.name) in supply.nets}
    rails = (
        rails
        if upper or source.smooth in rails.values()
        else {wired.places_by_net[source.smooth][0]: source.smooth} | rails
    )
    farads = sum(value for net, _, value in given.capacitors if net == source.net)
    return SupplyAtRest(rail, warm, period, drawn, farads, rails, _duties(source, warm, period),
                        _thermistor(wired, lower), _reservoirs_at(wired, source.net))  # fmt: skip


def _loads(
    nets: list[str], source: Rectified, given: Filter, volts: Mapping[str, float], drawn: float
) -> dict[str, float]:
    """The current [A] out of each net, from the volts across the filter's resistors (Kirchhoff's current law)."""
    found = dict.fromkeys(nets, 0.0)
    found[source.net] = drawn
    coils = {second: first for first, second, _ in given.coils}
    for first, second, ohms in given.resistors:
        # A coil's resistance begins at a net of its own, which at rest is at the volts of the coil's other end.
        near = coils.get(first, first)
        amps = source.sign * (volts.get(near, volts[second]) - volts[second]) / ohms
        found[near] -= amps
        found[second] += amps
    if source.net != source.smooth and abs(found[source.net]) > 0.0:
        # Nothing but the choke takes current where there is no reservoir.
        found[source.smooth] += found[source.net]
        found[source.net] = 0.0
    return found


def _reservoirs_at(wired: Circuit, net: str) -> tuple[str, ...]:
    capacitors = (each for each in wired.elements if each.kind == "capacitor")
    return tuple(each.designator for each in capacitors if {on for _, on in each.pins} == {net, GROUND})


def _upper_amps(wired: Circuit, source: Rectified, below: float) -> float:
    """The mean current [A] of an upper half whose two nets are `below` zero [V] apart, its thermistor included."""
    given, warming = half_filter(wired, source), thermistor_of(source, wired.amp.file)
    law = dict(upon(mean_numbers(source, given), source.peak))
    device = mean_thermistor(wired, source, given, warming) if warming else None
    from scipy.optimize import brentq

    def too_much(amps: float) -> float:
        lost = ohms_at(device, amps) * amps if device else 0.0
        return float(mean_current(law, np.array(below - lost))[0]) - amps

    most = float(mean_current(law, np.array(below))[0])
    return float(brentq(too_much, 0.0, most)) if device and most > 0.0 else most


def _joined(lower: Rectified, upper: Sequence[Rectified]) -> Rectified:
    """A source and those that stand on it as one, each way with its own two nets."""
    if not upper:
        return lower
    ways = (replace(way, start=each.start, net=each.net) for each in (lower, *upper) for way in each.ways)
    return replace(lower, ways=tuple(ways))


def _thermistor(wired: Circuit, source: Rectified) -> str:
    found = thermistor_of(source, wired.amp.file)
    return found[0] if found else ""


def _duties(cold: Rectified, source: Rectified, period: Period) -> tuple[RectifierDuty, ...]:
    found = []
    for number, (way, _) in enumerate(different_ways(source)[0]):
        mean, rms, peak = (float(each[0]) for each in period.way_amps(number))
        low = period.volts.get(way.start, 0.0)
        top = float(np.abs(period.volts[way.net or source.net] - low).max())
        reverse = (top + abs(way.peak)) / len(way.types)
        amps, colder = np.geomspace(1e-9, 1e4, 3000), different_ways(cold)[0][number][0].cold_ohms - way.ohms
        surge = float(np.interp(abs(way.peak), way.drop(amps) + colder * amps, amps))
        found.append(RectifierDuty(way, mean, rms, peak, reverse, surge if source.net == source.smooth else np.nan))
    return tuple(found)
