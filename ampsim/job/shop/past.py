"""What the shop's earlier jobs took."""

from __future__ import annotations

from pathlib import Path

from .index import Index


def past_sessions(jobs: str | Path, own: str | Path) -> list[tuple[str, int, int]]:
    """Kind, steps and minutes [min] of each session of one kind in the shop's jobs, but for one job itself.

    Parameters
    ----------
    jobs : str or Path
        The folder with the shop's jobs.
    own : str or Path
        The folder of the job that asks.

    Raises
    ------
    DescriptionError
        When there is no such folder.
    """
    with Index(jobs) as index:
        return index.times(Path(own))
