"""Measured from any source, heard at any place: healthy amps pass, faults do not, rounds come together."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from itertools import permutations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.bench.diagnosis.readings import parse_readings
from ampsim.bench.diagnosis.report import diagnose
from ampsim.bench.proof.rounds import Round, latest_readings
from ampsim.bench.proof.sheet import proof_of_rounds
from ampsim.bench.proof.sweeps import COUNT, sweep_proof, take_sweep
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.plugging import jack_names, plug_in
from ampsim.circuit.signal_path import valve_stages
from ampsim.circuit.source import Source, SourceKind, parse_source
from ampsim.circuit.stages import Kind, stages_of
from ampsim.circuit.values import with_values
from ampsim.library.loader import load_amp, load_mod
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.response import simulate
from tests.tools.any_amps import amps
from tests.tools.every_command import curve, healthy_state, volts
from tests.tools.jacks import LOW, RETURN, with_jacks

FIRST = datetime.date(2026, 5, 1)


def sources(amp: Amp) -> Iterator[str]:
    """Every source there is: what is plugged into each jack, and a generator clipped to every driven grid."""
    for jack in jack_names(amp):
        yield f"generator 600 at {jack}"
        if stages_of(amp, Kind.INSTRUMENT):
            yield f"guitar at {jack}"
    for stage in valve_stages(build_circuit(amp))[1:]:
        yield f"generator 600 at {stage.driven[0]} through 100n"


def swept(amp: Amp, source: str, heard: str = "speaker", seed: int = 7) -> xr.Dataset:
    """A sweep of a healthy amp of this drawing."""
    plugged = plug_in(amp, source)
    hertz, level = curve(plugged, {}, healthy_state(plugged, {}, seed), heard)
    return xr.Dataset({"gain_db": ("frequency", level)}, {"frequency": hertz})


def on_the_bench() -> list[Amp]:
    shipped = [load_amp("rehearsal-room"), with_jacks(load_amp("workshop-a"), "master")]
    made = [each.amp for each in amps(7, seed=21)]
    return [*shipped, *(with_jacks(amp, amp.stages[-1].name) if n % 2 else amp for n, amp in enumerate(made))]


@pytest.mark.parametrize("amp", on_the_bench(), ids=lambda amp: amp.name)
def test_sweeps_of_healthy_amps_pass_at_every_source(amp: Amp) -> None:
    # Of the amps by lot each second source, in turn the even and the odd ones: they have the same stages.
    lot = re.match(r"made amp \d+-(\d+)", amp.name)
    some = list(sources(amp))[int(lot[1]) % 2 :: 2] if lot else sources(amp)
    proved = [sweep_proof(take_sweep("", amp, {}, swept(amp, each), source=each), count=COUNT) for each in some]
    assert len(proved) >= 2
    assert all(each.verdict != "fail" for each in proved), [each.finding.words for each in proved]


@pytest.mark.parametrize("name", ["workshop-a", "workshop-b"])
def test_what_nobody_wrote_down_is_what_fits(name: str) -> None:
    amp = load_amp(name)
    for source in ("guitar", "generator 600 at input", "generator 50"):
        taken = take_sweep("", amp, {}, swept(amp, source))
        assert taken.amp.source.kind is parse_source(source).kind
        assert not taken.source_known
        assert "nobody wrote it down" in taken.how
        assert sweep_proof(taken, count=COUNT).verdict != "fail"
    # Told the wrong one, it fails: a sweep tells a guitar from a generator.
    wrong = take_sweep("", amp, {}, swept(amp, "generator"), source="guitar")
    assert sweep_proof(wrong, count=COUNT).verdict == "fail"


@pytest.mark.parametrize("name", ["workshop-a", "workshop-b", "rehearsal-room"])
def test_an_amp_with_a_wrong_part_fails_at_every_source_before_it(name: str) -> None:
    amp = with_jacks(load_amp(name))
    stages = valve_stages(build_circuit(amp))
    # The last coupling capacitor before the output stage is a hundredth of its value.
    last = stages[-1].driven[0].partition(".")[0]
    grid = build_circuit(amp).net(f"{last}.grid")
    faulty = with_values(amp, {part: 0.01 * value for part, value in couplings(amp, grid)})
    found = []
    for source in (f"generator at {LOW}", "generator", f"generator at {stages[-2].driven[0]}"):
        found.append(sweep_proof(take_sweep("", amp, {}, swept(faulty, source), source=source), count=COUNT).verdict)
        guess = take_sweep("", amp, {}, swept(faulty, source))
        found.append(sweep_proof(guess, count=COUNT).verdict)
    assert found == ["fail"] * len(found)


def couplings(amp: Amp, grid: str) -> Iterator[tuple[str, float]]:
    """Capacitors between the last stage and the one before it, with their values."""
    stage = {each.name: each for each in amp.stages}[valve_stages(build_circuit(amp))[-1].name]
    for each in build_circuit(amp).elements:
        part = amp.part_by_designator.get(each.designator)
        if each.kind == "capacitor" and each.stage == stage.name and each.net("2") != "0":
            yield each.designator, part.value  # type: ignore[union-attr]


def test_where_it_was_heard_counts() -> None:
    amp = load_amp("workshop-a")
    for heard in ("V1A.plate", "V2B.cathode"):
        sweep = swept(amp, "generator", heard)
        assert sweep_proof(take_sweep("", amp, {}, sweep, heard, "generator"), count=COUNT).verdict != "fail"
        assert sweep_proof(take_sweep("", amp, {}, sweep, "speaker", "generator"), count=COUNT).verdict == "fail"
    with pytest.raises(DescriptionError, match=r"V9\.plate"):
        take_sweep("", amp, {}, swept(amp, "generator"), "V9.plate")


def test_volts_of_healthy_amps_pass_and_no_fault_is_found_whatever_is_plugged_in() -> None:
    amp = with_jacks(load_amp("lesson-stage"))
    rounds = []
    for source in ("nothing", *sources(amp)):
        plugged = plug_in(amp, source)
        read = dict(volts(plugged, {}, healthy_state(plugged, {}, 3)))
        told = diagnose(amp, parse_readings({"volts": read, "source": source, "mains": 231, "mains_drawn": 230}, amp))
        assert told.healthy, (source, told.verdict())
        assert f"Plugged in: {parse_source(source)}." in told.text()
        places = {name: value for name, value in read.items() if " " not in name}
        rounds.append(Round(places, {}, 232.3, 230.0, 10e6, parse_source(source), source))
        sheet = proof_of_rounds(amp, rounds[-1:], count=COUNT)
        assert sheet.passed, (source, sheet.text())
    assert proof_of_rounds(amp, rounds, count=COUNT).passed


# Rounds


def healthy(amp: Amp, position: dict[str, float | str], places: list[str], source: Source) -> dict[str, float]:
    found = simulate(plug_in(amp, source), OperatingPoint(), [position], nodes=places)["voltage"].values.ravel()
    return dict(zip(places, map(float, found), strict=True))


AMP = load_amp("workshop-a")
MODDED = apply_mods(AMP, load_mod("cathode-switch"))
PLACES = ["B1", "V1A.plate", "V1A.cathode", "V1B.plate", "V2A.cathode"]
WHERE: list[dict[str, float | str]] = [{}, {"gain": 0.9}, {"cathode": "6k8"}, {"cathode": "6k8", "gain": 0.1}]
ROUNDS = st.lists(
    st.tuples(st.integers(0, 3), st.lists(st.sampled_from(PLACES), min_size=1, max_size=4, unique=True)),
    min_size=1,
    max_size=5,
)


@settings(max_examples=20)
@given(ROUNDS, st.randoms(use_true_random=False))
def test_the_latest_reading_counts_at_each_place_and_position_in_any_order(drawn, random) -> None:
    """A control that moves no volts at a place makes no other position there: "gain" moves none anywhere."""
    rounds = [
        Round({place: 100.0 * day + number for number, place in enumerate(places)}, WHERE[where], date=day_of(day))
        for day, (where, places) in enumerate(drawn)
    ]
    warm = {id(each): "cathode" in each.position for each in rounds}
    expected = {}
    for each in rounds:
        for place, value in each.volts.items():
            key = (place, warm[id(each)] if matters(place) else None)
            expected[key] = value
    mixed = list(rounds)
    random.shuffle(mixed)
    found = {
        (place, warm[id(each)] if matters(place) else None, value)
        for each, kept in zip(mixed, latest_readings(MODDED, mixed), strict=True)
        for place, value in kept.items()
    }
    assert found == {(place, where, value) for (place, where), value in expected.items()}


@lru_cache
def matters(place: str) -> bool:
    """Whether the switch of the mod moves the volts at a place by more than a meter's error."""
    cold, warm = (healthy(MODDED, at, [place], Source())[place] for at in ({}, {"cathode": "6k8"}))
    return abs(cold - warm) > 0.01 * max(abs(cold), abs(warm)) + 0.02


def day_of(number: int) -> datetime.date:
    return FIRST + datetime.timedelta(days=number)


@pytest.mark.parametrize("order", list(permutations(range(3))))
def test_a_repair_is_proved_by_the_later_round_alone(order: tuple[int, ...]) -> None:
    good = healthy(AMP, {}, PLACES, Source())
    wrong = good | {"V1A.plate": 0.5 * good["V1A.plate"]}
    rounds = [
        Round(wrong, {}, 230.0, 230.0, name="1", date=FIRST),
        Round({"V1A.plate": good["V1A.plate"]}, {"gain": 0.2}, 231.0, 230.0, name="2", date=day_of(1)),
        Round({"V4.cathode": healthy(AMP, {}, ["V4.cathode"], Source())["V4.cathode"]}, {}, name="3", date=day_of(2)),
    ]
    sheet = proof_of_rounds(AMP, [rounds[number] for number in order], count=COUNT)
    assert sheet.passed, sheet.text()
    read = {row.place: row.read for row in sheet.rows if row.measured is not None}
    assert read == {"B1": "1", "V1A.plate": "2", "V1A.cathode": "1", "V1B.plate": "1", "V2A.cathode": "1"} | {
        "V4.cathode": "3"
    }
    assert "Round 2, 2026-05-02" in sheet.text()
    before = proof_of_rounds(AMP, [rounds[0]], count=COUNT)
    assert [row.place for row in before.rows if row.verdict == "fail"] == ["V1A.plate"]


def test_one_place_may_be_read_at_several_positions() -> None:
    rounds = [
        Round(healthy(MODDED, at, ["V1B.cathode"], Source()), at, 230.0, 230.0, name=str(number), date=day_of(number))
        for number, at in enumerate(({}, {"cathode": "6k8"}))
    ]
    sheet = proof_of_rounds(MODDED, rounds, count=COUNT)
    rows = [row for row in sheet.rows if row.place == "V1B.cathode"]
    assert [row.verdict for row in rows] == ["pass", "pass"]
    assert rows[0].expected != pytest.approx(rows[1].expected, rel=0.05)
    assert list(sheet.table["controls"][:1]) != [None]
    assert sheet.position == "at several positions"


def test_a_return_is_a_source_like_any_other() -> None:
    amp = with_jacks(load_amp("workshop-a"), "master")
    sweep = swept(amp, f"generator 600 at {RETURN}")
    assert sweep_proof(take_sweep("", amp, {}, sweep), count=COUNT).verdict != "fail"
    assert take_sweep("", amp, {}, sweep).amp.source == Source(SourceKind.GENERATOR, RETURN, 600.0)
    assert np.isfinite(sweep["gain_db"].values).all()
    assert replace(amp, source=Source()) == amp
