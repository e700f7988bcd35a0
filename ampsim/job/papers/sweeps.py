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
from ...studies.audition import Audition
from ..record.data import Record
from ..record.paths import inside
from ..record.reading import job_file

ARRIVAL, AFTER = "on arrival", "after the mod"


def measured_sweeps(record: Record | None, folder: str | Path | None) -> dict[str, xr.Dataset]:
    """The last sweep of each phase of a job, by phase; those of a job without a folder cannot be read.

    Raises
    ------
    DescriptionError
        When a file is missing, leads out of the folder or has a mistake.
    """
    if record is None or folder is None:
        return {}
    home = job_file(folder).parent
    last = {each.phase: each.file for each in record.sweeps}
    return {phase: read_sweep(inside(home, file)) for phase, file in last.items()}


def stood(job: Audition, record: Record | None, phase: str) -> Position:
    """Where the controls stood in the last sweep of a phase: as written down, the others where the job compares."""
    last = [each.at for each in record.sweeps if each.phase == phase][-1:] if record else []
    return job.compare_at | dict(*last)


def work_over(job: Audition, found: Mapping[str, xr.Dataset], record: Record | None = None) -> xr.Dataset | None:
    """What the work changed: the sweep after less that before, over the same of the simulation; None without both.

    Whatever stands between amp and recorder (loudspeaker or load, microphone, interface) is in both sweeps and goes.
    """
    if not {ARRIVAL, AFTER} <= set(found):
        return None
    told = ((job.stock, ARRIVAL), (job.modded, AFTER))
    curves = [_simulated(amp, stood(job, record, phase)) for amp, phase in told]
    grid = curves[0]["frequency"].values
    before, after = (resample(found[phase]["gain_db"], grid) for phase in (ARRIVAL, AFTER))
    drawn = curves[1] - curves[0].values
    return compare(drawn.copy(data=after - before), drawn)


def _simulated(amp: Amp, position: Position) -> xr.DataArray:
    at = {control: value for control, value in position.items() if control in amp.controls}
    return gain_db(simulate(amp, FrequencySweep(), [at], [SPEAKER]), SPEAKER).isel(variant=0, position=0)
