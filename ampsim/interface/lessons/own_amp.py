"""The shop's own amp in the lessons: the one that AMPSIM_AMP names, where it has what a lesson is about."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass

from ...base.errors import DescriptionError
from ...base.quantities import FARAD, OHM, format_value
from ...circuit.amp import Amp, Part
from ...circuit.landing.order import GAIN
from ...circuit.landing.site import NoPlace, site_of
from ...circuit.landing.words import parse_phrase
from ...library.loader import load_amp

SETTING = "AMPSIM_AMP"
"""Environment variable that names the shop's own amp for the lessons: a name on the shelf, or a file."""

_ROLES = {"R3": ("plate load", OHM), "R4": ("cathode resistor", OHM), "C1": ("cathode bypass", FARAD)}


@dataclass(frozen=True)
class StageValues:
    """The values of one gain stage of an amp, by designators of the lessons' stage, and which stage it is."""

    name: str
    values: Mapping[str, str]


def shop_amp() -> Amp | None:
    """The shop's own amp for the lessons; None where AMPSIM_AMP names none.

    Raises
    ------
    DescriptionError
        For one that is not there or has mistakes.
    """
    named = os.environ.get(SETTING, "").strip()
    if not named:
        return None
    try:
        return load_amp(named)
    except DescriptionError as problem:
        raise DescriptionError(f"{SETTING}: {problem}") from None


def lesson_amp(name: str, *places: str) -> Amp:
    """The shop's own amp; the amp of that name where there is none, or where it lacks what the lesson is about.

    Parameters
    ----------
    name : str
        Of an amp that comes along.
    *places : str
        What the lesson needs, by what it is: "feedback resistor", "first stage.cathode bypass".

    Raises
    ------
    DescriptionError
        As `shop_amp`.
    """
    own = shop_amp()
    if own is None:
        return load_amp(name)
    try:
        for each in places:
            phrase = parse_phrase(each, "lesson")
            for things in site_of(own).candidates(phrase):
                site_of(own).spots(phrase, things[0])
    except NoPlace as problem:
        other = load_amp(name)
        print(f"{problem}. This lesson goes on with {other.name}.")
        return other
    return own


def gain_stage(amp: Amp) -> str:
    """The designator of the valve of an amp's first gain stage.

    Raises
    ------
    DescriptionError
        When it has none.
    """
    for thing in site_of(amp).of(GAIN):
        if thing.stage is not None:
            return str(thing.stage.valves[0].designator)
    raise DescriptionError(f"{amp.name} has no gain stage with a valve")


def stage_values(amp: Amp) -> list[StageValues]:
    """The values of every gain stage of an amp that has a plate load and a cathode resistor, in signal order."""
    values = {part.designator: part.value for part in amp.parts if isinstance(part, Part)}
    found = []
    for thing in site_of(amp).of(GAIN):
        own = {}
        for name, (role, quantity) in _ROLES.items():
            spots = thing.jobs.get(role, ())
            if len(spots) == 1 and spots[0].designator in values:
                own[name] = format_value(values[spots[0].designator], quantity)
        if {"R3", "R4"} <= set(own):
            found.append(StageValues(f"the {thing.label} of {amp.name}", own))
    return found
