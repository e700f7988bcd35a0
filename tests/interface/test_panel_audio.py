"""What the panel lets be heard: the right positions, the first second first, a stop that stops, errors in words."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("anywidget", reason="the extra 'notebooks' is not installed")

from ampsim.audio.clips import Clip
from ampsim.audio.listen import ListeningOptions
from ampsim.audio.matching import match_loudness
from ampsim.audio.phrases import RATE, phrase
from ampsim.audio.render import render
from ampsim.base.errors import EngineError
from ampsim.circuit.values import with_values
from ampsim.interface.panel import Panel, audio, explore
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.reading import read_record
from ampsim.library import loader
from tests.audio.test_player import clips_of, sines
from tests.tools.systems import wait_for

JOB = loader.load_audition("bright-cathode-depth")


@pytest.fixture(scope="module")
def shared() -> Panel:
    return explore(JOB.stock, JOB.modded, values={"C101": ("47p", "22n", "E6")})


@pytest.fixture
def panel(shared: Panel, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Panel]:
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path / "kept"))
    shared._state.held, shared._sounds, shared.hear = [], None, {"state": "none"}
    sent: list[Any] = []
    shared.send = lambda content, buffers=(): sent.append((content, buffers))
    shared.sent = sent
    yield shared
    shared.cancel_sound()
    shared._sound_task.join(240.0)


def done(panel: Panel) -> None:
    """Wait for the work, and for the work that its end begins."""
    for _ in range(2):
        panel._sound_task.join(240.0)


def volts(clip: Clip) -> Any:
    return clip.samples.astype(float) / 10.0 ** (clip.gain_db / 20.0)


def test_what_is_heard_is_what_rendering_gives_there(panel: Panel) -> None:
    """Stock and modded as set, and a held position with another value in a part, against `render` and `clips`."""
    played = replace(phrase("single notes"), volts=phrase("single notes").volts[: round(0.6 * RATE)])
    panel.phrase = played
    held = {"gain": 0.3, "bright": "390p"}
    panel._state.at = panel._state.steps_at(held, {"C101": 1e-9})
    panel._state.hold("a nanofarad")
    panel._state.at = panel._state.steps_at({"gain": 0.7, "bright": "120p"}, {"C101": 120e-12})
    panel.compute_sound()
    done(panel)
    assert (panel.hear["state"], panel.hear["positions"]) == ("done", 3)
    assert panel.sounds is not None
    assert panel.sounds.labels == ("stock, as set", "modded, as set", "held 1: a nanofarad")
    here = dict(panel.position)
    amps = {"stock, as set": (JOB.stock, here), "modded, as set": (JOB.modded, here)}
    amps["held 1: a nanofarad"] = (with_values(JOB.modded, {"C101": 1e-9}), here | held)
    for label, (amp, position) in amps.items():
        setting = {name: value for name, value in position.items() if name in amp.controls}
        alone = match_loudness(render(amp, [setting], played)).clips[0]
        clip = panel.sounds[label]
        assert clip.loudness == pytest.approx(alone.loudness, abs=0.05)
        assert np.abs(volts(clip) - volts(alone)).max() < 1e-5 * np.abs(volts(alone)).max()
    spread = [np.abs(panel.sounds[label].samples - panel.sounds.clips[0].samples).max() for label in list(amps)[1:]]
    assert min(spread) > 0.01
    ((content, buffers),) = panel.sent
    assert (content["complete"], len(buffers)) == (True, 3)
    assert "0 failed" in content["facts"]["scope"]


def test_the_panel_is_heard_in_other_ways(panel: Panel) -> None:
    """Another load and another standard, against `render` and `clips`; a wrong one is said, and nothing is played."""
    panel.phrase = replace(phrase("single notes"), volts=phrase("single notes").volts[: round(0.6 * RATE)])
    panel.options = ListeningOptions(
        load="resistor", standard="A-weighted", response=np.array([0.5]), response_name="half.wav"
    )
    panel.compute_sound()
    done(panel)
    assert panel.sounds is not None
    here = {name: value for name, value in panel.position.items() if name in JOB.stock.controls}
    (alone,) = match_loudness(
        render(JOB.stock, [here], panel.phrase, loads=("resistor",)), "A-weighted", np.array([0.5])
    )
    assert panel.sounds.unit == "dB(A)"
    assert panel.sounds.clips[0].loudness == pytest.approx(alone.loudness, abs=0.05)
    assert np.abs(volts(panel.sounds.clips[0]) - volts(alone)).max() < 1e-5 * np.abs(volts(alone)).max()
    scope = panel.sent[-1][0]["facts"]["scope"]
    for words in ("a resistor of 8 ohm", "half.wav", "150 mV peak", "by BS.1770 these clips still differ"):
        assert words in scope
    panel.options, panel.sent[:] = ListeningOptions(load="lamp"), []
    try:
        panel.compute_sound()
        done(panel)
    finally:
        panel.options = ListeningOptions()
    assert (panel.hear["state"], panel.sent) == ("failed", [])
    assert "no load 'lamp'" in panel.hear["problem"]


def test_the_first_second_comes_first_and_the_rest_shows_how_far_it_is(
    panel: Panel, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Any] = []
    go_on = threading.Event()

    def heard(options: Any, chosen: Any, progress: Any) -> Any:
        asked.append((options.played.seconds, options.oversampling))
        progress(1, 4, "samples")
        assert options.oversampling == 4 or go_on.wait(240.0)
        return clips_of(sines([0.1] * len(chosen), options.played.seconds, RATE), RATE)

    monkeypatch.setattr(audio, "render_cases", heard)
    panel.phrase = phrase("chords")
    panel.compute_sound()
    assert wait_for(lambda: panel.hear.get("percent") == 25)
    assert (panel.hear["state"], panel.hear["percent"]) == ("first", 25)
    ((content, buffers),) = panel.sent
    assert (content["complete"], len(buffers[0])) == (False, 2 * RATE)
    assert "first second" in content["facts"]["scope"]
    go_on.set()
    done(panel)
    assert asked == [(1.0, 4), (phrase("chords").seconds, 8)]
    assert panel.hear["state"] == "done"
    content, buffers = panel.sent[1]
    assert (content["complete"], len(buffers[0])) == (True, 2 * phrase("chords").volts.size)
    assert "first second" not in content["facts"]["scope"]
    panel._on_button(None, {"do": "sounds", "with": "", "at": {}}, [])
    assert panel.sent[2][0] == content, "another view asks"


def test_a_stop_stops_and_nothing_is_heard_of_it(panel: Panel, monkeypatch: pytest.MonkeyPatch) -> None:
    begun, stopped = threading.Event(), threading.Event()

    def heard(options: Any, chosen: Any, progress: Any) -> Any:
        begun.set()
        try:
            for _ in range(24_000):
                progress(0, 1, "samples")
                threading.Event().wait(0.01)
        except Exception:
            stopped.set()
            raise

    monkeypatch.setattr(audio, "render_cases", heard)
    panel._on_button(None, {"do": "hear", "with": "", "at": {}}, [])
    assert begun.wait(240.0)
    assert panel.hear["state"] == "computing"
    panel._on_button(None, {"do": "quiet", "with": "", "at": {}}, [])
    assert panel.hear == {"state": "cancelled"}
    assert stopped.wait(240.0)
    done(panel)
    assert (panel.sent, panel.hear) == ([], {"state": "cancelled"})


def test_what_cannot_be_heard_is_said(panel: Panel, monkeypatch: pytest.MonkeyPatch) -> None:
    def heard(options: Any, chosen: Any, progress: Any) -> Any:
        raise EngineError("3 samples could not be solved; nothing is played")

    monkeypatch.setattr(audio, "render_cases", heard)
    panel.compute_sound()
    done(panel)
    assert (panel.hear["state"], panel.sent) == ("failed", [])
    assert panel.hear["problem"] == "3 samples could not be solved; nothing is played"


def test_a_comparison_by_ear_alone_is_kept_in_the_job(panel: Panel, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    begin_job(folder, "workshop-a", ["bright-switch"], name="a job")
    panel._sounds = clips_of(sines([0.1, 0.2], 0.01), labels=["stock, as set"]), True
    panel.blind, panel._job = [], folder
    sent = {"among": [0, 1], "rounds": 8, "right": 7, "ended": True}
    for words in ("", "[" * 900, '{"among": [0, 2]}', json.dumps(sent | {"right": 9})):
        panel._on_button(None, {"do": "blind", "with": words, "at": {}}, [])
        assert "nothing was kept" in panel.said
    panel._on_button(None, {"do": "blind", "with": json.dumps(sent), "at": {}}, [])
    panel._job = None
    assert "Kept in the job" in panel.said
    (kept,) = read_record(folder).blind
    assert (kept.among, kept.rounds, kept.right) == (("stock, as set", "position 1"), 8, 7)
    assert [each.right for each in panel.blind] == [7]
