"""What parts and valves carry, from volts and amperes over time: pure arithmetic, nothing simulates here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
_NOWHERE = np.float64(np.nan)


@dataclass(frozen=True, eq=False)
class ValveLoad:
    """What one valve carries, arrays of one shape; screen readings are NaN for a triode.

    Dissipation [W] is the voltage against the cathode times the current (definition); volts [V] are against the
    cathode; the cathode current [A] is the sum of what flows into all other electrodes.
    """

    plate_watts: Array
    screen_watts: Array
    plate_volts: Array
    screen_volts: Array
    grid_volts: Array
    cathode_amps: Array


def valve_load(volts: Mapping[str, ArrayLike], amps: Mapping[str, ArrayLike]) -> ValveLoad:
    """What a valve carries.

    Parameters
    ----------
    volts : mapping
        Plate, grid, screen and cathode to volts against ground [V]; what is missing counts as unknown.
    amps : mapping
        Plate, screen and grid to the current into them [A].
    """
    plate, grid, screen = (_read(volts, pin) - _read(volts, "cathode") for pin in ("plate", "grid", "screen"))
    inward = [_read(amps, pin) for pin in ("plate", "screen", "grid")]
    cathode = np.sum([np.nan_to_num(current) for current in np.broadcast_arrays(*inward)], axis=0)
    return ValveLoad(plate * inward[0], screen * inward[1], plate, screen, grid, cathode)


def _read(readings: Mapping[str, ArrayLike], pin: str) -> Array:
    return np.asarray(readings.get(pin, _NOWHERE), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Span:
    """Instants [s] of a run, shape (points,), unevenly spaced, and the start [s] of the part means are taken over.

    A single instant stands for a state of rest.
    """

    time: Array
    start: float = 0.0

    def mean(self, values: Array) -> float:
        """Mean of values ([V], [A] or [W]), shape (points,), from `start` to the end, by the trapezoid rule.

        A simulator's instants crowd where things move fast, so their plain mean would weigh those too heavily.
        """
        if self.time.size == 1:
            return float(values[0])
        first, weights = self._tail
        begin = np.interp(self.start, self.time, values)
        # Not by a product of vectors: the libraries behind it wake other threads, which takes longer than the sum.
        return float(weights[0] * begin + (weights[1:] * values[first:]).sum())

    @cached_property
    def _tail(self) -> tuple[int, Array]:
        """The first instant after the start, and what the start and each from there on count by the trapezoid rule."""
        first = int(np.searchsorted(self.time, self.start, side="right"))
        time = np.concatenate(([self.start], self.time[first:]))
        between = np.diff(time) / (time[-1] - time[0])
        return first, 0.5 * (np.concatenate(([0.0], between)) + np.concatenate((between, [0.0])))


def two_pin_watts(volts: Array, ohms: float) -> Array:
    """Power [W] in a resistance [ohm]: volts squared over ohms (Joule's law)."""
    return volts * volts / ohms


def track_watts(volts: Array, ohms: float, track: float) -> Array:
    """Watts a whole track of `track` [ohm] must stand when its part of `ohms` [ohm] has these volts across it.

    A track is rated as a whole, so any part of it may carry no more current than the whole at its rating:
    I**2 times the whole track (follows from Joule's law with the heat spread along the track).
    """
    return (volts / ohms) ** 2 * track
