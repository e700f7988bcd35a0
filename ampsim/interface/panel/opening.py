"""Opening a panel: on two amps, or on a job."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ...circuit.amp import Amp
from ...job.record.frozen import open_audition
from ...job.record.reading import is_job, read_record
from ...library.files import read_toml
from ...studies.audition_request import FREQUENCIES, Audition
from .dials import Values
from .state import PanelState
from .widget import Panel


def explore(
    stock: Amp,
    modded: Amp,
    listen_at: str = "speaker",
    values: Values | None = None,
    frequencies: Sequence[float] = FREQUENCIES,
    job: str | Path | None = None,
) -> Panel:
    """Show two amps on a live panel: every control, stock against modded, and the change, while you turn.

    Parameters
    ----------
    stock, modded : Amp
        The amp as drawn, and with mods. A control that both have moves both.
    listen_at : str
        The place to listen at first; the panel offers the output of every stage.
    values : mapping
        Parts of the modded amp to try other values in, by designator: least, most and E series, such as
        ``{"C101": ("47p", "22n", "E6")}``.
    frequencies : sequence of float
        Where the table gives gains [Hz].
    job : str or Path
        A job folder or a job file to keep positions in: read at once when it is there, written whenever the panel
        comes to rest.

    Returns
    -------
    Panel
        A widget; put it on the last line of a cell.

    Raises
    ------
    DescriptionError
        For unknown places, parts and series, or a job file with mistakes.
    EngineError
        When ngspice gives no trustworthy answer as drawn.
    """
    return Panel(PanelState(stock, modded, listen_at, values or {}, frequencies), job)


def open_panel(folder: str | Path) -> Panel:
    """Open the panel on a job; positions are kept in its folder.

    It stands where it was left; before it was ever used, where the job compares stock and modded. Like that of
    `explore` it is a widget for the last line of a cell.

    Raises
    ------
    DescriptionError
        For a folder without a job, a job without mods, or mistakes in it.
    EngineError
        When ngspice gives no trustworthy answer as drawn.
    """
    return audition_panel(open_audition(read_record(folder), folder), folder)


def audition_panel(audition: Audition, job: str | Path | None = None, values: Values | None = None) -> Panel:
    """Open the panel on an audition; it stands where it was left, else where the audition compares.

    Parameters
    ----------
    audition : Audition
    job : str or Path
        Where it comes from. A job folder keeps positions from the beginning; a job file once they were saved there.
    values : mapping
        As for `explore`.

    Returns
    -------
    Panel
        A widget; put it on the last line of a cell.

    Raises
    ------
    DescriptionError
        For mistakes in the positions of the job, and unknown parts and series.
    EngineError
        When ngspice gives no trustworthy answer as drawn.
    """
    left = job is not None and _was_left(job)
    keeps = job if left or (job is not None and is_job(job)) else None
    amps = (audition.stock, audition.modded)
    panel = explore(*amps, audition.listen_at, values, audition.frequencies, keeps)
    if not left:
        panel.turn(audition.compare_at)
    if job is not None and Path(job).is_file():
        panel.file = str(job)
    return panel


def _was_left(job: str | Path) -> bool:
    """Whether a job holds positions."""
    if is_job(job):
        return bool(read_record(job).positions)
    return Path(job).is_file() and "positions" in read_toml(Path(job))
