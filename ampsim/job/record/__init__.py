"""The job as one record: a folder with a file that a person can read and edit, and the frozen files it opens from."""

from __future__ import annotations

from ...library.loader import FILE
from .begin import begin
from .changing import add, change, enter, wish
from .data import FORMAT, Change, Frozen, Measured, Note, OwnersWish, Phase, Record, State, Status, Sweep
from .frozen import Opened, accept, changed, open_audition, open_job, take
from .intake import Intake, intake
from .paths import inside, inside_name
from .reading import is_job, job_file, parse, read
from .saving import keep_positions, save

__all__ = [
    "FILE",
    "FORMAT",
    "Change",
    "Frozen",
    "Intake",
    "Measured",
    "Note",
    "Opened",
    "OwnersWish",
    "Phase",
    "Record",
    "State",
    "Status",
    "Sweep",
    "accept",
    "add",
    "begin",
    "change",
    "changed",
    "enter",
    "inside",
    "inside_name",
    "intake",
    "is_job",
    "job_file",
    "keep_positions",
    "open_audition",
    "open_job",
    "parse",
    "read",
    "save",
    "take",
    "wish",
]
