"""What a meter shows in an amp with many things wrong in turn, worked out here; ngspice checks a sample."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ...base.errors import DescriptionError, EngineError
from ...base.progress import Progress
from ...circuit.amp import Socket
from ...simulation.rest_points import Change, RestPoints
from ...simulation.timestep.branches import parts_of
from .metered_amp import MeteredAmp, State, meter_name

Array = NDArray[np.float64]
# Where the meter takes more than this share of the volts, the amp is solved anew with it there: less in a state that
# reads other than drawn by a share and some volts, which may bend sooner.
_SOFT, _SOFT_FAR = 0.05, 0.002
_FAR, _TINY = 0.2, 0.02
# Every so many states ngspice is asked too; so far the two may differ (share of the volts, and volts).
_SAMPLE = 40
_SHARE, _VOLTS = 0.02, 0.02


class QuickReadings:
    """What an amp's meter shows with many things wrong, one after the other."""

    def __init__(self, bench: MeteredAmp) -> None:
        self._bench = bench

    def read(self, states: Sequence[State], progress: Progress | None = None) -> Array:
        """As `MeteredAmp.read_nearly` [V]: what can be worked out here is not asked of ngspice, but for a sample.

        Where the two differ by more than 2 % and 20 mV in the sample, everything is ngspice's.
        """
        found = self._worked_out(states)
        left = np.flatnonzero(np.isnan(found).any(axis=1)).tolist()
        if left:
            found[left] = self._bench.read_nearly([states[row] for row in left], progress)
        return found

    @cached_property
    def points(self) -> RestPoints | None:
        """The amp's operating points; None where what is in it is ngspice's alone."""
        bench = self._bench
        try:
            meters = [meter_name(number) for number in range(len(bench.probes))]
            return RestPoints(parts_of(bench.circuit(), bench.amp.setting(bench.position)), meters)
        except (DescriptionError, EngineError):
            return None

    def _worked_out(self, states: Sequence[State]) -> Array:
        """What the meter shows [V], shape (states, probes); NaN where it is not known."""
        found = np.full((len(states), len(self._bench.probes)), np.nan)
        able = [row for row, state in enumerate(states) if _able(self._bench, state)]
        points, meter = self.points, self._bench.meter_ohms
        if points is None:
            return found
        own = [change_of(points, states[row]) for row in able]
        bare = points.solve(own)
        share = meter / (meter + np.maximum(bare.ohms, 0.0))
        told = self._bench.unloaded([states[row] for row in able[::_SAMPLE]])
        apart = np.abs(told - bare.volts[::_SAMPLE]) * share[::_SAMPLE]
        if (apart > _SHARE * np.abs(told) + _VOLTS).any():
            return found
        (drawn,) = points.solve([Change()]).volts
        moved = np.abs(bare.volts - drawn) > _FAR * np.abs(drawn) + _TINY
        soft = np.argwhere(share < 1.0 - np.where(moved, _SOFT_FAR, _SOFT)).tolist()
        loaded = [Change({**own[row].ohms, meter_name(place): meter}, own[row].sockets) for row, place in soft]
        read, rows = bare.volts * share, np.array(soft, dtype=int).reshape(-1, 2)
        # The meter moves an amp little from where it rests without.
        read[rows[:, 0], rows[:, 1]] = points.volts_at(loaded, rows[:, 1].tolist(), bare.laws[rows[:, 0]])
        found[able] = read
        return found


def _able(bench: MeteredAmp, state: State) -> bool:
    """Whether a state differs from the amp as drawn in resistances, and in valves of the same laws, alone."""
    parts, types = bench.wired.parts, bench.amp.valve_by_type
    drawn = {name: types[part.type].law for name, part in parts.items() if isinstance(part, Socket)}
    return state.supply == 1.0 and all(drawn.get(name) == valve.law for name, valve in state.sockets)


def change_of(points: RestPoints, state: State) -> Change:
    """A state as a change of resistances and valves."""
    ohms = {name: drawn * factor for name, factor in state.factors if (drawn := points.drawn(name)) is not None}
    return Change({**ohms, **dict(state.values)}, {name.lower(): valve for name, valve in state.sockets})
