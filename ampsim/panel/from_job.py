"""The panel on a job: its amps, where it listens, and the position it is to be judged in, all from its folder."""

from __future__ import annotations

from pathlib import Path

from ..record import open_audition, read
from .widget import Panel, explore


def open_panel(folder: str | Path) -> Panel:
    """Open the panel on a job; positions are kept in its folder.

    It stands where it was left; before it was ever used, where the job compares stock and modded.

    Parameters
    ----------
    folder : str or Path
        The job's folder.

    Returns
    -------
    Panel
        A widget; put it on the last line of a cell.

    Raises
    ------
    DescriptionError
        For a folder without a job, a job without mods, or mistakes in it.
    EngineError
        When ngspice gives no trustworthy answer as drawn.
    """
    record = read(folder)
    job = open_audition(record, folder)
    panel = explore(job.stock, job.modded, job.listen_at, frequencies=job.frequencies, job=folder)
    if not record.positions:
        panel.turn(job.compare_at)
    return panel
