"""The owner's page on paper: every position of the switches, under one name everywhere; amps and mods by lot."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache
from html import unescape
from pathlib import Path

import numpy as np
import pytest

from ampsim.audio.listen import listening_positions
from ampsim.circuit.positions import every_position, position_label
from ampsim.job.page.answers import headline, tone_answers
from ampsim.job.page.choices import choose
from ampsim.job.page.hearing import Heard, hear, hear_all, loudest_of
from ampsim.job.page.positions import MOST_SHOWN, switch_positions
from ampsim.job.page.tables import PageTables, take_tables
from ampsim.job.page.write import write_page
from ampsim.job.papers.pdf import write_pdf
from ampsim.studies.audition_request import Audition, default_audition
from tests.tools.any_amps import made_amp
from tests.tools.any_mods import MadeMod, mod_of
from tests.tools.read_pdf import joined, open_pdf

SEED = 61
KINDS = ("on-off-on", "bright switch", "depth")


@lru_cache
def made(kind: str) -> MadeMod:
    return next(mod for mod in (mod_of(kind, made_amp(SEED, number)) for number in range(200)) if mod)


@lru_cache
def taken(kind: str) -> tuple[Audition, PageTables]:
    job = default_audition(made(kind).amp.amp, made(kind).modded)
    return job, take_tables(job, choose(job))


@pytest.mark.parametrize("kind", KINDS)
def test_paper_has_every_position_of_the_switches_by_the_name_it_has_everywhere(kind: str, tmp_path: Path) -> None:
    job = default_audition(made(kind).amp.amp, made(kind).modded)
    path = write_page(job, tmp_path / "page.html")
    switches = [name for name, each in job.modded.controls.items() if each.kind == "switch"]
    switches = [name for name in switches if name not in job.stock.controls]
    labels = [position_label(each) for each in every_position(job.modded, *switches)] if switches else []
    (told,) = re.findall(r'class="each">(.*?)</section>', path.read_text("utf-8"), re.DOTALL) or [""]
    assert [unescape(each) for each in re.findall(r"<h3>(.*?)</h3>", told)] == labels
    printed = joined(open_pdf(write_pdf(path).read_bytes())).lower()
    for label in labels:
        assert "".join(label.split()).lower() in printed


def of_tone(heard: Heard) -> str:
    return headline(heard, tone_answers(heard), True)


@pytest.mark.parametrize("kind", KINDS)
def test_many_positions_heard_together_are_each_heard_alone(kind: str) -> None:
    job, tables = taken(kind)
    samples = tables.samples()[:5]
    loudest = loudest_of(tables.gains_of(samples))
    for setting, found in zip(samples, hear_all(tables, samples, loudest), strict=True):
        alone = hear(job, tables, setting, loudest)
        assert found.state == alone.state
        assert of_tone(found) == of_tone(alone)
        assert np.allclose([*found.acum, found.most], [*alone.acum, alone.most], atol=1e-6)


def test_with_many_switches_each_is_moved_alone() -> None:
    _, tables = taken("on-off-on")
    (switch, *_) = [each for each in tables.offered.choices if each.kind == "switch"]
    several = type(tables.offered)(
        tuple(type(switch)(f"{switch.name} {n}", "switch", switch.start, switch.drawn, switch.values) for n in "abc"),
        tables.offered.fixed,
    )
    found = switch_positions(several)
    assert len(switch.values) ** 3 > MOST_SHOWN >= len(found)
    for each in several.choices:
        assert {row[each.name] for row in found} == set(each.values)
    start = {each.name: each.start for each in several.choices}
    assert all(sum(row[name] != start[name] for name in start) <= 1 for row in found)


@pytest.mark.parametrize("at", [80.0, 5500.0, 7900.0])
def test_a_change_at_a_single_frequency_is_no_change_that_nobody_hears(at: float) -> None:
    """Three decibels in a narrow band, anywhere between 80 Hz and 8 kHz."""
    _, tables = taken("depth")
    start = tables.offered.start()
    stock = tables.gains(start)[0]
    bump = 3.0 * np.exp(-((np.log(tables.frequency / at) / 0.05) ** 2))

    class Bumped:
        frequency = tables.frequency
        offered = tables.offered

        def gains_of(self, settings: list[object]) -> np.ndarray:
            return np.array([[stock, stock + bump] for _ in settings])

    (found,) = hear_all(Bumped(), [start], float(stock.max()))  # type: ignore[arg-type]
    assert found.state == "heard"
    assert "no audible difference" not in of_tone(found)
    assert "no audible difference" in of_tone(Heard("heard", (1.0, 1.01), 0.3, 0.2, 0.8, 0.4))


@pytest.mark.parametrize("kind", [*KINDS, "presence", "pull-pot", "master added"])
def test_page_and_player_name_controls_in_one_order(kind: str) -> None:
    """Switches first, in whatever order the mod brings them and the job names them."""
    mod = made(kind)
    plain = default_audition(mod.amp.amp, mod.modded)
    controls = list(mod.modded.controls.items())
    for named in (controls, controls[::-1], controls[1:]):
        job = replace(plain, compare_at={name: each.drawn for name, each in named})
        order = [each.name for each in choose(job).choices]
        assert order
        for setting in listening_positions(job):
            assert [each for each in setting if each in order] == [each for each in order if each in setting]
