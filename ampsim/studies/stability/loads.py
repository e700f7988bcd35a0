"""The feedback loop on other loads, and what rings after a knock at the input."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import lru_cache

import xarray as xr

from ...base.errors import DescriptionError
from ...circuit.amp import Amp, AnyPart, Part
from ...circuit.build import build_circuit
from ...circuit.every_part import with_every_part
from ...circuit.loudspeaker import Loudspeaker
from ...circuit.positions import Position
from ...simulation.analyses import LoopSweep, Transient
from ...simulation.loop_gain import loop_gain
from ...simulation.response import simulate
from ...simulation.stimuli import Waveform
from .loop_sweeps import CLOSE, on_one_sweep

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


def loop_on_loads(
    amp: Amp,
    positions: Iterable[Position] = ({},),
    at: str | None = None,
    loads: Sequence[float] = LOADS,
    sweep: LoopSweep = CLOSE,
) -> xr.Dataset:
    """Loop gain on several loads: as `loop_gain`, with one more dimension `load` [times the impedance drawn].

    Parameters
    ----------
    amp, positions, at, sweep
        As those of `loop_gain`.
    loads : sequence of float
        Multiples of the impedance drawn [ratio].

    Raises
    ------
    DescriptionError
        As `with_load` and `loop_gain`.
    """
    settings = [dict(position) for position in positions]
    amps = [with_load(amp, load) for load in loads]
    found = on_one_sweep(len(amps), lambda n, each: loop_gain(amps[n], at, settings, each), sweep)
    response = xr.concat(found, "load", combine_attrs="override")
    return response.assign_coords(load=("load", list(loads), {"units": "times the impedance drawn"}))


def loop_knock(
    amps: Amp | Sequence[Amp],
    hertz: float,
    positions: Iterable[Position] = ({},),
    level: float = 1e-3,
    periods: int = 25,
    node: str = "speaker",
) -> xr.Dataset:
    """A knock at the input and what rings after it: half a sine of `level` [V], then silence.

    Parameters
    ----------
    amps : Amp or sequence of Amp
    hertz : float
        Frequency the loop is expected to ring at [Hz], such as `Margins.closest_at`.
    positions : iterable of mapping
        As in `simulate`.
    level : float
        Small, so that the amp stays linear [V].
    periods : int
        How long to listen, in periods of `hertz`.
    node : str
        Where to listen.

    Returns
    -------
    xarray.Dataset
        `voltage` [V] of `simulate`, 100 samples to a period; the knock is over after half a period.
    """
    half, whole = 50, 100 * periods
    pulse = [level * math.sin(math.pi * n / half) for n in range(half)]
    stimulus = Waveform(tuple(pulse + [0.0] * (whole - half + 1)), 100.0 * hertz)
    step = min(1.0 / (100.0 * hertz), 1e-3)
    return simulate(amps, Transient(stimulus, step), positions, [node], currents=False)
