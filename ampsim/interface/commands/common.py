"""What several commands share."""

from __future__ import annotations

from ...base.errors import DescriptionError
from ...circuit.mods import apply_mods
from ...job.record.frozen import open_audition
from ...job.record.reading import is_job, read
from ...library.files import load_amp, load_audition, load_mod
from ...studies.audition import DEFAULT, Audition, plain_audition


def find_audition(job: str | None, amp: str | None, mods: list[str]) -> Audition:
    """The job of a job folder, a file or name; or one made of an amp and mods; or the demo job.

    Raises
    ------
    DescriptionError
        When both are given, or an amp without mods.
    """
    if amp or mods:
        if job or not amp or not mods:
            raise DescriptionError("give either a job, or --amp with at least one --mod")
        stock = load_amp(amp)
        return plain_audition(stock, apply_mods(stock, *(load_mod(mod) for mod in mods)))
    if job and is_job(job):
        return open_audition(read(job), job)
    return load_audition(job or DEFAULT)
