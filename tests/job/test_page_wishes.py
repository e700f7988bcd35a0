"""Wishes on the owner's page: what is said of each is what a simulation shows, where the wish says."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.job.page.choices import choose
from ampsim.job.page.tables import take_tables
from ampsim.job.page.wished import REACHES, Wished, grant, reach_of, reached_words, wishes_of
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.changing import add_wish
from ampsim.job.record.frozen import freeze_files
from ampsim.job.record.reading import read_record
from ampsim.library.loader import load_wishes
from ampsim.measures.sweep import gain_db
from ampsim.simulation.response import simulate
from tests.job.test_page import small_job

SIZES = st.floats(-60.0, 60.0)


def test_what_is_reached_is_what_a_simulation_shows_where_the_wish_says() -> None:
    job = small_job("bright-switch", compare_at={"gain": 0.9, "bright": "120p"})
    tables = take_tables(job, choose(job))
    wishes = load_wishes("bright-when-low").wishes
    for wish in wishes:
        found = grant(Wished("more of it", "", wish), tables, tables.offered.start())
        at = {**tables.offered.start(), **dict(wish.at)}
        gains = gain_db(simulate([job.stock, job.modded], positions=[at]), job.listen_at).isel(position=0)
        change = gains.isel(variant=1) - gains.isel(variant=0)
        inside = change.where((change["frequency"] >= wish.band[0]) & (change["frequency"] <= wish.band[1]), drop=True)
        assert found.span is not None
        assert found.span[0] == pytest.approx(float(inside.min()), abs=0.3)
        assert found.span[1] == pytest.approx(float(inside.max()), abs=0.3)
        assert wish.words in found.words
        assert "gain at" in found.words


def test_a_wish_that_is_tied_to_nothing_is_told_in_the_owners_words_alone() -> None:
    job = small_job("bright-switch")
    found = grant(Wished("less hum, please", "done"), take_tables(job, choose(job, [])), {})
    assert (found.words, found.span, found.scale) == ("", None, "")


def test_the_wishes_of_a_job_are_those_it_holds(tmp_path: Path) -> None:
    record = begin_job(tmp_path / "job", "workshop-a", ["bright-switch"], name="n", owner="o", words="w")
    record = freeze_files(record, tmp_path / "job", wishes=["bright-when-low"])
    record = add_wish(record, "sparkle", file="bright-when-low", entry=2, note="the switch")
    record = add_wish(record, "louder <b>")
    found = wishes_of(record, tmp_path / "job")
    assert [(each.words, each.note) for each in found] == [("sparkle", "the switch"), ("louder <b>", "")]
    assert found[0].wish == load_wishes("bright-when-low").wishes[1]
    assert found[1].wish is None
    assert read_record(tmp_path / "job").owner == "o"


@given(SIZES, SIZES, SIZES, SIZES)
def test_how_it_stands_is_true_of_the_numbers(one: float, other: float, least: float, most: float) -> None:
    low, high = sorted((one, other))
    least, most = sorted((least, most))
    told = reached_words((low, high), least, most)
    if "more than" in told:
        assert low > most
    elif "less than" in told:
        assert high < least
    elif "partly" in told:
        assert low < least or high > most
    else:
        assert least - 0.051 <= low <= high <= most + 0.051
    reach = reach_of([low, high, least, math.inf])
    assert reach == REACHES[-1] or max(abs(low), abs(high), abs(least)) <= reach
