"""Whether an amp stays at rest: counted on all its valves at once, against what it does after a knock."""

import tomllib

import numpy as np
import pytest
from hypothesis import given, settings

from ampsim.audio.linear import render_linear
from ampsim.audio.phrases import phrase
from ampsim.audio.render import render
from ampsim.base.errors import DescriptionError
from ampsim.circuit.mods import apply_mods
from ampsim.job.page.write import write_page
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_mod, parse_amp, parse_mod
from ampsim.measures.growing_modes import growing_modes
from ampsim.studies.audition import audition
from ampsim.studies.audition_request import default_audition
from ampsim.studies.section import Examination
from ampsim.studies.sheet.sheet import consequences
from ampsim.studies.stability.section import section
from ampsim.studies.stability.steady import growth_at, unsteady_positions
from tests.tools.any_amps import any_amp
from tests.tools.poles import loop_knock
from tests.truth.stability import phase_shift_loop

AMP = load_amp("workshop-a")


def turned_round(tables):
    """Tables of an amp with the secondary the other way round."""
    turned = {"in phase": "reversed", "reversed": "in phase"}
    parts = {
        name: part | {"secondary": turned[part.get("secondary", "in phase")]}
        if isinstance(part, dict) and "taps" in part
        else part
        for name, part in tables["parts"].items()
    }
    return tables | {"parts": parts}


def edited(*edits, parts=None):
    return apply_mods(AMP, parse_mod({"name": "m", "reason": "r", "parts": parts or {}, "edits": list(edits)}))


def grows_after_a_knock(amp, hertz, **position):
    """Whether a microvolt is still there, and larger, after thirty periods."""
    heard = loop_knock(amp, hertz, [position], level=1e-6, periods=30)["voltage"].values.ravel()
    early, late = heard[heard.size // 6 : heard.size // 3], heard[-heard.size // 6 :]
    return bool(np.ptp(late) > 1.5 * np.ptp(early) or np.ptp(late) > 0.1)


# The count ------------------------------------------------------------------------------------------------------------


def test_growing_modes_of_known_polynomials():
    frequency = np.logspace(-3, 9, 400)
    s = 2j * np.pi * frequency

    def difference(*zeros):
        found = np.ones_like(s)
        for zero in zeros:
            found = found * (s - zero) / (s + 1e3)
        return found

    assert growing_modes(frequency, difference(-5.0, -800.0)).modes == 0
    assert growing_modes(frequency, difference(5.0)).modes == 1
    assert growing_modes(frequency, difference(5.0)).words == "does not stay where it is drawn"
    howl = growing_modes(frequency, difference(20 + 6283j, 20 - 6283j, -3.0))
    assert howl.modes == 2
    assert howl.hertz == pytest.approx(1000, rel=0.1)
    ring = growing_modes(frequency, difference(-20 + 6283j, -20 - 6283j))
    assert ring.modes == 0


@pytest.mark.parametrize(("plate_load", "modes"), [("40k", 0), ("100k", 2)])
def test_a_phase_shift_oscillator_is_told_from_one_that_dies_away(plate_load, modes):
    assert growth_at([(phase_shift_loop(plate_load), {})])[0].modes == modes


@pytest.mark.parametrize(
    "amp",
    [
        edited({"replace": "R20", "with": "3k3"}),
        edited({"fit": "R204", "between": ["V2A.plate", "V1B.cathode"]}, parts={"R204": "220k"}),
        edited({"fit": "R204", "between": ["V1B.plate", "V1A.cathode"]}, parts={"R204": "47k"}),
        edited({"fit": "C204", "between": ["V2A.plate", "V1B.grid"]}, parts={"C204": "47p"}),
        AMP,
    ],
)
def test_what_is_counted_is_what_a_knock_starts(amp):
    growth = growth_at([(amp, {"presence": 1.0})])[0]
    hertz = growth.hertz if growth.modes else 100.0
    assert bool(growth.modes) == grows_after_a_knock(amp, hertz, presence=1.0)


@given(any_amp())
@settings(max_examples=8)
def test_an_amp_by_lot_is_judged_as_a_knock_shows(made):
    growth = growth_at([(made.amp, {})])[0]
    assert bool(growth.modes) == grows_after_a_knock(made.amp, growth.hertz if growth.modes else 20.0)


def test_what_oscillates_without_a_feedback_line_is_found_too():
    open_line, small = {"lift": "R20"}, {"fit": "C204", "between": ["V2A.plate", "V1B.grid"]}
    local, without = edited(open_line, small, parts={"C204": "47p"}), edited(open_line)
    found = section(Examination(without, local))
    assert found.grade == "beyond the limit"
    assert "oscillates by itself near 3.4 MHz" in found.findings[0].words
    assert "the stock amp does not" in found.findings[0].words
    assert "Local feedback goes through C204" in found.notes[0]
    sound = section(Examination(AMP, without))
    assert sound.findings == ()
    assert "It stays at rest at the" in sound.notes[0]


# What is made of it ---------------------------------------------------------------------------------------------------


def audition_of(amp):
    return default_audition(amp, apply_mods(amp, load_mod("bright-switch")))


@pytest.fixture(scope="module")
def howling():
    """An audition of workshop amp A with its secondary the other way round."""
    tables = tomllib.loads((models() / "amps" / "workshop-a.toml").read_text("utf-8"))
    return audition_of(parse_amp(turned_round(tables), "turned.toml"))


def test_nothing_of_an_oscillating_amp_looks_healthy(howling, tmp_path):
    outcome = audition(howling, tmp_path)
    assert "THIS AMP OSCILLATES" in outcome.text.split("What the mods do")[0]
    for title, table in outcome.tables.items():
        if {"variant", "position"} <= set(table):
            assert set(table["at rest"]) == {"OSCILLATES"}, title
    for path in outcome.pictures:
        if path.suffix == ".svg":
            assert "OSCILLATES" in path.read_text("utf-8"), path


@pytest.mark.parametrize(
    "make",
    [
        lambda plan, folder: render(plan.modded, [plan.compare_at], phrase(), cache=folder),
        lambda plan, folder: render_linear(plan.modded, [plan.compare_at], phrase()),
        lambda plan, folder: write_page(plan, folder / "page.html"),
    ],
)
def test_no_clip_and_no_page_of_an_oscillating_amp(howling, make, tmp_path):
    with pytest.raises(DescriptionError, match="oscillates by itself near"):
        make(howling, tmp_path)
    assert not list(tmp_path.iterdir())


def test_no_sheet_leaves_it_out(howling):
    said = consequences(Examination(howling.stock, howling.modded), ["ratings"])
    assert said.sections[0].title == "stability"
    assert said.grade == "beyond the limit"
    assert "oscillates by itself near" in said.first_answer


def test_a_steady_amp_has_no_word_of_it(tmp_path):
    plan = audition_of(AMP)
    assert not unsteady_positions([plan.stock, plan.modded], [plan.compare_at])
    outcome = audition(plan, tmp_path)
    assert "OSCILLATES" not in outcome.text
    assert not any("at rest" in table for table in outcome.tables.values())
