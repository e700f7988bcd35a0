"""Amps, mods and equal forms drawn by lot: they are as healthy, as many and as equal as the tests that use them ask."""

from __future__ import annotations

import tomllib
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings

from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.stages import TEMPLATES
from ampsim.measures.bias import bias_table
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.response import simulate
from ampsim.studies.pop.simulate import pop
from ampsim.studies.stability.steady import unsteady_positions
from tests.tools import any_invariants as invariants
from tests.tools.any_amps import MadeAmp, amps, any_amp, made_amp
from tests.tools.any_mods import KINDS, MadeMod, mod_of, mods_for, single_mods
from tests.tools.equal_forms import equal_amps, equal_mods
from tests.tools.every_command import run_group, write_files

SWEEP = FrequencySweep(50, 20e3, 3)


def gain(amp: Amp, **position: str) -> np.ndarray:
    return simulate(amp, SWEEP, [position], nodes=["speaker"])["voltage"].values.squeeze()


# Not drawn by this lot, whose amps bias as on the bench: `tests.tools.random_amps` draws all but the doubler.
NOT_DRAWN = {
    "baxandall tone", "bias supply", "blend tone", "cascode", "clipping pair", "cross-line master",
    "direct-coupled long-tailed pair", "fixed-bias split-load inverter", "floating paraphase inverter",
    "grid-leak stage", "input protection", "inverting op-amp stage", "master after the inverter", "mid scoop", "mixer",
    "one-knob tone", "op-amp stage", "opto tremolo", "oscillator of any wiring", "parallel effects loop",
    "parallel triodes", "paraphase inverter", "pentode stage", "power supply", "reverb", "self-biased follower",
    "series diodes", "series effects loop", "source follower", "transistor stage", "treble cut", "tremolo oscillator",
    "two-knob tone", "voltage doubler",
}  # fmt: skip


def test_amps_by_lot_reach_every_template_and_mods_every_kind() -> None:
    made = list(amps(42, seed=5))
    assert {stage["template"] for each in made for stage in each.stages()} == set(TEMPLATES) - NOT_DRAWN
    assert len(KINDS) >= 40
    fitted = Counter(mod.kind for each in made for mod in mods_for(each))
    assert fitted.keys() == KINDS.keys()
    for mod in single_mods(42, seed=5):
        assert tomllib.loads(mod.text) == mod.tables
        assert tomllib.loads(mod.amp.text) == mod.amp.tables
        for switch in mod.modded.all_switches:
            for label in switch.labels:
                build_circuit(mod.modded, ((switch.control, label),))


def test_amps_by_lot_are_healthy_at_rest() -> None:
    for each in amps(140, seed=6):
        table = bias_table(simulate(each.amp, OperatingPoint()))
        assert (table["verdict"] == "within limits").all(), (each, table["verdict"].tolist())
        assert (table["plate [mA]"] > 0.3).all(), each
        assert (table["plate [V]"] > 80.0).all(), each


def test_feedback_by_lot_takes_gain_away() -> None:
    for each in amps(42, seed=7):
        for mod in mods_for(each):
            if mod.kind == "feedback lifted":
                middle = np.abs(gain(mod.modded) / gain(each.amp))[3:6]
                assert (middle > 1.05).all(), (each, middle)


@settings(max_examples=40)  # `python -m tests.search` takes others
@given(any_amp())
def test_equal_forms_of_an_amp_are_the_same_circuit(made: MadeAmp) -> None:
    drawn = gain(made.amp)
    for form in equal_amps(made):
        assert np.allclose(gain(form.made.amp), drawn, rtol=1e-4), form.form


def test_equal_forms_of_a_mod_are_the_same_circuit() -> None:
    for mod in single_mods(len(KINDS), seed=8):
        positions = [{}] + [{each.control: label} for each in mod.modded.all_switches for label in each.labels]
        for form, other in equal_mods(mod):
            for position in positions:
                assert np.allclose(gain(other.modded, **position), gain(mod.modded, **position), rtol=1e-4), form


# The invariants of `python -m tests.figures`, on a few amps -----------------------------------------------------------


def test_wiring_of_any_mod_reads_back_as_the_circuit() -> None:
    for mod in single_mods(len(KINDS), seed=9):
        assert list(invariants.wiring_reads_back(mod)) == [], mod


def test_equal_circuits_get_equal_verdicts() -> None:
    for mod, topic in zip(single_mods(4, seed=10, first=1), ("noise", "stability", "noise", "stability"), strict=True):
        assert list(invariants.equal_circuits_agree(mod, topic, most=2)) == [], mod


def test_no_stability_is_unknown_where_feedback_leads_back() -> None:
    for mod in (next(single_mods(1, seed, first)) for seed, first in ((3, 1), (13, 101), (13, 129))):
        assert mod.amp.kind.startswith("fed-back")
        assert list(invariants.unknown_has_a_reason(mod, "stability")) == [], mod


def test_every_movement_of_a_triode_switch_has_an_answer() -> None:
    made = (mod_of("triode switch", made_amp(31, number)) for number in (1, 9, 14))
    for mod in filter(None, made):
        assert not pop(mod.modded).attrs["failed"], mod


def test_a_healthy_amp_passes_and_its_settings_matter() -> None:
    for mod in single_mods(2, seed=11, first=27):
        assert list(invariants.healthy_amps_pass(mod)) == [], mod
        assert list(invariants.settings_matter(mod, "noise")) == [], mod


def test_commands_that_look_do_what_they_are_asked(tmp_path: Path) -> None:
    for number, mod in enumerate(single_mods(7, seed=12)):
        for ran in run_group("looking", write_files(mod, tmp_path / str(number))):
            assert ran.fine, (mod, ran.command, ran.refusal, ran.traceback)
            assert ran.text


@pytest.mark.parametrize(("number", "swings"), [(66, True), (222, True), (58, False)])
def test_an_amp_is_said_to_oscillate_where_it_goes_on_swinging(number: int, swings: bool) -> None:
    """One through its supply and one through its feedback line; and one that does not."""
    amp = made_amp(13, number).amp
    assert bool(unsteady_positions(amp)) == swings
    assert invariants.swings_by_itself(amp) == swings


def test_an_unequal_circuit_is_seen() -> None:
    """The check of equal verdicts is one: the same mod with another value is told apart."""
    mod = next(each for each in single_mods(40, seed=9) if each.kind == "cathode resistor")
    (edit,) = mod.tables["edits"]
    other = MadeMod(mod.kind, mod.amp, mod.tables | {"edits": [edit | {"with": "33k"}]})
    found = [invariants.section_of(each, "noise") for each in (mod, other)]
    assert list(invariants.differences(*found, {}))
