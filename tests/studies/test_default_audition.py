"""What an audition without a job shows: what the mods add, and the amp's own knobs that they depend on."""

from __future__ import annotations

import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.neighbours import knobs_beside
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_mod
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.response import simulate
from ampsim.studies.audition_request import ROTATIONS, default_audition

SHIPPED = sorted(path.stem for path in (models() / "mods").glob("*.toml"))


def moves_the_difference(stock: Amp, modded: Amp, name: str, at: dict[str, float | str]) -> float:
    """By how much the gain that the mod adds moves at most when a knob is turned [ratio]."""
    turned = [{**at, name: rotation} for rotation in (0.25, 0.75)]
    voltage = abs(simulate([stock, modded], FrequencySweep(30.0, 10e3, 5), turned, ["speaker"])["voltage"])
    added = voltage.isel(variant=1) / voltage.isel(variant=0)
    return float((added.isel(position=1) / added.isel(position=0) - 1.0).max())


@pytest.mark.parametrize("name", ["bright-switch", "smaller-coupling", "cathode-switch", "depth", "track-resistor"])
def test_knobs_beside_a_mod_are_those_that_change_what_it_does_at_the_speaker(name: str) -> None:
    stock = load_amp("workshop-a")
    modded = apply_mods(stock, load_mod(name))
    audition = default_audition(stock, modded)
    shown = [name for view in audition.views for name in stock.controls if view.title.startswith(f"{name} with ")]
    own = [control.name for control in stock.controls.values() if control.kind == "knob"]
    assert shown == [each for each in knobs_beside(modded) if each in own]
    strength = {each: moves_the_difference(stock, modded, each, audition.compare_at) for each in own}
    strongest = max(strength, key=strength.__getitem__)
    assert strength[strongest] < 0.2 or strongest in shown, strength


def test_what_is_added_comes_first_and_a_knob_is_turned_with_it_switched_on() -> None:
    stock = load_amp("workshop-a")
    for name in SHIPPED:
        try:
            audition = default_audition(stock, apply_mods(stock, load_mod(name)))
        except DescriptionError:
            continue  # for another amp
        added = [each for each in audition.modded.controls if each not in stock.controls]
        assert [view.title.split(" of ")[0] for view in audition.views][: len(added)] == added
        for view in audition.views[len(added) :]:
            assert len(view.positions) == len(ROTATIONS)
            assert all(audition.compare_at.items() <= position.items() for position in view.positions)
