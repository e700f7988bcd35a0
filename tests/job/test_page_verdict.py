"""When the owner's page says that nothing is heard: equal circuits, equal parts, and never where something is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from ampsim.circuit.amp import Amp, Mod
from ampsim.circuit.mods import apply_mods
from ampsim.job.page.choices import choose
from ampsim.job.page.hearing import loudest_of
from ampsim.job.page.played import Played, take_played
from ampsim.job.page.tables import PageTables, take_tables
from ampsim.job.page.verdict import no_difference
from ampsim.library.loader import parse_mod
from ampsim.studies.audition_request import default_audition
from ampsim.studies.playing.figures import Hiss
from ampsim.studies.playing.pops import Pop, Why
from tests.tools.any_amps import MadeAmp, made_amp

SEED = 83
Taken = tuple[PageTables, Played]


def mod_of(**tables: Any) -> Mod:
    return parse_mod({"name": "other part", "reason": "r", **tables})


def taken(stock: Amp, mod: Mod) -> Taken:
    job = default_audition(stock, apply_mods(stock, mod))
    tables = take_tables(job, choose(job))
    return tables, take_played(job, tables.offered)


def judged(tables: PageTables, played: Played) -> bool:
    gains = tables.gains_of(tables.samples())
    return no_difference(tables, played, gains, loudest_of(gains))


@lru_cache
def made(number: int) -> MadeAmp:
    return made_amp(SEED, number)


def resistors(amp: MadeAmp) -> Iterator[str]:
    return (name for name in amp.tables["parts"] if name.startswith("R") and name[1:].isdigit())


@lru_cache
def same_parts(number: int) -> Taken:
    """Every other resistor swapped for one of its own value."""
    amp = made(number)
    values = {name: amp.tables["parts"][name] for name in list(resistors(amp))[::2]}
    assert values
    return taken(amp.amp, mod_of(edits=[{"replace": name, "with": value} for name, value in values.items()]))


@pytest.mark.parametrize("number", [4, 11])
def test_equal_parts_make_no_audible_difference(number: int) -> None:
    assert judged(*same_parts(number))


def test_a_switch_that_does_nothing_makes_none() -> None:
    same = {"as it was": [], "the same": []}
    switch = {"designator": "S99", "control": "nothing", "drawn": "as it was", "positions": same}
    assert judged(*taken(made(4).amp, mod_of(switches=[switch])))


@pytest.mark.parametrize("at", [80.0, 300.0, 2500.0, 7900.0])
def test_three_decibels_in_any_band_are_never_none(at: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """At one position of all that are looked at."""
    tables, played = same_parts(4)
    gains = tables.gains_of(tables.samples())
    loudest = loudest_of(gains)
    assert no_difference(tables, played, gains, loudest)
    loud = int(np.argmax(gains.max(axis=(1, 2))))
    for sign in (1.0, -1.0):
        bumped = gains.copy()
        bumped[loud, 1] += sign * 3.0 * np.exp(-((np.log(tables.frequency / at) / 0.05) ** 2))
        assert not no_difference(tables, played, bumped, loudest)


def test_what_is_heard_besides_tone_is_never_none() -> None:
    tables, played = same_parts(4)
    found = played.playing
    earlier = {label: replace(each, overload={name: own - 3.0 for name, own in each.overload.items()},
                              beyond={name: own - 3.0 for name, own in each.beyond.items()})
               for label, each in found.modded.items()}  # fmt: skip
    for other in (
        replace(found, pops=(Pop("s", 3.0, 4.0, Why.STEP),)),
        replace(found, pops=(Pop("s", float("nan"), 4.0, Why.STEP),)),
        replace(found, hiss={label: Hiss(-40.0, 3.0) for label in found.hiss}),
        replace(found, back=dict.fromkeys(found.back, (10.0, 90.0))),
        replace(found, missing=("hiss: no answer",)),
        replace(found, modded=earlier),
        replace(found, modded={}),
    ):
        assert other != found
        assert not judged(tables, replace(played, playing=other))


def test_what_a_knob_that_is_not_offered_would_bring_out_is_looked_at_too() -> None:
    """A capacitor across the upper half of a volume pot is heard with the pot turned down."""
    amp = next(each for each in map(made, range(20)) if each.kind == "single" and each.stages("volume"))
    pot = amp.stages("volume")[0]["pot"]
    bright = mod_of(parts={"C999": "2n2"}, edits=[{"fit": "C999", "between": [f"{pot}.top", f"{pot}.wiper"]}])
    job = default_audition(amp.amp, apply_mods(amp.amp, bright))
    up = {name: 1.0 for name, each in amp.amp.controls.items() if pot in each.designators}
    tables = take_tables(replace(job, compare_at=up), choose(replace(job, compare_at=up), []))
    assert not tables.offered.choices
    gains = tables.gains_of(tables.samples())
    assert np.abs(gains[:, 1] - gains[:, 0]).max() < 0.5, "heard where the page opens"
    assert not judged(tables, take_played(replace(job, compare_at=up), tables.offered))
