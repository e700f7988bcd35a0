"""Listening: phrases, loudness, renders and what is kept of them, clips, differences and pops, files, the command."""

from __future__ import annotations

import argparse
import math
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.io import wavfile
from scipy.signal import butter, lfilter

from ampsim.audio.cache import RenderedVolts, fetch_stored, store
from ampsim.audio.cache_key import case_key
from ampsim.audio.candidates import listen_to_candidates
from ampsim.audio.clips import Clip, Clips
from ampsim.audio.differences import difference, pop_clip, sound_alike
from ampsim.audio.files import write_clips
from ampsim.audio.linear import SWEEP, render_linear, through
from ampsim.audio.listen import ListeningOptions, listen, listening_positions
from ampsim.audio.loads import with_load
from ampsim.audio.loudness_standards import A_WEIGHTED, BS_1770, ISO_532, STANDARDS, true_peak
from ampsim.audio.matching import CEILING_DB, clip_labels, disagreement, equal_gains, match_loudness
from ampsim.audio.phrases import RATE, Phrase, dry_phrase, phrase, read_response
from ampsim.audio.player.page import write_player
from ampsim.audio.plucked_strings import PICKED_UP, PLUCKED, Note, loop_filter, pluck
from ampsim.audio.render import render
from ampsim.base.errors import DescriptionError, EngineError, Stopped
from ampsim.base.progress import Progress
from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import every_position
from ampsim.interface.commands.common import page_clips
from ampsim.interface.commands.main import main
from ampsim.library.candidates import read_candidates
from ampsim.library.loader import load_amp, load_audition, load_mod
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.netlist import build
from ampsim.studies.pop.moves import Transition
from tests.truth.listening import k_weight_db, tone

Array = NDArray[np.float64]
SHORT = Phrase("short", "A short phrase.", phrase("chords", 0.1).volts[:24_000])


@dataclass(frozen=True)
class Answer:
    """What the stand-in for the solver gives back."""

    volts: Array
    repaired: int = 2


class StandIn:
    """A solver of one line: louder with "bright" at 120p, 100 V at rest; counts its calls."""

    def __init__(self, change: Callable[[Answer], Answer] = lambda answer: answer) -> None:
        self.calls: list[dict[str, object]] = []
        self._change = change

    def __call__(
        self,
        amp: Amp,
        signal: Array,
        rate: float,
        *,
        position: Mapping[str, object],
        progress: Progress,
        moves: object = (),
        **more: object,
    ) -> Answer:
        self.calls.append({"amp": amp, "position": dict(position), "moves": moves, **more})
        for done in range(1, 5):
            progress(done, 4, "samples")
        gain = {"120p": 60.0, "390p": 90.0}.get(str(position.get("bright")), 20.0)
        volts = 100.0 + 20.0 * np.tanh(gain * signal / 20.0)
        for at, _ in moves:  # type: ignore[attr-defined]
            after = np.arange(signal.size - round(at * rate))
            volts[round(at * rate) :] += 3.0 * np.exp(-after / 500.0)
        return self._change(Answer(volts))


@pytest.fixture(scope="module")
def amps() -> tuple[Amp, Amp]:
    stock = load_amp("workshop-a")
    return stock, apply_mods(stock, load_mod("bright-switch"))


@pytest.fixture(scope="module")
def played(amps: tuple[Amp, Amp]) -> xr.Dataset:
    return render(amps, every_position(amps[1], "bright"), SHORT, cache=False, play=StandIn())


# Phrases --------------------------------------------------------------------------------------------------------------


@given(st.floats(60.0, 1200.0), st.floats(0.2, 8.0), st.integers(1, 6))
@settings(max_examples=60)
def test_the_loop_of_a_string_closes_at_its_pitch_and_loses_what_it_shall(
    hertz: float, ring: float, losses: int
) -> None:
    """Closed form: a whole turn of phase a period, and 60 dB in `ring` at the pitch; nowhere a gain of 1 or more."""
    delay, taps = loop_filter(Note(0.0, hertz, 1.0, ring=ring, losses=losses), RATE)
    turn = 2.0 * math.pi * hertz / RATE * (delay + np.arange(taps.size))
    once = np.sum(taps * np.exp(-1j * turn))
    # Off pitch by as much as the phase is off the turn: a cent is 1/1731 of the pitch.
    assert abs(np.angle(once)) / (2.0 * math.pi) * 1731.0 < 0.5
    # Where the losses alone take more than is wanted, they stay.
    most = 0.9999 * (0.5 + 0.5 * math.cos(2.0 * math.pi * hertz / RATE)) ** losses
    assert abs(once) == pytest.approx(min(10.0 ** (-3.0 / (hertz * ring)), most), rel=5e-4)
    assert np.abs(np.fft.rfft(taps, 4096)).max() < 1.0


def test_the_partials_of_a_string_are_those_of_its_plucked_place_and_pickup() -> None:
    """Closed form: sin(n pi pick) sin(n pi pickup) / sqrt(1 + n^2), and the fall of the pick's width."""
    note = Note(0.0, 110.0, 1.0, ring=6.0)
    window = np.hanning(round(0.25 * RATE))
    spectrum = np.abs(np.fft.rfft(pluck(note, RATE)[: window.size] * window, 1 << 18))
    order = np.array([1, 2, 3, 5, 6, 7])
    heard = np.array([spectrum[round(n * note.hertz / RATE * (1 << 18)) + np.arange(-20, 21)].max() for n in order])
    comb = np.abs(np.sin(order * np.pi * PLUCKED) * np.sin(order * np.pi * PICKED_UP)) / np.sqrt(1.0 + order**2)
    comb /= np.sqrt(1.0 + (order * note.hertz / note.pick) ** 2)
    error = 20.0 * np.log10(heard / heard[1] / (comb / comb[1]))
    assert np.abs(error).max() < 1.0


def test_a_phrase_is_always_the_same_and_has_its_level() -> None:
    first, again = phrase(level=0.3), phrase(level=0.3)
    assert np.array_equal(first.volts, again.volts)
    assert first.level == pytest.approx(0.3)
    assert first.seconds == pytest.approx(6.16, abs=0.01)
    assert "300 mV peak" in first.words
    assert not first.volts[: round(0.009 * RATE)].any()


@pytest.mark.parametrize("wrong", [0.0, -1.0, 11.0, math.nan])
def test_a_level_out_of_bounds_is_refused(wrong: float) -> None:
    with pytest.raises(DescriptionError, match="input level"):
        phrase(level=wrong)


@pytest.mark.parametrize(("rate", "kind"), [(44_100, np.int16), (96_000, np.int32), (22_050, np.float32)])
def test_a_dry_recording_of_any_rate_and_form_comes_out_at_its_level(tmp_path: Path, rate: int, kind: type) -> None:
    """Files from scipy's writer; the tone at 48 kHz against its own formula."""
    at = np.arange(rate) / rate
    left = 0.5 * np.sin(2.0 * np.pi * 441.0 * at) + 0.05
    table = np.stack([left, np.zeros(rate)], axis=1)
    scale = 1.0 if kind is np.float32 else float(np.iinfo(kind).max)
    wavfile.write(tmp_path / "dry.wav", rate, (table * scale).astype(kind))
    found = dry_phrase(tmp_path / "dry.wav", 0.2)
    assert "one channel" in found.words
    middle = np.arange(10_000, 38_000)
    wanted = np.sin(2.0 * np.pi * 441.0 * (middle - round(0.01 * RATE)) / RATE)
    heard = found.volts[middle]
    assert heard / np.abs(heard).max() == pytest.approx(wanted, abs=2e-3)
    assert found.level == pytest.approx(0.2)


def _dry(case: str) -> tuple[int, Array]:
    sine = 0.5 * np.sin(np.arange(RATE) / 20.0)
    return {
        "clipped": (RATE, np.clip(3.0 * sine, -1.0, 1.0 - 2.0**-15)),
        "silent": (RATE, 1e-4 * sine),
        "cancel": (RATE, np.stack([sine, -sine], axis=1)),
        "0.10 s long": (RATE, sine[:4800]),
        "70.00 s long": (8000, np.tile(sine[:8000], 70)),
    }[case]


@pytest.mark.parametrize("case", ["clipped", "silent", "cancel", "0.10 s long", "70.00 s long"])
def test_a_dry_recording_that_will_not_do_is_refused_in_words(tmp_path: Path, case: str) -> None:
    rate, sound = _dry(case)
    wavfile.write(tmp_path / "mine.wav", rate, np.rint(sound * 32768.0).astype(np.int16))
    with pytest.raises(DescriptionError, match=f"mine.wav.*{case}"):
        dry_phrase(tmp_path / "mine.wav")


def test_a_broken_file_is_refused(tmp_path: Path) -> None:
    wavfile.write(tmp_path / "whole.wav", RATE, np.zeros(RATE, np.int16))
    (tmp_path / "mine.wav").write_bytes((tmp_path / "whole.wav").read_bytes()[:5000])
    with pytest.raises(DescriptionError, match=r"mine.wav: cut off"):
        dry_phrase(tmp_path / "mine.wav")


# Loudness -------------------------------------------------------------------------------------------------------------


def _sounds(seed: int) -> Array:
    """Three sounds of different colour, level and crest."""
    noise = np.random.default_rng(seed).standard_normal((3, 36_000))
    noise[0] = lfilter(*butter(2, 300.0, fs=RATE), noise[0])
    noise[1] *= np.arange(36_000) % 6000 < 600
    return noise * np.array([[1e-3], [5.0], [200.0]])


@pytest.mark.parametrize("name", STANDARDS)
def test_clips_come_out_equally_loud_and_below_the_safe_peak(name: str) -> None:
    sounds, standard = _sounds(3), STANDARDS[name]
    gains = equal_gains(sounds, standard)
    loud = sounds * gains[:, np.newaxis]
    levels = standard.measure(loud)
    # The method of ISO 532-1 jumps by tenths of a phon at some levels.
    assert np.ptp(levels) <= (0.6 if name == ISO_532 else 0.041)
    assert levels.max() <= standard.target + 0.3
    assert 20.0 * np.log10(true_peak(loud).max()) <= CEILING_DB + 1e-6
    assert equal_gains(100.0 * sounds, standard) * 100.0 == pytest.approx(gains, rel=0.01)


def test_a_clip_with_high_peaks_turns_all_of_them_down_alike() -> None:
    sounds = 0.01 * _sounds(4)
    sounds[1] = 0.0
    sounds[1, ::6000] = 1.0
    standard = STANDARDS[BS_1770]
    loud = sounds * equal_gains(sounds, standard)[:, np.newaxis]
    assert 20.0 * np.log10(true_peak(loud).max()) == pytest.approx(CEILING_DB, abs=1e-6)
    levels = standard.measure(loud)
    assert np.ptp(levels) <= 0.041
    assert levels.max() < standard.target - 1.0


def test_silence_cannot_be_matched() -> None:
    sounds = _sounds(5)
    sounds[2] = 0.0
    with pytest.raises(DescriptionError, match=f"sound 3 of {len(sounds)} is silent"):
        equal_gains(sounds, STANDARDS[BS_1770])


def test_how_far_the_standards_disagree_is_what_their_curves_say() -> None:
    """Tones of 100 Hz and 1 kHz, equal by BS.1770: by the A curve they differ as the two curves do there."""
    sounds = np.stack([tone(100.0, 2.0, -20.0), tone(1000.0, 2.0, -20.0)])
    standard = STANDARDS[BS_1770]
    told = disagreement(sounds * equal_gains(sounds, standard)[:, np.newaxis], standard)
    assert told[A_WEIGHTED] == pytest.approx(19.1 - (k_weight_db(1000.0) - k_weight_db(100.0)), abs=0.1)
    assert set(told) == {A_WEIGHTED, ISO_532}


# Renders and what is kept of them -------------------------------------------------------------------------------------


def test_a_render_is_labelled_and_tells_what_was_repaired(amps: tuple[Amp, Amp], tmp_path: Path) -> None:
    solver = StandIn()
    found = render(amps, every_position(amps[1], "bright"), SHORT, cache=tmp_path, play=solver)
    assert found["volts"].dims == ("variant", "position", "time")
    assert list(found["variant"].values) == ["stock", "bright switch"]
    assert float(found["time"][-1]) == pytest.approx((SHORT.volts.size - 1) / RATE)
    assert (found["repaired"] == 2).all()
    # The stock amp three times and the modded one at "open" are one circuit.
    assert len(solver.calls) == 3
    assert "A short phrase." in found.attrs["words"]
    assert "12 were repaired" in found.attrs["words"]
    again = render(amps, every_position(amps[1], "bright"), SHORT, cache=tmp_path, play=solver)
    assert len(solver.calls) == 3
    assert again["kept"].all()
    xr.testing.assert_equal(again["volts"], found["volts"])


def _key(amp: Amp, position: Mapping[str, float | str] | None = None, over: int = 8, level: float = 1.0) -> str:
    return case_key(amp, position or {}, [], level * SHORT.volts, "speaker", over)


def test_the_key_is_that_of_the_circuit_and_not_of_its_names(amps: tuple[Amp, Amp]) -> None:
    stock, modded = amps
    same = replace(stock, name="another", about="words")
    assert _key(same) == _key(stock) == _key(modded, {"bright": "open"})
    other = replace(stock, parts=tuple(replace(p, value=2.0e3) if p.designator == "R4" else p for p in stock.parts))
    keys = {
        _key(stock), _key(other), _key(stock, {"gain": 0.51}), _key(modded, {"bright": "120p"}), _key(stock, over=4),
        _key(stock, level=1.0 + 1e-12), case_key(stock, {}, [], SHORT.volts, "V1A.plate", 8),
        case_key(modded, {}, [(0.1, {"bright": "120p"})], SHORT.volts, "speaker", 8),
        case_key(modded, {}, [(0.2, {"bright": "120p"})], SHORT.volts, "speaker", 8),
    }  # fmt: skip
    assert len(keys) == 9


FAULTS: dict[str, Callable[[bytes], bytes]] = {
    "one bit": lambda data: data[:5000] + bytes([data[5000] ^ 1]) + data[5001:],
    "cut": lambda data: data[:-4],
    "empty": lambda data: b"",
    "no line": lambda data: data.replace(b"\n", b" "),
    "not JSON": lambda data: b"{" + data,
    "deep JSON": lambda data: b"[" * 900 + b"\n" + data.partition(b"\n")[2],
    "another count": lambda data: data.replace(b'"repaired": 2', b'"repaired": 3', 1),
    "a great count": lambda data: data.replace(b'"repaired": 2', b'"repaired": 1e999', 1),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_damaged_file_is_as_good_as_none_and_is_written_again(
    amps: tuple[Amp, Amp], tmp_path: Path, fault: str
) -> None:
    solver = StandIn()
    first = render(amps[0], [{}], SHORT, cache=tmp_path, play=solver)
    (path,) = tmp_path.iterdir()
    sound = path.read_bytes()
    path.write_bytes(FAULTS[fault](sound))
    again = render(amps[0], [{}], SHORT, cache=tmp_path, play=solver)
    assert len(solver.calls) == 2
    assert np.array_equal(again["volts"], first["volts"])
    assert path.read_bytes() == sound
    # Another's file under this name.
    path.rename(path.with_name(f"{0:064x}.volts"))
    assert fetch_stored(tmp_path, f"{0:064x}") is None


def test_what_is_kept_is_bounded_and_other_files_stay(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", "utf-8")
    one = RenderedVolts(np.ones(1000, np.float32), 0, 1000)
    for n in range(5):
        store(tmp_path, f"{n:064x}", one, most=13_000)
        fetch_stored(tmp_path, f"{0:064x}")
    left = [n for n in range(5) if fetch_stored(tmp_path, f"{n:064x}") is not None]
    assert left == [0, 3, 4]
    assert (tmp_path / "mine.txt").read_text("utf-8") == "mine"
    not_a_number = RenderedVolts(np.full(4, np.nan, np.float32), 0, 4)
    store(tmp_path, "f" * 64, not_a_number)
    assert fetch_stored(tmp_path, "f" * 64) is None


def test_a_folder_that_cannot_be_written_does_not_matter(amps: tuple[Amp, Amp], tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way", "utf-8")
    found = render(amps[0], [{}], SHORT, cache=tmp_path / "file", play=StandIn())
    assert not found["kept"].any()


@pytest.mark.parametrize(
    "wrong",
    [
        lambda answer: replace(answer, volts=answer.volts[:-1]),
        lambda answer: replace(answer, volts=np.where(np.arange(answer.volts.size) == 7, np.inf, answer.volts)),
    ],
)
def test_no_sound_is_an_error_and_nothing_is_kept(
    amps: tuple[Amp, Amp], tmp_path: Path, wrong: Callable[[Answer], Answer]
) -> None:
    with pytest.raises(EngineError, match=r"workshop amp A, stock, as drawn: .*nothing is played"):
        render(amps[0], [{}], SHORT, cache=tmp_path, play=StandIn(wrong))
    assert not list(tmp_path.iterdir())


def _enough(*_: object) -> None:
    raise Stopped("enough")


def test_progress_only_rises_and_a_stop_leaves_nothing(amps: tuple[Amp, Amp], tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    places = every_position(amps[1], "bright")
    render(amps, places, SHORT, cache=False, play=StandIn(), progress=lambda *now: told.append(now[:2]))
    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert told[-1][0] == told[-1][1]
    before = set(threading.enumerate())
    with pytest.raises(Stopped):
        render(amps, places, SHORT, cache=tmp_path, play=StandIn(), progress=_enough)
    assert set(threading.enumerate()) <= before
    assert not list(tmp_path.iterdir())


def test_without_anybody_to_tell_a_bar_tells_and_leaves(
    amps: tuple[Amp, Amp], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """At a terminal after a while, here at once; also when it is stopped."""
    monkeypatch.setattr("ampsim.base.progress._DELAY", 0.0)
    monkeypatch.setattr("ampsim.base.progress._PAUSE", 0.0)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    pop_clip(amps[1], Transition("bright", "open", "120p"), -20.0, cache=False, play=StandIn())
    told = capsys.readouterr().err
    assert all(f"played: {percent:3d}%" in told for percent in (25, 50, 75, 100))
    assert not told.split("\r")[-1].strip()

    def broken(answer: Answer) -> Answer:
        raise Stopped("enough")

    with pytest.raises(Stopped):
        render(amps, [{}], SHORT, cache=False, play=StandIn(broken))
    told = capsys.readouterr().err
    assert "played" in told
    assert not told.split("\r")[-1].strip()


def test_too_much_and_unknown_things_are_refused(amps: tuple[Amp, Amp]) -> None:
    long = Phrase("long", "Long.", np.zeros(60 * RATE))
    with pytest.raises(DescriptionError, match="at most 1200 s"):
        render(amps[0], [{"gain": 0.01 * n} for n in range(21)], long, cache=False, play=StandIn())
    with pytest.raises(DescriptionError, match="oversampling 3"):
        render(amps[0], [{}], SHORT, oversampling=3, play=StandIn())
    with pytest.raises(DescriptionError, match="no load 'speaker'"):
        render(amps[0], [{}], SHORT, loads=["speaker"], play=StandIn())


def test_on_a_resistor_there_is_no_loudspeaker_left(amps: tuple[Amp, Amp]) -> None:
    netlist = build(with_load(amps[1], "resistor"), {"bright": "120p"}, OperatingPoint(), ("speaker",))
    assert "ls1" not in netlist.text
    assert netlist.values[netlist.form.parts.index("r991")] == 8.0
    with pytest.raises(DescriptionError, match="drives no loudspeaker"):
        with_load(load_amp("lesson-stage"), "resistor")


# Clips ----------------------------------------------------------------------------------------------------------------


def test_clips_are_in_step_labelled_and_say_what_was_done(played: xr.Dataset) -> None:
    found = match_loudness(played)
    assert found.labels == (
        "stock",
        "bright switch, bright open",
        "bright switch, bright 120p",
        "bright switch, bright 390p",
    )
    assert set(clip_labels(played).values()) == set(found.labels)
    assert {clip.samples.dtype.name for clip in found} == {"float32"}
    loud = found["bright switch, bright 120p"]
    volts = played["volts"].sel(variant="bright switch", position="bright 120p").values.astype(float) - 100.0
    assert loud.samples[:20_000] == pytest.approx(volts[:20_000] * 10.0 ** (loud.gain_db / 20.0), abs=2e-6)
    assert loud.gain_db < found["stock"].gain_db
    for words in ("not modelled", "BS.1770", "A-weighted", "The load is the loudspeaker", "repaired"):
        assert words in found.words
    assert "H.870" in found.caution


def test_a_position_that_is_silent_is_named(amps: tuple[Amp, Amp]) -> None:
    faint = StandIn(lambda answer: replace(answer, volts=1e-7 * answer.volts))
    with pytest.raises(DescriptionError, match=r"nothing to hear.*'stock' \(2e-07 V\)"):
        match_loudness(render(amps[0], [{}], SHORT, cache=False, play=faint))


def test_both_loads_are_heard_side_by_side(amps: tuple[Amp, Amp]) -> None:
    solver = StandIn()
    found = render(amps[0], [{}], SHORT, loads=["loudspeaker", "resistor"], cache=False, play=solver)
    assert list(found["variant"].values) == ["stock on a loudspeaker", "stock on a resistor"]
    assert len(solver.calls) == 2
    assert match_loudness(found).labels == ("stock on a loudspeaker", "stock on a resistor")
    assert "a resistor of 8 ohm in place" in found.attrs["words"]


def test_a_job_is_heard_where_it_compares_and_from_there_at_each_control() -> None:
    job = load_audition("bright-cathode-depth")
    found = listening_positions(job)
    assert found[0] == job.compare_at
    moved = [{name for name in each if each[name] != job.compare_at[name]} for each in found[1:]]
    assert sorted(name for each in moved for name in each) == [
        "bright",
        "bright",
        "cathode",
        "cathode",
        "depth",
        "depth",
    ]
    assert all(len(each) == 1 for each in moved)
    assert listening_positions(job, ["master"])[1:] == [{**job.compare_at, "master": end} for end in (0.0, 1.0)]
    with pytest.raises(DescriptionError, match=r"no control 'brite'.*bright"):
        listening_positions(job, ["brite"])


def test_a_silent_end_stop_is_no_clip_and_that_is_said() -> None:
    job = load_audition("bright-cathode-depth")
    whole = listen(job, ListeningOptions(SHORT, linear=True), ["master", "gain"])
    assert [each for each in whole.clips.labels if "master 0" in each or "gain 0" in each] == []
    assert any("master 10" in each for each in whole.clips.labels)
    assert "Left out, since nothing is heard there (more than 60 dB below the loudest position" in whole.clips.words
    assert "master 0" in whole.clips.words
    gains = [each.gain_db for each in whole.clips]
    assert max(gains) - min(gains) < 60.0
    silent = replace(job, compare_at={**job.compare_at, "master": 0.0})
    with pytest.raises(DescriptionError, match="nothing is heard there"):
        listen(silent, ListeningOptions(SHORT, linear=True), ["master"])


def test_a_set_of_clips_that_cannot_be_switched_is_refused() -> None:
    clip = Clip("one", "One.", RATE, np.zeros(100, np.float32), -23.0, 0.0)
    for others in ((clip,), (replace(clip, label="two", samples=np.zeros(99, np.float32)),)):
        with pytest.raises(DescriptionError):
            Clips((clip, *others), "", "LUFS", "", "")
    for samples in (np.full(9, 1.01), np.full(9, np.nan), np.zeros(0), np.zeros((2, 2))):
        with pytest.raises(DescriptionError):
            replace(clip, samples=samples.astype(np.float32))


def test_a_cabinet_is_what_its_impulse_response_says(played: xr.Dataset, tmp_path: Path) -> None:
    """A response that is a late pulse delays and does nothing else."""
    pulse = np.zeros(2000, np.float32)
    pulse[480] = 0.5
    wavfile.write(tmp_path / "cab.wav", RATE, pulse)
    response = read_response(tmp_path / "cab.wav")
    assert np.abs(np.fft.rfft(response)).max() == pytest.approx(1.0)
    found, plain = match_loudness(played, response=response, response_name="cab.wav"), match_loudness(played)
    late, early = (each["stock"].samples / 10.0 ** (each["stock"].gain_db / 20.0) for each in (found, plain))
    assert late[480:20_000] == pytest.approx(early[: 20_000 - 480], abs=1e-3)
    assert "cab.wav" in found.words
    assert "not modelled" not in found.words
    wavfile.write(tmp_path / "room.wav", 8000, np.full(8000 * 4, 0.1, np.float32))
    with pytest.raises(DescriptionError, match="at most 3 s"):
        read_response(tmp_path / "room.wav")


def test_small_signal_gains_filter_as_the_circuit_does() -> None:
    """A high pass of first order by its gains on the grid of the sweep, against its response in closed form."""
    corner = 500.0
    frequency = SWEEP.grid()
    gain = 1j * frequency / (corner + 1j * frequency)
    step = np.zeros(4800)
    step[100:] = lfilter(*butter(2, 5000.0, fs=RATE), np.ones(4700))
    passed = through(gain, frequency, step)
    # The derivative of the same, by the exact solution between samples that are joined by straight lines.
    decay = math.exp(-2.0 * math.pi * corner / RATE)
    slope = (1.0 - decay) / (2.0 * math.pi * corner / RATE)
    wanted = lfilter([slope, -slope], [1.0, -decay], step)
    assert passed[100:4000] == pytest.approx(wanted[100:4000], abs=3e-3)


def test_at_a_low_level_the_amp_played_in_time_is_the_amp_of_the_small_signal_sweep() -> None:
    """The solver against ngspice's sweep, two options to the same sound; half a second, 0.5 mV."""
    amp = load_amp("lesson-stage")
    quiet = replace(SHORT, volts=SHORT.volts[:12_000] * 0.005)
    place = {"node": "V1A.plate"}
    in_time = render(amp, [{}], quiet, cache=False, oversampling=4, **place)["volts"].values[0, 0].astype(float)
    plain = render_linear(amp, [{}], quiet, **place)["volts"].values[0, 0]
    error = in_time - in_time[0] - plain
    assert math.sqrt(np.mean(error**2) / np.mean(plain**2)) < 0.01


# Alone ----------------------------------------------------------------------------------------------------------------


def _pair(before: Array, after: Array) -> xr.Dataset:
    volts = np.stack([before, after])[np.newaxis]
    return xr.Dataset(
        {"volts": (("variant", "position", "time"), volts)}, {"variant": ["stock"], "position": ["a", "b"]}
    )


def test_the_difference_of_a_linear_change_is_what_was_added() -> None:
    before = SHORT.volts - SHORT.volts[0]
    added = lfilter(*butter(1, 2000.0, "high", fs=RATE), before)
    clip = difference(_pair(before, before + added), ("stock", "a"), ("stock", "b"), 12.0)
    keep_clear = slice(0, before.size - 3000)
    assert clip.samples[keep_clear] == pytest.approx(added[keep_clear] * 10.0 ** (12.0 / 20.0), abs=1e-6)
    assert "A linear change here" in clip.words
    bent = difference(_pair(before, np.abs(before)), ("stock", "a"), ("stock", "b"), 12.0)
    assert "Not a linear change" in bent.words


def test_no_difference_and_no_such_position_are_said(played: xr.Dataset) -> None:
    with pytest.raises(DescriptionError, match="no difference"):
        difference(played, ("stock", "bright open"), ("stock", "bright 120p"), 0.0)
    with pytest.raises(DescriptionError, match=r"no position 'bright 12p' .*bright 120p"):
        difference(played, ("stock", "bright open"), ("stock", "bright 12p"), 0.0)


@pytest.mark.parametrize("down", [math.inf, 180.0, 125.0, 115.0, 40.0])
def test_sounds_are_alike_where_there_is_no_difference_to_hear(down: float) -> None:
    pair = _pair(SHORT.volts, SHORT.volts * (1.0 + 10.0 ** (-down / 20.0)))
    places = (("stock", "a"), ("stock", "b"))
    assert sound_alike(pair, *places) == (down > 120.0)
    if down > 120.0:
        with pytest.raises(DescriptionError, match="no difference"):
            difference(pair, *places, 0.0)
    else:
        assert difference(pair, *places, 0.0).samples.any()


def test_a_pop_has_its_true_level_up_to_the_safe_peak(amps: tuple[Amp, Amp]) -> None:
    """3 V at the loudspeaker, by the stand-in: beside a clip of the same gain it is 3 V there too."""
    move, solver = Transition("bright", "open", "120p"), StandIn()
    soft = pop_clip(amps[1], move, -20.0, {"gain": 0.3}, cache=False, play=solver)
    assert soft.peak == pytest.approx(0.3, rel=1e-4)
    assert "true level" in soft.words
    (call,) = solver.calls
    assert call["position"] == {"gain": 0.3, "bright": "open"}
    assert call["moves"] == [(0.25, {"gain": 0.3, "bright": "120p"})]
    loud = pop_clip(amps[1], move, 0.0, {"gain": 0.3}, cache=False, play=solver)
    assert 20.0 * math.log10(true_peak(loud.samples[np.newaxis].astype(float))[0]) == pytest.approx(
        CEILING_DB, abs=0.01
    )
    hidden = -loud.gain_db
    assert hidden > 8.0
    assert f"truly it is {hidden:.1f} dB louder" in loud.words
    assert "Nothing to hear" in pop_clip(amps[1], move, -110.0, cache=False, play=solver).words


def test_a_pop_tells_volts_of_the_amp_and_what_was_repaired(amps: tuple[Amp, Amp]) -> None:
    """Through a cabinet that halves everything it sounds half as loud, and the amp's 3 V are still 3 V."""
    half = np.array([0.5])
    found = pop_clip(amps[1], Transition("bright", "open", "120p"), -20.0, response=half, cache=False, play=StandIn())
    assert found.peak == pytest.approx(0.15, rel=1e-4)
    assert "3 V at most at the amp's output" in found.words
    assert "Of 72,000 samples 2 were repaired" in found.words


def test_without_clipping_a_job_has_linear_differences_and_no_pops() -> None:
    """Twice the input is twice the difference, and nothing of it is distortion; a bare level would tell nothing."""
    job = load_audition("bright-cathode-depth")
    pair = [listen(job, ListeningOptions(phrase("chords", level), linear=True), ["bright"]) for level in (0.05, 5.0)]
    volts = []
    for heard in pair:
        (true_level,) = heard.true_level
        assert "0.0 % of its power is distortion" in true_level.words
        assert "without any clipping" in heard.text
        volts.append(true_level.samples / 10.0 ** (true_level.gain_db / 20.0))
    assert np.abs(volts[1] - 100.0 * volts[0]).max() < 1e-5 * np.abs(volts[1]).max()


def test_what_is_asked_by_a_wrong_name_is_refused_before_anything_is_computed() -> None:
    job, solver = load_audition("bright-cathode-depth"), StandIn()
    for wrong in (
        ListeningOptions(SHORT, standard="louder"),
        ListeningOptions(SHORT, load="lamp"),
        ListeningOptions(SHORT, oversampling=3),
    ):
        with pytest.raises(DescriptionError):
            listen(job, wrong, play=solver)
    assert solver.calls == []


# Files and the command ------------------------------------------------------------------------------------------------


def test_files_are_what_the_clips_are(played: xr.Dataset, tmp_path: Path) -> None:
    """Read back by scipy."""
    found = match_loudness(played)
    odd = replace(found.clips[0], label="../../etc, <b>\n/odd", words="Odd.")
    text, *files = write_clips(found, tmp_path / "new", [odd])
    assert [path.name for path in files][:2] == ["01-stock.wav", "02-bright-open.wav"]
    assert {path.parent for path in files} == {tmp_path / "new"}
    for path, clip in zip(files, found, strict=False):
        rate, samples = wavfile.read(path)
        assert rate == RATE
        assert samples / 2.0**31 == pytest.approx(clip.samples, abs=2.0**-23)
    told = text.read_text("utf-8")
    assert told.startswith("Turn the listening level right down")
    assert all(path.name in told for path in files)
    assert "true level beside" in told


def test_the_command_leaves_clips_and_says_what_they_are(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    solver = StandIn()
    monkeypatch.setattr("ampsim.simulation.timestep.solver.play", solver)
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path / "kept"))
    wavfile.write(tmp_path / "dry.wav", RATE, (SHORT.volts * 5.0).astype(np.float32))
    order = ["listen", "--amp", "workshop-a", "--mod", "bright-switch", "--to", str(tmp_path / "out")]
    order += ["--dry", str(tmp_path / "dry.wav"), "--level", "0.4", "--load", "resistor"]
    order += ["--standard", "A-weighted", "--oversampling", "4"]
    assert main(order) == 0
    told = " ".join(capsys.readouterr().out.split())
    for words in ("400 mV peak", "dry.wav", "resistor of 8 ohm", "\u221223.0 dB(A)", "pop, bright", "H.870"):
        assert words in told
    assert len(list((tmp_path / "out").glob("*.wav"))) == 7
    assert {call["oversampling"] for call in solver.calls} == {4}
    assert main([*order, "--standard", "louder"]) == 1
    told = capsys.readouterr().err
    assert "no standard of loudness 'louder'" in told
    assert "played" not in told
    assert main([*order[:5], "--to", str(tmp_path / "plain"), "--linear", "--dry", str(tmp_path / "dry.wav")]) == 0
    assert "without any clipping" in " ".join(capsys.readouterr().out.split())
    assert not list((tmp_path / "plain").glob("*pop*"))


def test_a_page_has_the_clips_of_a_job_and_no_pop_is_played_for_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Pops and differences stand beside WAV files alone; on a page they would be waited for and never heard."""
    job, solver = load_audition("bright-cathode-depth"), StandIn()
    monkeypatch.setattr("ampsim.simulation.timestep.solver.play", solver)
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path))
    found = page_clips(argparse.Namespace(hear=True, control=["bright"]), job)
    assert found is not None
    assert not any(call["moves"] for call in solver.calls)
    whole = listen(job, controls=["bright"]).clips
    assert any(call["moves"] for call in solver.calls)
    assert [(one.label, one.words) for one in found] == [(one.label, one.words) for one in whole]
    assert all(np.array_equal(one.samples, other.samples) for one, other in zip(found, whole, strict=True))


# Candidates -----------------------------------------------------------------------------------------------------------


def test_candidates_are_heard_equally_loud_beside_stock_and_what_is_stock_is_not_played_again(tmp_path: Path) -> None:
    asked = read_candidates(load_amp("workshop-a"), ["22u or none across R11", "C1 = 1u or 10n"])
    heard = listen_to_candidates(asked, ListeningOptions(SHORT, linear=True))
    assert heard.clips.labels == ("stock", "22u across R11", "C1 10n")
    assert len({round(clip.loudness, 1) for clip in heard.clips}) == 1
    assert heard.clips.clips[0].gain_db > heard.clips.clips[1].gain_db + 3.0  # by itself the bypassed stage is louder
    assert "none across R11 and C1 1u: as stock" in heard.text
    page = write_player(heard.clips, tmp_path / "listen.html", "which <one>", heard.notes).read_text("utf-8")
    assert "which &lt;one&gt;" in page
    assert page.count("22u across R11") >= 1
    with pytest.raises(DescriptionError, match="every candidate is stock"):
        listen_to_candidates(read_candidates(load_amp("workshop-a"), "none across R11"))
