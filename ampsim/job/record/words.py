"""Words of a job's file from which commands let choose: every command knows them, so they stand apart from its data."""

from __future__ import annotations

from enum import StrEnum


class Phase(StrEnum):
    """Before or after the work: which amp was on the bench for a measurement. The words stand in the job's file."""

    ARRIVAL = "on arrival"
    AFTER = "after the mod"


class Audience(StrEnum):
    """Who sees a photo besides the shop; everything else of a photo stays there. The words stand in the job's file."""

    OWNER = "owner"
    HOWTO = "howto"
