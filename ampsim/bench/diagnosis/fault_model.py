"""What an amp reads at every place: healthy, how far tolerances move it, and with each fault of each part."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...base.errors import DescriptionError, EngineError, nearest, shown
from ...base.progress import Progress
from ...circuit.amp import Amp, Socket
from ...circuit.build import circuit_at
from ...circuit.positions import Position, position_label
from ...simulation.tolerances import BOTTLE_SHARE, Tolerances, bottle, slots
from ...simulation.valve_spreads import deviating, spread_of, spreads
from .faults import Suspect, faulty_state, suspects
from .metered_amp import MeteredAmp, State
from .probes import Probe, drop_probes, probe, standard_probes
from .quick_readings import QuickReadings
from .valve_draws import typical_valve, valve_draws

Array = NDArray[np.float64]
SIZES = 10
_SUPPLY_STEP = 0.03
# A fault is left out when it moves no reading by this share of its value or this many volts.
_UNSEEN, _UNSEEN_VOLTS = 2e-3, 5e-3


@dataclass(frozen=True, eq=False)
class FaultModel:
    """An amp's readings under a meter; n places, q causes of spread.

    Attributes
    ----------
    amp, variant, position
        Labels.
    names
        The readings, as `probes.probe` takes them.
    nets
        The pair of nets that each is read between.
    meter_ohms
        [ohm]
    healthy
        Readings of the amp as drawn, valves typical of their spread [V], shape (n,).
    per_supply
        Change per unit of the supply's factor [V], shape (n,).
    spread
        Change for one standard deviation of each independent cause [V], shape (q, n).
    even
        Whether a cause is spread evenly inside its tolerance (parts) or normally (valves), shape (q,).
    suspects, sizes, readings
        What may be wrong, the sizes it was tried in, and the readings then [V], shape (sizes, n) each.
    unseen
        Faults that none of the places shows.
    drawn
        Volts that the drawing gives: place to [V].
    """

    amp: str
    variant: str
    position: str
    names: tuple[str, ...]
    nets: tuple[tuple[str, str], ...]
    meter_ohms: float
    healthy: Array
    per_supply: Array
    spread: Array
    even: NDArray[np.bool_]
    suspects: tuple[Suspect, ...]
    sizes: tuple[Array, ...]
    readings: tuple[Array, ...]
    unseen: tuple[Suspect, ...]
    drawn: tuple[tuple[str, float], ...]

    def only(self, names: Sequence[str]) -> FaultModel:
        """The model of some of its readings.

        Raises
        ------
        DescriptionError
            For a reading that was not simulated.
        """
        for name in names:
            if name not in self.names:
                raise DescriptionError(f"{shown(name)} is not among the readings simulated{nearest(name, self.names)}")
        keep = [self.names.index(name) for name in names]
        return replace(
            self,
            names=tuple(names),
            nets=tuple(self.nets[place] for place in keep),
            healthy=self.healthy[keep],
            per_supply=self.per_supply[keep],
            spread=self.spread[:, keep],
            readings=tuple(each[:, keep] for each in self.readings),
        )


def fault_model(
    amp: Amp,
    names: Iterable[str] = (),
    position: Position = {},  # noqa: B006
    meter_ohms: float = 10e6,
    tolerances: Tolerances | None = None,
    progress: Progress | None = None,
    drops: bool = True,
) -> FaultModel:
    """Simulate the amp healthy, with every part and valve a standard deviation off, and with every single fault.

    Parameters
    ----------
    amp : Amp
    names : iterable of str
        Readings besides the usual ones; see `probes.probe`.
    position : mapping
        Where the controls stand while reading.
    meter_ohms : float
        Input resistance of the meter [ohm]; it loads every place it is held to.
    tolerances : Tolerances
        Of the parts and valves of a healthy amp.
    progress : callable
        Called with (done, total), for each lot of simulations anew.
    drops : bool
        Also the drops across resistors, which `next_steps` may ask for.

    Raises
    ------
    DescriptionError
        For places, controls or positions that are not there; for an amp of which no fault shows at any place.
    EngineError
        When the healthy amp gives no trustworthy answer.
    """
    wired = circuit_at(amp, position)
    usual = (*standard_probes(wired), *(drop_probes(wired) if drops else ()))
    bench = MeteredAmp(
        amp, position, _distinct([probe(wired, name) for name in (*names, *usual)], tuple(names)), meter_ohms
    )
    survey = _Survey(bench, tolerances or Tolerances(), progress)
    healthy, per_supply = survey.healthy()
    spread, even = survey.spread()
    tried, unseen = survey.faults(healthy)
    if not tried:
        raise DescriptionError(f"{amp.name}: no fault of any part shows in these voltages")
    return FaultModel(
        amp.name,
        amp.variant,
        position_label(dict(position)),
        tuple(each.name for each in bench.probes),
        tuple((each.first, each.second) for each in bench.probes),
        meter_ohms,
        healthy,
        per_supply,
        spread,
        even,
        tuple(each for each, _, _ in tried),
        tuple(sizes for _, sizes, _ in tried),
        tuple(found for _, _, found in tried),
        unseen,
        amp.drawn_volts,
    )


def _distinct(probes: Sequence[Probe], asked: tuple[str, ...]) -> tuple[Probe, ...]:
    """Those asked for, and of the others one to each pair of nets."""
    found: dict[object, Probe] = {}
    seen: set[frozenset[str]] = set()
    for each in probes:
        nets = frozenset((each.first, each.second))
        if each.name in asked or nets not in seen:
            found.setdefault(each.name, each)
            seen.add(nets)
    return tuple(found.values())


_Tried = tuple[Suspect, Array, Array]
"""A fault, its sizes, and the readings at each [V]."""


def _in_order(one: _Tried, other: _Tried) -> _Tried:
    """Some sizes of a fault and others, from low to high."""
    sizes = np.concatenate([one[1], other[1]])
    order = np.argsort(sizes)
    return one[0], sizes[order], np.concatenate([one[2], other[2]])[order]


class _Survey:
    """All simulations of one amp."""

    def __init__(self, bench: MeteredAmp, tolerances: Tolerances, progress: Progress | None) -> None:
        self._bench, self._tolerances, self._progress = bench, tolerances, progress
        self._quick = QuickReadings(bench)
        wired = bench.wired
        inside = {each.designator for each in wired.elements}
        sockets = {name: part for name, part in wired.parts.items() if isinstance(part, Socket) and name in inside}
        self._types = {name: wired.amp.valve_by_type[part.type] for name, part in sockets.items()}
        self._typical = {name: typical_valve(valve) for name, valve in self._types.items()}
        self._own = tuple((name, valve) for name, valve in self._typical.items() if valve is not self._types[name])

    def _read(self, states: Sequence[State]) -> Array:
        typical = State(sockets=self._own)
        return self._quick.read([typical.with_fault(state) for state in states], self._progress)

    def healthy(self) -> tuple[Array, Array]:
        """The readings as drawn, and their change with the supply."""
        as_drawn = State(sockets=self._own)
        states = [as_drawn.with_fault(State(supply=1.0 + step)) for step in (0.0, -_SUPPLY_STEP, _SUPPLY_STEP)]
        found = self._bench.read(states)
        if not np.isfinite(found).all():
            raise EngineError(
                f"{self._bench.amp.name}: ngspice finds no trustworthy operating point of the amp at rest"
            )
        return found[0], (found[2] - found[1]) / (2.0 * _SUPPLY_STEP)

    def spread(self) -> tuple[Array, NDArray[np.bool_]]:
        """The change for one standard deviation of every independent cause."""
        pairs: list[tuple[str, str, State, State]] = [*self._part_steps(), *self._valve_steps()]
        found = self._read([state for *_, low, high in pairs for state in (low, high)])
        halves = 0.5 * (found[1::2] - found[::2])
        rows, even, shared = [], [], {}  # type: ignore[var-annotated]
        for (name, quality, _, _), change in zip(pairs, halves, strict=True):
            rows.append(change if not quality else math.sqrt(1.0 - BOTTLE_SHARE) * change)
            even.append(not quality)
            if quality:
                shared.setdefault((bottle(name), quality), []).append(math.sqrt(BOTTLE_SHARE) * change)
        rows += [np.sum(changes, axis=0) for changes in shared.values()]
        even += [False] * len(shared)
        kept = np.array(rows).reshape(len(rows), len(self._bench.probes))
        good = np.isfinite(kept).all(axis=1)
        return kept[good], np.array(even, dtype=bool)[good]

    def _part_steps(self) -> list[tuple[str, str, State, State]]:
        """A standard deviation, a tolerance over the root of three, below and above, of what direct current sees."""
        by_part: dict[str, list[str]] = {}
        for name, part in slots(self._bench.wired).items():
            by_part.setdefault(part, []).append(name)
        found = []
        for part, names in by_part.items():
            known = self._bench.wired.parts[part]
            if known.kind in ("resistor", "pot"):
                step = self._tolerances.of(known) / math.sqrt(3.0)  # type: ignore[arg-type]
                low, high = (State(factors=tuple((name, 1.0 + way * step) for name in names)) for way in (-1, 1))
                found.append((part, "", low, high))
        return found

    def _valve_steps(self) -> list[tuple[str, str, State, State]]:
        found = []
        for name, valve in self._types.items():
            if spreads(valve) and self._tolerances.valves:
                for quality, draws in valve_draws(spread_of(valve), self._tolerances.valves).items():
                    low, high = (State(sockets=((name, deviating(valve, draw)),)) for draw in draws)
                    found.append((name, quality, low, high))
        return found

    def faults(self, healthy: Array) -> tuple[list[_Tried], tuple[Suspect, ...]]:
        """Every fault's sizes and readings; and those that show nowhere."""
        volts = self._grid_volts()
        may = list(suspects(self._bench.wired))
        ends = self._try_out([(each, each.kind.sizes(2)) for each in may], volts)
        limit = _UNSEEN * np.abs(healthy) + _UNSEEN_VOLTS
        seen = [bool((np.abs(found - healthy) > limit).any()) for _, _, found in ends]
        shown = [each for each, shows in zip(ends, seen, strict=True) if shows]
        between = self._try_out([(each, each.kind.sizes(SIZES)[1:-1]) for each, _, _ in shown], volts)
        return (
            [_in_order(*both) for both in zip(shown, between, strict=True)],
            tuple(each for each, shows in zip(may, seen, strict=True) if not shows),
        )

    def _try_out(self, tried: Sequence[tuple[Suspect, Sequence[float]]], volts: dict[str, float]) -> list[_Tried]:
        """Faults at some of their sizes, without those at which nothing is known."""
        states = [faulty_state(each, size, self._typical, volts) for each, own in tried for size in own]
        if not states:
            return [(each, np.zeros(0), np.zeros((0, len(self._bench.probes)))) for each, _ in tried]
        found = np.split(self._read(states), np.cumsum([len(own) for _, own in tried])[:-1])
        rows = []
        for (each, own), readings in zip(tried, found, strict=True):
            good = np.isfinite(readings).all(axis=1)
            rows.append((each, np.array(own)[good], readings[good]))
        return rows

    def _grid_volts(self) -> dict[str, float]:
        """Plate against grid of every valve [V]."""
        nets = {each.designator: dict(each.pins) for each in self._bench.wired.elements if each.kind == "valve"}
        probes = tuple(Probe(name, pins["plate"], pins["grid"]) for name, pins in nets.items())
        (found,) = MeteredAmp(self._bench.amp, self._bench.position, probes).unloaded([State(sockets=self._own)])
        return {each.name: float(volts) for each, volts in zip(probes, found, strict=True)}
