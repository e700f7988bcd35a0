"""Transients by the time-step solver in the place of ngspice: the same vectors, and a sample that tells when not."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ampsim import load_amp, load_mod, parse_amp, parse_mod
from ampsim.base.errors import EngineError
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import circuit_at
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.switches.moving import moving
from ampsim.library.landing import apply_mods as landed_mods
from ampsim.simulation import in_time
from ampsim.simulation.agreement import AGREEMENT, TIMED_LIMIT, Agreement
from ampsim.simulation.analyses import Transient
from ampsim.simulation.band_limit import slow_part
from ampsim.simulation.facts import get
from ampsim.simulation.in_time import ALONE, INSTEAD, InTime, difference, solved_instead
from ampsim.simulation.netlist import node_vector
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Arrays
from ampsim.simulation.stimuli import Burst, Sine, Throw, Waveform
from ampsim.simulation.timed_run import TimedRun, Tone
from ampsim.simulation.timestep import branches
from ampsim.simulation.timestep import transient as module
from ampsim.simulation.timestep.pace import Pace
from ampsim.simulation.uneven_times import resample
from ampsim.simulation.unsettled import reason
from ampsim.studies.agreement import agreement_findings, agreement_words
from ampsim.studies.blocking.simulate import BURST, blocking
from ampsim.studies.findings import Grade
from ampsim.studies.hard_tone import HARD_TONE
from ampsim.studies.headroom.simulate import headroom
from ampsim.studies.pop.standby import PACE
from ampsim.studies.ratings.simulate import HARD
from tests.tools import random_amps

SEAT = branches.valve_seat
STIMULI = (
    Sine(1000.0, 0.01, 0.003, 2),
    Burst(800.0, 0.02, 0.00125, 0.00375, 0.005, 1e-3),
    Waveform(tuple(0.02 * np.hanning(96)), 24e3),
)


def clipper() -> Amp:
    """An operational amplifier, a transistor follower and a diode, so that currents of every kind are there."""
    parts = {"U1A": "TL072", "R1": "10k", "R2": "1M", "R3": "1k", "D1": "1N4148", "Q1": "J201", "R4": "10k", "C1": "1u"}
    wires = {
        "C1": ["in", "a"], "R1": ["a", "m"], "R2": ["m", "b"], "U1A": ["ground", "m", "b", "BP", "BM"],
        "R3": ["b", "c"], "D1": ["c", "ground"], "Q1": ["BP", "c", "out"], "R4": ["out", "BM"],
    }  # fmt: skip
    rails = [{"name": "BP", "volts": 15.0}, {"name": "BM", "volts": -15.0}]
    stage = {"name": "network", "template": "free wiring", "wires": wires}
    return parse_amp({"name": "clipper", "parts": parts, "rails": rails, "stages": [stage], "sure": list(parts)})


def timed(amp: Amp, stimulus: Any, nodes: tuple[str, ...] = (), pace: Pace | None = None) -> TimedRun:
    setting = amp.setting({})
    wired = circuit_at(amp, setting)
    pins = tuple(f"{each.designator}.{pin}" for each in wired.elements if each.kind == "valve" for pin, _ in each.pins)
    return TimedRun(
        wired, setting, Transient(stimulus, 10e-6), nodes or ("speaker", *pins), pace or Pace(2.5e-6), currents=True
    )


def texts(outcome: Any) -> list[bytes]:
    """All numbers of an answer."""
    return [each.tobytes() for each in (outcome.scale, *outcome.vectors.values())]


@pytest.mark.parametrize("number", [None, 100_068])
def test_what_is_kept_of_an_answer_is_the_same_as_of_all_steps(number: int | None) -> None:
    amp = load_amp("workshop-a") if number is None else random_amps.draw(number).amp
    tone, step, begin = Sine(1000.0, 0.05, 0.003, 2), 2.5e-6, 0.003
    run = timed(amp, tone)

    def played(pace: Pace) -> Arrays:
        return module.transient(run.wired, run.setting, run.analysis, run.netlist.form.vectors, pace)

    whole, kept = played(Pace(step)), played(Pace(step, keep=20e-6, since=begin))
    slow = played(Pace(step, keep=20e-6, since=begin, slow=tone.cycles))
    grid = begin + 20e-6 * np.arange(101)
    np.testing.assert_allclose(kept.scale, grid, atol=1e-12)
    speaker = f"v({run.wired.speaker})"
    for name, wave in kept.vectors.items():
        np.testing.assert_allclose(wave, whole.vectors[name][::8][-grid.size :], rtol=1e-9, atol=1e-9)
        if name != speaker:
            np.testing.assert_array_equal(wave, slow.vectors[name])
    found = slow_part(whole.vectors[speaker][-8 * 100 - 1 :], 100, tone.cycles)
    np.testing.assert_allclose(slow.vectors[speaker], found, rtol=1e-7, atol=1e-7)


@pytest.mark.parametrize("stimulus", STIMULI, ids=lambda each: each.shape)
def test_every_vector_of_any_amp_is_that_of_ngspice(stimulus: Any) -> None:
    amps = [load_amp("workshop-a"), clipper(), *(random_amps.draw(number).amp for number in (100_068, 100_013))]
    runs = [timed(amp, stimulus) for amp in amps]
    trial = InTime(checks=len(runs))
    answers, agreement = trial.run(runs), trial.agreement
    assert (agreement.solved, agreement.checked) == (len(runs), len(runs))
    assert agreement.worst < 0.01
    for run, ours, theirs in zip(runs, answers, engine.run([run.exact for run in runs]), strict=True):
        assert isinstance(ours, Arrays)
        assert isinstance(theirs, Arrays)
        assert tuple(ours.vectors) == run.netlist.form.vectors
        for name, values in ours.vectors.items():
            exact = resample(theirs.scale, theirs.vectors[name][None], ours.scale)[0]
            # Volts, milliamperes and amperes: what moves at all moves alike, and rests at the same value.
            apart, moved, floor = np.std(values - exact), np.std(exact), 1e-4 if name.startswith("v(") else 1e-8
            assert apart < (0.01 if name.startswith("v(") else 0.06) * moved + floor, name
            assert abs(values[0] - exact[0]) < 1e-3 * abs(exact[0]) + 1e-4, name


def test_contacts_move_as_in_ngspice() -> None:
    amp = apply_mods(load_amp("workshop-a"), load_mod("cathode-switch"))
    before, after = amp.controls["cathode"].positions[:2]
    wired, setting = moving(amp, (("cathode", before),), "cathode", after), amp.setting({"cathode": before})
    runs = [
        TimedRun(wired, setting, Transient(throw, 20e-6, 1e-5), ("speaker",), Pace(50e-6, ((2e-4, 1e-6), (5e-3, 1e-5))))
        for gap, bounces in ((0.0, 0), (0.5e-3, 1), (-0.5e-3, 0))
        for throw in [Throw(gap, bounces, 0.2e-3, at=0.001, duration=0.01)]
    ]
    trial = InTime(checks=len(runs))
    answers, agreement = trial.run(runs), trial.agreement
    assert agreement.checked == len(runs)
    assert agreement.worst < 0.01
    for ours in answers:
        assert isinstance(ours, Arrays)
        (volts,) = ours.vectors.values()
        assert np.abs(volts).max() > 5.0
        assert np.ptp(volts[ours.scale <= 0.001]) == 0.0


def test_echoes_of_a_contact_are_those_of_ngspice() -> None:
    """Springs go in steps of their own, and stand still in the much shorter ones right after a contact has moved."""
    tank = {"input": "8", "output": "2k25", "decay": 2.6, "delays_ms": [10.3]}
    short = {"name": "short springs", "reason": "r", "edits": [{"replace": "TANK1", "with": tank}]}
    amp = landed_mods(load_amp("ballroom"), load_mod("bypass-full-half-off"), parse_mod(short, "short.toml"))
    wired = moving(amp, (("bypass", "off"),), "bypass", "full")
    setting = amp.setting({"bypass": "off", "reverb": 1.0})
    places = ("speaker", "TANK1.out")
    run = TimedRun(wired, setting, Transient(Throw(at=0.001, duration=0.035), 10e-6, 1e-5), places, PACE)
    trial = InTime(checks=0)
    (ours,) = trial.run([run])
    assert trial.agreement.solved == 1
    (theirs,) = engine.run([run.exact])
    assert isinstance(ours, Arrays)
    assert isinstance(theirs, Arrays)
    for name, volts in ours.vectors.items():
        exact = np.interp(ours.scale, theirs.scale, theirs.vectors[name])
        weight = np.gradient(ours.scale)
        apart, moved = (np.sqrt(np.average(each**2, weights=weight)) for each in (volts - exact, exact - exact[0]))
        assert apart < 0.01 * moved, name
    echo = ours.vectors[run.netlist.form.vectors[1]]
    assert np.abs(echo[ours.scale > 0.0113]).max() > 20.0 * np.abs(echo[ours.scale < 0.011]).max() > 0.0


OFF = {"control": "loop", "drawn": "on", "positions": {"on": [], "off": [{"lift": "R20"}]}}
TRIODE = [{"lift": "R26"}, {"fit": "R801", "between": ["V4.plate", "V4.screen"]}]
HALF = {"control": "half", "drawn": "off", "positions": {"off": [], "on": TRIODE}}


@pytest.mark.parametrize(("switch", "to", "parts"), [(OFF, "off", {}), (HALF, "on", {"R801": "220"})])
def test_one_contact_leaves_a_winding_open_and_two_move_at_once(switch: Any, to: str, parts: dict[str, str]) -> None:
    """What flows through an open contact behind inductors is no number; both contacts conduct for part of an edge."""
    mod = parse_mod({"name": "m", "reason": "r", "parts": parts, "switches": [{"designator": "S801", **switch}]}, "m")
    amp, control = apply_mods(load_amp("workshop-a"), mod), switch["control"]
    wired = moving(amp, ((control, switch["drawn"]),), control, to)
    analysis, pace = Transient(Throw(duration=0.05), 200e-6, 1e-5), Pace(400e-6, ((50e-6, 0.5e-6), (5e-3, 20e-6)))
    run = TimedRun(wired, amp.setting({}), analysis, ("speaker",), pace)
    trial = InTime()
    (answer,) = trial.run([run])
    assert isinstance(answer, Arrays)
    assert trial.agreement.checked == 1
    assert trial.agreement.worst < 0.02


def test_what_is_kept_is_what_was_given(monkeypatch: pytest.MonkeyPatch) -> None:
    run = timed(load_amp("lesson-stage"), STIMULI[0], ("speaker",), Pace(5e-6, keep=10e-6, since=0.002))
    (first,) = InTime(checks=0).run([run])
    monkeypatch.setattr(module, "transient", None)
    (again,) = InTime(checks=0).run([run])
    assert isinstance(first, Arrays)
    assert isinstance(again, Arrays)
    assert first.scale[0] >= 0.002
    assert np.allclose(np.diff(first.scale), 10e-6)
    assert np.array_equal(first.scale, again.scale)
    assert all(np.array_equal(first.vectors[name], again.vectors[name]) for name in first.vectors)


def test_what_the_solver_cannot_do_ngspice_does(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any) -> Arrays:
        raise EngineError("not this one")

    runs = [timed(load_amp("lesson-stage"), dataclasses.replace(STIMULI[0], level=level)) for level in (0.011, 0.012)]
    monkeypatch.setattr(module, "transient", refuse)
    trial = InTime()
    answers, agreement = trial.run(runs), trial.agreement
    assert np.isnan(agreement.worst)
    assert dataclasses.replace(agreement, worst=0.0) == Agreement(0, 2, 0, 0.0, ("not this one",))
    for run, answer, exact in zip(runs, answers, engine.run([run.netlist for run in runs]), strict=True):
        assert isinstance(answer, Arrays)
        assert isinstance(exact, Arrays)
        assert difference(run, answer, exact) < 1e-4
    assert "2 of 2" not in agreement_words(agreement)
    assert "not this one" in agreement_words(agreement)


def test_a_check_that_ngspice_gives_up_on_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(in_time, "fetch_answer", lambda *_: None)
    trial = InTime()
    monkeypatch.setattr(trial, "_by_ngspice", lambda asked: [EngineError("Timestep too small") for _ in asked])
    (answer,) = trial.run([timed(clipper(), Sine(1000.0, 0.1, 0.0, 2))])
    assert isinstance(answer, Arrays)
    assert (trial.agreement.checked, trial.agreement.unchecked) == (0, 1)
    words = "In time: 1 of 1 runs by the time-step solver; 1 that ngspice was to do too had no answer to compare."
    assert agreement_words(trial.agreement) == words


def test_what_ngspice_cannot_do_the_solver_does_where_half_the_steps_agree() -> None:
    run = timed(clipper(), STIMULI[0], ("speaker",), Pace(ALONE, keep=2e-5))
    given = engine.run([run.netlist])[0]
    refused = EngineError("Timestep too small")
    assert solved_instead([run], [given]) == [given]
    (answer,) = solved_instead([run], [refused])
    assert isinstance(answer, Arrays)
    assert isinstance(given, Arrays)
    assert answer.notes == (INSTEAD,)
    assert difference(run, answer, given) < 0.01


def test_steps_are_halved_in_the_place_of_ngspice_as_long_as_that_brings_answers_together(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What oscillates by itself gives something else in steps of any length, at times the same by chance."""
    refused = EngineError("a step too small")
    rough = timed(clipper(), Sine(5e3, 0.5, 0.0, 20), ("speaker",), Pace(2e-5, keep=2e-5))
    first, second = InTime(checks=0).run([rough, rough.finer])
    assert isinstance(first, Arrays)
    assert isinstance(second, Arrays)
    assert difference(rough, first, second) > TIMED_LIMIT
    (answer,), (exact,) = solved_instead([rough], [refused]), engine.run([rough.finer.finer.exact])
    assert isinstance(answer, Arrays)
    assert isinstance(exact, Arrays)
    assert difference(rough, answer, exact) < TIMED_LIMIT
    for apart, taken in (((1.3, 0.07, 1.2, 0.0), False), ((0.5, 0.4, 0.3, 0.2, 0.0), False), ((0.3, 0.2, 0.02), True)):
        told = iter(apart)
        monkeypatch.setattr(in_time, "difference", lambda *_, told=told: next(told))
        assert (solved_instead([rough], [refused]) == [refused]) != taken


def coarse(level: float) -> TimedRun:
    """A run in steps too long for it; in half of them it is within what is allowed."""
    return timed(clipper(), Sine(1000.0, level, 0.003, 2), ("speaker",), Pace(1.0 / 24e3))


def test_steps_too_long_for_an_amp_are_halved_and_all_is_taken_in_them() -> None:
    runs = [coarse(level) for level in (0.5, 0.4)]
    trial = InTime()
    answers = trial.run(runs)
    (exact,) = engine.run([runs[0].finer.exact])
    (long_steps, *_), halved = InTime(checks=0).run(runs), InTime(checks=0).run([run.finer for run in runs])
    assert isinstance(long_steps, Arrays)
    assert isinstance(exact, Arrays)
    assert difference(runs[0], long_steps, exact) > TIMED_LIMIT
    assert [texts(each) for each in answers] == [texts(each) for each in halved]
    assert isinstance(answers[0], Arrays)
    worst = difference(runs[0], answers[0], exact)
    assert worst < TIMED_LIMIT
    assert trial.agreement == Agreement(2, 0, 1, worst)
    # What is asked later is taken in them too.
    assert [texts(each) for each in trial.run(runs)] == [texts(each) for each in halved]


def test_where_half_the_steps_are_still_too_long_a_quarter_is_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    run = coarse(0.4)
    for apart, taken in (((0.3, 0.1, 0.01), True), ((0.3, 0.1, 0.05), False), ((0.3, 0.4, 0.0), False)):
        told = iter(apart)
        monkeypatch.setattr(in_time, "difference", lambda *_, told=told: next(told))
        trial = InTime()
        answers = trial.run([run])
        wanted = InTime(checks=0).run([run.finer.finer]) if taken else engine.run([run.netlist])
        assert [texts(each) for each in answers] == [texts(each) for each in wanted]
        assert trial.agreement.worst == (apart[-1] if taken else 0.3)


def test_a_difference_that_half_the_steps_leave_without_an_answer_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    run, right = coarse(0.5), module.transient

    def refuse(*given: Any) -> Arrays:
        if given[-1] != run.pace:
            raise EngineError("not this one")
        return right(*given)

    monkeypatch.setattr(module, "transient", refuse)
    monkeypatch.setattr(in_time, "fetch_answer", lambda *_: None)
    trial = InTime()
    answers = trial.run([run])
    assert trial.agreement.broken
    assert [texts(each) for each in answers] == [texts(each) for each in engine.run([run.netlist])]


def test_a_solver_that_is_wrong_is_found_out_and_not_believed(monkeypatch: pytest.MonkeyPatch) -> None:
    right = module.transient

    def wrong(*given: Any) -> Arrays:
        answer = right(*given)
        return dataclasses.replace(answer, vectors={name: 1.05 * each for name, each in answer.vectors.items()})

    amp = load_amp("lesson-stage")
    runs = [timed(amp, dataclasses.replace(STIMULI[0], level=level)) for level in (0.013, 0.014)]
    monkeypatch.setattr(module, "transient", wrong)
    monkeypatch.setattr(in_time, "keep_answer", lambda *_: None)
    trial = InTime()
    answers, agreement = trial.run(runs), trial.agreement
    assert agreement.broken
    assert (agreement.solved, agreement.by_ngspice) == (0, 2)
    exact = engine.run([run.netlist for run in runs])
    assert [texts(each) for each in answers] == [texts(each) for each in exact]
    (finding,) = agreement_findings(agreement, "headroom", "stock")
    assert finding.grade == Grade.UNKNOWN
    assert "2 runs are ngspice's" in agreement_words(agreement)
    # Once found out it is not asked again.
    assert [texts(each) for each in trial.run(runs)] == [texts(each) for each in exact]
    assert trial.agreement.by_ngspice == 4


@pytest.mark.parametrize("wrong", [False, True])
def test_numbers_that_are_told_are_compared_also_where_the_wave_at_the_speaker_agrees(
    wrong: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    right, run = module.transient, timed(load_amp("lesson-stage"), STIMULI[0], ("speaker", "V1A.plate"))
    plate = str(node_vector(run.wired, "V1A.plate"))

    def spikeless(*given: Any) -> Arrays:
        answer = right(*given)
        return dataclasses.replace(
            answer, vectors=answer.vectors | ({plate: 0.9 * answer.vectors[plate]} if wrong else {})
        )

    run = dataclasses.replace(
        run, told=lambda _, answer: {"highest volts at V1A.plate": float(answer.vectors[plate].max())}
    )
    monkeypatch.setattr(module, "transient", spikeless)
    monkeypatch.setattr(in_time, "keep_answer", lambda *_: None)
    monkeypatch.setattr(in_time, "fetch_answer", lambda *_: None)
    trial = InTime()
    trial.run([run])
    assert "in what is told by" in agreement_words(trial.agreement)
    assert "highest volts at V1A.plate" in agreement_words(trial.agreement)
    assert not trial.agreement.broken
    findings = [*agreement_findings(trial.agreement, "ratings", "stock")]
    assert [each.grade for each in findings] == ([Grade.UNKNOWN] if wrong else [])
    assert trial.agreement.told == pytest.approx(0.1 if wrong else 0.0, abs=1e-3)
    assert all("10 %" in each.sentence and "V1A.plate" in each.sentence for each in findings)


@pytest.mark.parametrize("turned", [False, True])
def test_an_amp_that_does_not_stay_at_rest_says_so_and_what_to_do_where_it_has_no_answer(turned: bool) -> None:
    """With the secondary the wrong way round feedback feeds itself; of an amp that is sound ngspice's words remain."""
    amp = load_amp("workshop-a")
    parts = [dataclasses.replace(each, reversed=turned) if each.kind == "transformer" else each for each in amp.parts]
    run = timed(dataclasses.replace(amp, parts=tuple(parts)), STIMULI[0])
    raw = EngineError("no trustworthy answer")
    told = reason(run.wired, run.setting, raw)
    assert (told is raw) != turned
    if turned:
        assert told.__cause__ is raw
        for words in ("workshop", "grows tenfold in", "R20.", "`secondary`", "`stability`"):
            assert words in str(told), words


@pytest.mark.parametrize(
    "stimulus", [*STIMULI, Burst(400.0, 0.5, 0.04, 0.1, 0.3, 1e-4), Sine(82.41, 0.5, 0.18, 2), Throw()], ids=repr
)
def test_a_sample_is_as_short_as_asked_and_ends_as_the_whole(stimulus: Any) -> None:
    whole = timed(load_amp("lesson-stage"), stimulus, pace=Pace(1e-5, since=0.7 * stimulus.duration))
    for seconds in (1e-3, 0.5 * stimulus.duration, stimulus.duration):
        sample = whole.sample(seconds)
        shorter = sample.analysis.stimulus
        least = getattr(stimulus, "end", 2.0 / getattr(stimulus, "frequency", np.inf)) + 1e-4
        assert shorter.duration <= seconds + least
        assert (sample is whole) == (shorter == stimulus)
        seen = shorter.duration - sample.pace.since
        assert seen == pytest.approx(min(shorter.duration, stimulus.duration - whole.pace.since))
        assert set(sample.netlist.form.vectors) <= set(whole.netlist.form.vectors)
        played = [np.abs(each.volts(np.linspace(0.0, each.duration, 10_000))).max() for each in (stimulus, shorter)]
        assert played[1] == pytest.approx(played[0], rel=0.05) or isinstance(stimulus, Waveform)


def test_a_solver_that_is_wrong_is_found_out_by_a_short_sample(monkeypatch: pytest.MonkeyPatch) -> None:
    right = module.transient

    def wrong(*given: Any) -> Arrays:
        answer = right(*given)
        return dataclasses.replace(answer, vectors={name: 1.05 * each for name, each in answer.vectors.items()})

    run = timed(load_amp("lesson-stage"), Burst(400.0, 0.015, 0.04, 0.1, 0.3, 1e-4))
    monkeypatch.setattr(in_time, "keep_answer", lambda *_: None)
    sound, trial = InTime(seconds=0.02), InTime(seconds=0.02)
    sound.run([run])
    assert (sound.agreement.checked, sound.agreement.seconds) == (1, 0.02)
    assert sound.agreement.worst < 0.5 * TIMED_LIMIT
    assert "for 20 ms" in agreement_words(sound.agreement)
    monkeypatch.setattr(module, "transient", wrong)
    trial.run([run])
    assert trial.agreement.broken


def worn(valve: Any, nets: Any, name: str = "") -> branches.Seat:
    """A seat whose valve's law has its first number half too large, in our own solver alone."""
    seat = SEAT(valve, nets, name)
    return dataclasses.replace(seat, numbers=(1.5 * seat.numbers[0], *seat.numbers[1:]))


def checks_alone(trial: InTime) -> Any:
    """Has ngspice do what it checks and nothing in the place of the solver, which would take long."""
    right = trial._by_ngspice

    def answered(netlists: list[Any]) -> list[Any]:
        whole = any(each.form.end > 0.03 for each in netlists)
        return [EngineError("left out")] * len(netlists) if whole else right(netlists)

    return answered


@pytest.mark.parametrize(("stimulus", "seconds"), [(BURST, 0.03), (HARD[0], 0.02)], ids=["tone", "itself"])
@pytest.mark.parametrize("fault", [False, True])
def test_a_fault_in_a_law_of_an_amp_is_found_out(
    monkeypatch: pytest.MonkeyPatch, fault: bool, stimulus: Any, seconds: float
) -> None:
    """As blocking and ratings check: by ngspice in a tone that topics share, or in the beginning of what is played."""
    monkeypatch.setattr(in_time, "fetch_answer", lambda *_: None)
    monkeypatch.setattr(in_time, "keep_answer", lambda *_: None)
    if fault:
        monkeypatch.setattr(branches, "valve_seat", worn)
    module._bench.cache_clear()
    run = timed(load_amp("lesson-stage"), stimulus, ("speaker",), Pace(5e-6))
    trial = InTime(seconds=seconds, tone=HARD_TONE if stimulus is BURST else None)
    monkeypatch.setattr(trial, "_by_ngspice", checks_alone(trial))
    trial.run([run])
    module._bench.cache_clear()
    assert trial.agreement.checked == 1
    assert trial.agreement.broken == fault
    assert (trial.agreement.worst > 0.5 * TIMED_LIMIT) == fault


def test_with_a_tone_for_ngspice_steps_that_are_too_long_are_found_out_by_half_of_them() -> None:
    tone = Tone(Sine(1000.0, 0.5, 0.001, 2), 10e-6, 1e-4, Pace(1e-6))
    fine, rough = InTime(seconds=0.004, tone=tone), InTime(seconds=0.004, tone=tone)
    fine.run([dataclasses.replace(coarse(0.5), pace=Pace(1e-6))])
    assert fine.agreement.worst < 0.5 * TIMED_LIMIT
    assert "by ngspice too in a tone as loud for 3.0 ms, and in steps half as long for 4 ms" in agreement_words(
        fine.agreement
    )
    (answer,) = rough.run([coarse(0.5)])
    (halved,) = InTime(checks=0).run([coarse(0.5).finer])
    assert texts(answer) == texts(halved)


def test_topics_that_play_as_loud_ask_ngspice_once(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path))
    amp, asked, right = load_amp("lesson-stage"), [0], engine.run

    def counted(netlists: Any, **how: Any) -> Any:
        asked[-1] += sum(each.form.command.startswith("tran") for each in netlists)
        return right(netlists, **how)

    monkeypatch.setattr(engine, "run", counted)
    headroom(amp, levels=(0.5, 1.0), checks=1)
    asked.append(0)
    assert get(blocking(amp), AGREEMENT).checked == 1
    assert asked == [1, 0]
