"""The sweeps that were measured on a job, over the simulated ones: as the amp came, and after the work."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import xarray as xr

from ...bench.proof.sweeps import SweepTaken, take_sweep
from ...bench.sweeps.compare import compare, resample
from ...bench.sweeps.measured_sweep import read_sweep
from ...circuit.build import SPEAKER
from ...measures.sweep import gain_db
from ...simulation.analyses import FrequencySweep
from ...simulation.response import simulate
from ...studies.audition_request import Audition
from ..record.data import Record, Sweep
from ..record.paths import path_inside
from ..record.reading import job_file
from ..record.words import Phase


def measured_sweeps(record: Record | None, folder: str | Path | None) -> dict[Phase, xr.Dataset]:
    """The last sweep of each phase of a job, by phase; those of a job without a folder cannot be read.

    Raises
    ------
    DescriptionError
        When a file is missing, leads out of the folder or has a mistake.
    """
    if record is None or folder is None:
        return {}
    last = ((phase, record.latest_sweeps(phase)[-1:]) for phase in Phase)
    return {phase: _read(folder, sweep) for phase, sweeps in last for sweep in sweeps}


def taken_sweeps(
    audition: Audition, record: Record | None, folder: str | Path | None, phase: Phase
) -> tuple[SweepTaken, ...]:
    """The latest sweep of a phase from every source, at every place and position, with the amp as it stood then.

    Controls stood as written down, the others where the job compares.

    Parameters
    ----------
    audition, record : Audition, Record
        The job.
    folder : str or Path
        Where its files are; without one they cannot be read.
    phase : Phase

    Raises
    ------
    DescriptionError
        As `measured_sweeps`; for a source or place that the amp does not have.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    if record is None or folder is None:
        return ()
    amp = audition.stock if phase == Phase.ARRIVAL else audition.modded
    found = []
    for sweep in (sweeps := record.latest_sweeps(phase)):
        name = f"Sweep {phase}" if len(sweeps) == 1 else f"Sweep {phase}, {sweep.file.rpartition('/')[2]}"
        at = audition.compare_at | dict(sweep.at)
        found.append(take_sweep(name, amp, at, _read(folder, sweep), sweep.heard or SPEAKER, sweep.source))
    return tuple(found)


def _read(folder: str | Path, sweep: Sweep) -> xr.Dataset:
    return read_sweep(path_inside(job_file(folder).parent, sweep.file))


def work_over(before: Sequence[SweepTaken], after: Sequence[SweepTaken]) -> xr.Dataset | None:
    """What the work changed: the sweep after less that before, over the same of the simulation.

    Both are the last that came from one source and were heard at one place; None without such a pair. Whatever stands
    between amp and recorder (loudspeaker or load, microphone, interface) is in both sweeps and goes.
    """
    pairs = [
        (one, other)
        for other in reversed(after)
        for one in reversed(before)
        if (one.amp.source, one.heard) == (other.amp.source, other.heard)
    ]
    if not pairs:
        return None
    curves = [_simulate_gain(each) for each in pairs[0]]
    grid = curves[0]["frequency"].values
    one, other = (resample(each.measured["gain_db"], grid) for each in pairs[0])
    drawn = curves[1] - curves[0].values
    return compare(drawn.copy(data=other - one), drawn)


def _simulate_gain(taken: SweepTaken) -> xr.DataArray:
    at = {control: value for control, value in taken.position.items() if control in taken.amp.controls}
    return gain_db(simulate(taken.amp, FrequencySweep(), [at], [taken.heard]), taken.heard).isel(variant=0, position=0)
