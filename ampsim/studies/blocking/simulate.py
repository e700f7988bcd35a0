"""A hard burst between small tones: how far bias is pushed, and how long an amp takes to come back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import xarray as xr

from ...base.progress import Progress
from ...circuit.amp import Amp
from ...circuit.build import SPEAKER, build_circuit
from ...circuit.positions import Position
from ...circuit.signal_path import ValveStage, valve_stages
from ...simulation.agreement import AGREEMENT
from ...simulation.analyses import Transient
from ...simulation.facts import STAGES, put
from ...simulation.in_time import InTime
from ...simulation.response import simulate
from ...simulation.stimuli import Burst
from ...simulation.timestep.pace import Pace
from ..hard_tone import HARD_TONE

BURST = Burst(frequency=400.0, level=1.0, start=0.04, stop=0.1, duration=0.3, around=1e-4)
"""60 ms of 1 V peak, a hard stroke on a strong pickup (common practice, no source), in 0.1 mV, a note dying away."""

_PER_CYCLE = 50
_TOLERANCE = 1e-3
# Steps [s] of the solver: in the burst and after it [s], and in the small tone. Of 5 amps, against steps of 1.25 us:
# shifts of bias within 0.13 %, their way back within 0.03 ms, the tone within 0.05 dB; where the steps become longer
# sooner after the burst, what is left of one amp's tone is 1 dB off.
_FINE, _AFTER, _STEP = 5e-6, 20e-3, 2.5e-5
# What the last correction of a sample may be: a thousand times as much shook the tone at one stage by a decibel for as
# long as it was listened to, so that it took 189 ms to come back instead of 29.
_RESIDUE = 1e-6
# So much of a burst is checked in half the steps [s]: half of that in the burst, nearly as much after it.
_CHECKED = 0.03


def blocking(
    amps: Amp | Sequence[Amp],
    positions: Iterable[Position] = ({},),
    burst: Burst = BURST,
    progress: Progress | None = None,
    checks: int = 1,
) -> xr.Dataset:
    """Play a small tone, a hard burst and the small tone again.

    What the small tone loses after the burst is what a soft note loses after a hard stroke.

    Parameters
    ----------
    amps : Amp or sequence of Amp
    positions : iterable of mapping
        As in `simulate`.
    burst : Burst
        Volts of the generator; `around` small enough that no stage clips.
    progress : callable
        Called with (done, total).
    checks : int
        How many runs are checked.

    Returns
    -------
    xarray.Dataset
        `voltage` [V], dims (variant, position, node, time), fifty samples to a cycle: grid and cathode of every
        valve, the outputs of the valve stages, the speaker. ``attrs["stages"]``: JSON, to each variant its valve
        stages (those whose places every variant has).

    Raises
    ------
    DescriptionError
        For unknown controls or positions.
    EngineError
        When ngspice gives no trustworthy answer at one of the positions.
    """
    variants = [amps] if isinstance(amps, Amp) else list(amps)
    stages = {amp.variant: _stages(amp, variants) for amp in variants}
    places = [place for found in stages.values() for stage in found for place in _places(stage)]
    run = Transient(burst, 1.0 / (_PER_CYCLE * burst.frequency), _TOLERANCE)
    solver = InTime(checks, progress, _CHECKED, HARD_TONE)
    pace = Pace(_STEP, ((burst.stop - burst.start + _AFTER, _FINE),), keep=run.step, residue=_RESIDUE)
    heard = list(dict.fromkeys([*places, SPEAKER]))
    found = simulate(variants, run, positions, heard, currents=False, timed=(solver, pace))
    return found.assign_attrs(put(STAGES, stages) | put(AGREEMENT, solver.agreement))


def _stages(amp: Amp, variants: Sequence[Amp]) -> tuple[ValveStage, ...]:
    known = [build_circuit(each).net_by_place for each in variants]
    return tuple(
        stage
        for stage in valve_stages(build_circuit(amp))
        if all(place in places for places in known for place in _places(stage))
    )


def _places(stage: ValveStage) -> list[str]:
    return [*stage.outputs, *(f"{valve}.{pin}" for valve in stage.valves for pin in ("grid", "cathode"))]
