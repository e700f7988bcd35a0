"""The sweeps that were measured on a job, over the simulated ones: as the amp came, and after the work."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import xarray as xr

from ...bench.sweeps.compare import compare, resample
from ...bench.sweeps.measured_sweep import read_sweep
from ...circuit.amp import Amp
from ...circuit.build import SPEAKER
from ...circuit.positions import Position
from ...measures.sweep import gain_db
from ...simulation.analyses import FrequencySweep
from ...simulation.response import simulate
from ...studies.audition_request import Audition
from ..record.data import Phase, Record
from ..record.paths import path_inside
from ..record.reading import job_file


def measured_sweeps(record: Record | None, folder: str | Path | None) -> dict[Phase, xr.Dataset]:
    """The last sweep of each phase of a job, by phase; those of a job without a folder cannot be read.

    Raises
    ------
    DescriptionError
        When a file is missing, leads out of the folder or has a mistake.
    """
    if record is None or folder is None:
        return {}
    home = job_file(folder).parent
    last = ((phase, record.last_sweep(phase)) for phase in Phase)
    return {phase: read_sweep(path_inside(home, sweep.file)) for phase, sweep in last if sweep}


def sweep_position(audition: Audition, record: Record | None, phase: Phase) -> Position:
    """Where the controls stood in the last sweep of a phase: as written down, the others where the job compares."""
    last = record.last_sweep(phase) if record else None
    return audition.compare_at | dict(last.at if last else ())


def work_over(audition: Audition, found: Mapping[Phase, xr.Dataset], record: Record | None = None) -> xr.Dataset | None:
    """What the work changed: the sweep after less that before, over the same of the simulation; None without both.

    Whatever stands between amp and recorder (loudspeaker or load, microphone, interface) is in both sweeps and goes.
    """
    if not set(Phase) <= set(found):
        return None
    amps = {Phase.ARRIVAL: audition.stock, Phase.AFTER: audition.modded}
    curves = [_simulate_gain(amp, sweep_position(audition, record, phase)) for phase, amp in amps.items()]
    grid = curves[0]["frequency"].values
    before, after = (resample(found[phase]["gain_db"], grid) for phase in amps)
    drawn = curves[1] - curves[0].values
    return compare(drawn.copy(data=after - before), drawn)


def _simulate_gain(amp: Amp, position: Position) -> xr.DataArray:
    at = {control: value for control, value in position.items() if control in amp.controls}
    return gain_db(simulate(amp, FrequencySweep(), [at], [SPEAKER]), SPEAKER).isel(variant=0, position=0)
