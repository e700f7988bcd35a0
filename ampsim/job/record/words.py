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


class Status(StrEnum):
    """Where a job stands, in the order most jobs take; a job may skip some and go back. The words stand in its file."""

    TAKEN_IN = "taken in"
    LOOKED_OVER = "looked over"
    WAITING_FOR_OWNER = "waiting for the owner"
    WAITING_FOR_PARTS = "waiting for parts"
    ON_THE_BENCH = "on the bench"
    BEING_WIRED = "being wired"
    BEING_PROVED = "being proved"
    HANDED_OVER = "handed over"
    GIVEN_BACK = "given back as it was"
