"""What a player notices: told from gains, it is what playing shows; amps and mods by lot, equal circuits."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import position_label
from ampsim.circuit.signal_path import active_stages
from ampsim.library.loader import load_amp, load_mod
from ampsim.studies.headroom.simulate import headroom
from ampsim.studies.playing.drive import Drive, breaks_up_at, combined, drives_of, evens_out, nearest_drive, small_gain
from ampsim.studies.playing.simulate import moved, play
from tests.tools.any_amps import made_amp
from tests.tools.equal_forms import equal_amps

SEED = 71
AMPS = (4, 10, 14)  # single-ended; with a follower that clips first; a pair
Played = dict[str, tuple[Drive, dict[str, float]]]


def played(amp: Amp, positions: list[dict[str, Any]]) -> Played:
    """How each position is driven, and the gain to each of its stages [dB]."""
    response = headroom(amp, positions, checks=0)
    stages = active_stages(build_circuit(amp))
    gains = {
        label: {each.name: small_gain(response.sel(variant=amp.variant, position=label), each) for each in stages}
        for label in map(str, response["position"].values)
    }
    return {label: (drive, gains[label]) for label, drive in drives_of(response).items()}


def turned(amp: Amp, seed: int) -> dict[str, float]:
    draw = np.random.default_rng(seed)
    knobs = {name: each for name, each in amp.controls.items() if each.kind == "knob"}
    return {name: round(min(max(float(each.drawn) + draw.uniform(-0.4, 0.4), 0.05), 1.0), 2)
            for name, each in knobs.items()}  # fmt: skip


def test_where_it_breaks_up_is_told_from_gains_as_playing_it_shows() -> None:
    """Half of the positions within half a decibel, and none further off than the docstring of `drive` says."""
    apart, evened = [], []
    for number in AMPS:
        amp = made_amp(SEED, number).amp
        there = turned(amp, number)
        found = played(amp, [{}, there])
        drawn, (own, gains) = found["as drawn"][0], found[position_label(there)]
        level = breaks_up_at(drawn, gains)
        assert level is not None
        assert abs(own.first - drawn.first) > 0.5, "nothing to tell"
        apart.append(abs(level - own.first))
        one, other = evens_out(drawn, level), evens_out(own, own.first)
        if one is not None and other is not None:
            evened.append(abs(one - other))
    assert np.median(apart) <= 0.5
    assert max(apart) <= 1.4
    assert len(evened) >= 2
    assert max(evened) <= 2.5


def test_two_switches_together_are_told_from_each_alone() -> None:
    stock = load_amp("workshop-a")
    modded = apply_mods(stock, load_mod("cathode-switch"), load_mod("bright-switch"))
    both: dict[str, float | str] = {"cathode": "2k7 and 1u", "bright": "390p"}
    label = position_label(moved(modded, both))
    told = play(stock, modded, [{}, both])
    (own, gains) = played(modded, [both])[position_label(both)]
    level = breaks_up_at(told.modded[label], gains)
    assert level is not None
    assert level == pytest.approx(own.first, abs=0.5)
    assert told.modded["as drawn"].first > own.first + 15.0
    assert play(stock, modded, [{}, both]) == told
    assert [each.control for each in told.pops] == [each.control for each in modded.all_switches]
    assert told.hiss[label].more > told.hiss["as drawn"].more + 10.0


def test_equal_circuits_are_played_alike() -> None:
    made = made_amp(SEED, 4)
    other = next(equal_amps(made))
    one, two = (play(each, each, [{}]) for each in (made.amp, other.made.amp))
    assert one.modded["as drawn"].first == pytest.approx(two.modded["as drawn"].first, abs=0.02)
    assert one.hiss["as drawn"].level == pytest.approx(two.hiss["as drawn"].level, abs=0.02)
    assert one.hiss["as drawn"].more == 0.0
    assert one.back["as drawn"] == pytest.approx(two.back["as drawn"], rel=0.02)


CURVE = ((-60.0, 40.0), (-20.0, 40.0), (-10.0, 36.0), (0.0, 27.0))


def test_a_stage_that_did_not_clip_is_not_guessed_at() -> None:
    drive = Drive({"last": 20.0}, {"first": 10.0}, -20.0, CURVE)
    assert breaks_up_at(drive, {"last": 40.0, "first": 10.0}) == -20.0
    assert breaks_up_at(drive, {"last": 40.0, "first": 35.0}) is None
    assert breaks_up_at(drive, {"last": 15.0, "first": 5.0}) == math.inf


def test_a_stage_that_is_never_clean_is_not_told() -> None:
    """One whose gain is 12 dB down at the faintest level already, as in an amp that oscillates."""
    amp = made_amp(SEED, 4).amp
    response = headroom(amp, [{}], checks=0)
    stages = active_stages(build_circuit(amp))
    last = stages[-1].outputs[0]
    loud = response["small"].where(response["node"] != last, 4.0 * response["small"])
    (plain, faulty) = (drives_of(each)["as drawn"] for each in (response, response.assign(small=loud)))
    gains = {each.name: small_gain(response.isel(variant=0, position=0), each) for each in stages}
    assert breaks_up_at(plain, gains) is not None
    assert breaks_up_at(faulty, gains) is None


def test_what_comes_out_of_soft_and_hard_notes_follows_where_it_breaks_up() -> None:
    drive = Drive({"last": 20.0}, {}, -20.0, CURVE)
    assert evens_out(drive, -20.0) == pytest.approx(40.0 - np.interp(-12.04, *zip(*CURVE, strict=True)), abs=0.01)
    assert evens_out(replace(drive, first=-8.0), math.inf) == pytest.approx(0.0, abs=1e-9)
    louder, plain = evens_out(drive, -28.0), evens_out(drive, -20.0)
    assert louder is not None
    assert plain is not None
    assert louder > plain
    assert evens_out(drive, -40.0) is None
    other = replace(drive, first=-41.0)
    assert nearest_drive([drive, other], -35.0) is other


def test_switches_together_keep_the_stages_in_the_order_of_the_amp() -> None:
    """A page is the same text each time it is written."""
    names = [f"V{number}" for number in range(12, 0, -1)]
    plain, bright, cathode = (Drive(dict.fromkeys(names, level), {}, 0.0, ()) for level in (1.0, 3.0, -1.0))
    assert list(combined([bright, cathode], plain).overload.items()) == [(name, 1.0) for name in names]
