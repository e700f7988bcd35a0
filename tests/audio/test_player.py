"""What the player is given: whole numbers, words, and a page of bounded size. The player itself: `tests/browser`."""

from __future__ import annotations

import base64
import json
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ampsim.audio.clips import Clip, Clips
from ampsim.audio.player.content import player_facts, player_script, player_style, sixteen_bit
from ampsim.audio.player.embed import MOST_EMBEDDED, embed
from ampsim.base.errors import DescriptionError

EVIL = "</script><script>alert(1)</script>' onload='x' &amp; <img src=x onerror=alert(2)> \u2028"


def clips_of(rows: Any, rate: int = 32_000, labels: Any = (), evil: str = "") -> Clips:
    """Clips of any rows of samples."""
    names = [*labels, *(f"position {number}" for number in range(len(labels), len(rows)))]
    made = [
        Clip(f"{name}{evil}", f"a sine{evil}", rate, np.asarray(row, np.float32), -23.0, -20.0 + 2.5 * number)
        for number, (name, row) in enumerate(zip(names, rows, strict=True))
    ]
    words = f"A sine; the cabinet is not modelled.{evil}"
    return Clips(tuple(made), f"no standard{evil}", f"LUFS{evil}", words, f"Start low.{evil}")


def sines(levels: Any, seconds: float, rate: int = 32_000, frequency: float = 440.0) -> list[Any]:
    """Sines of one phase and several levels."""
    wave = np.sin(2.0 * np.pi * frequency * np.arange(round(seconds * rate)) / rate)
    return [level * wave for level in levels]


def data_of(body: str) -> dict[str, Any]:
    return dict(json.loads(re.findall(r'id="sounds">(.*?)</script>', body, re.DOTALL)[0]))


def samples_of(row: str) -> Any:
    return np.frombuffer(base64.b64decode(row), "<i2") / 32768.0


def test_sixteen_bits_keep_samples_to_half_a_step_and_full_scale_within() -> None:
    row = np.concatenate([np.linspace(-1.0, 1.0, 5001), [1.0, -1.0]]).astype(np.float32)
    kept = np.frombuffer(sixteen_bit(row), "<i2") / 32768.0
    assert np.abs(kept - np.minimum(row, 32767 / 32768)).max() <= 0.5 / 32768 + 1e-9
    assert kept[-2:].tolist() == [32767 / 32768, -1.0]


def test_each_position_says_how_much_it_was_turned() -> None:
    told = player_facts(clips_of(sines([0.1, 0.2, 0.3], 0.1), labels=["stock"]))
    assert [each["label"] for each in told["positions"]] == ["stock", "position 1", "position 2"]
    levels = [each["level"] for each in told["positions"]]
    assert levels == [
        "The others are made as loud as this one",
        "Turned up by 2.5 dB to be as loud as 1",
        "Turned up by 5.0 dB to be as loud as 1",
    ]
    assert (told["how"], told["caution"]) == ("Standard of loudness: no standard.", "Start low.")


@pytest.mark.parametrize(
    ("labels", "shown", "said"),
    [
        (["stock", "fat, gain=1", "fat, gain=2"], ["stock", "gain=1", "gain=2"], "Positions 2 to 3 are those of fat. "),
        (["a, b", "a, b, c", "a, b, d, e"], ["a, b", "c", "d, e"], "Positions 2 to 3 are those of a, b. "),
        (["stock", "fat", "fat, gain=2"], None, ""),
        (["stock", "fat, gain=1"], None, ""),
        (["gain=1", "fat, gain=1", "fat, gain=2"], None, ""),
        (["stock, gain=1", "fat, gain=1", "thin, gain=1"], None, ""),
    ],
)
def test_what_all_modded_positions_begin_with_is_said_once(labels: Any, shown: Any, said: str) -> None:
    told = player_facts(clips_of(sines([0.1] * len(labels), 0.1), labels=labels))
    assert [each["label"] for each in told["positions"]] == (shown or labels)
    assert told["how"].startswith(f"{said}Standard of loudness")


@pytest.mark.parametrize("frequency", [100.0, 1000.0, 10_000.0])
def test_a_page_keeps_a_sine_below_its_limit_as_it_was(frequency: float) -> None:
    made = embed(clips_of(sines([0.8], 0.5, 48_000, frequency), 48_000))
    assert made.rate == 32_000
    kept = samples_of(data_of(made.body)["rows"][0])
    expected = sines([0.8], 0.5, 32_000, frequency)[0]
    assert kept.shape == expected.shape
    middle = slice(1000, -1000)
    assert np.abs(kept - expected)[middle].max() < 0.002


def test_above_half_the_rate_nothing_is_folded_down() -> None:
    made = embed(clips_of(sines([0.8], 0.5, 48_000, 19_000.0), 48_000))
    assert np.abs(samples_of(data_of(made.body)["rows"][0])[1000:-1000]).max() < 0.002


def test_what_the_filter_overshoots_is_turned_down_together() -> None:
    square = np.sign(sines([1.0], 0.2, 48_000, 997.0)[0])
    one, other = (samples_of(row) for row in data_of(embed(clips_of([square, 0.5 * square], 48_000)).body)["rows"])
    assert np.abs(one).max() == pytest.approx(1.0, abs=1e-4)
    assert np.abs(one - 2.0 * other).max() < 1e-4


def test_a_page_stays_within_its_limit() -> None:
    for seconds, rate in ((6.0, 32_000), (11.0, 24_000)):
        made = embed(clips_of(np.zeros((5, round(seconds * 48_000))), 48_000))
        assert (made.rate, made.size) == (rate, sum(map(len, data_of(made.body)["rows"])))
        assert made.size <= MOST_EMBEDDED
    with pytest.raises(DescriptionError, match=r"take 4\.\d MB on a page"):
        embed(clips_of(np.zeros((5, 14 * 48_000)), 48_000))


def test_texts_that_mean_harm_stay_inside_the_data() -> None:
    plain = embed(clips_of(sines([0.1, 0.2], 0.1)))
    made = embed(clips_of(sines([0.1, 0.2], 0.1), evil=EVIL))
    assert re.findall(r"<[^>]*>", made.body) == re.findall(r"<[^>]*>", plain.body)
    told = data_of(made.body)["facts"]
    assert told["positions"][1]["label"] == f"position 1{EVIL}"
    assert (made.script, made.style) == (plain.script, plain.style)


def test_nothing_is_fetched_and_no_text_is_taken_for_markup() -> None:
    used = player_script() + embed(clips_of(sines([0.1], 0.1))).script
    assert not re.search(
        r"fetch\(|XMLHttp|WebSocket|sendBeacon|importScripts|innerHTML|insertAdjacent|eval|https?:", used
    )
    assert not re.search(r"@import|url\(", player_style())


def test_the_widget_sends_words_and_samples_when_asked() -> None:
    pytest.importorskip("anywidget", reason="the extra 'notebooks' is not installed")
    from ampsim.audio.player.widget import player_message, side_by_side

    clips = clips_of(sines([0.1, 0.2], 0.1))
    player = side_by_side(clips)
    sent: list[Any] = []
    player.send = lambda content, buffers: sent.append((content, buffers))
    player._answer(player, {"do": "something else"}, [])
    assert sent == []
    player._answer(player, {"do": "sounds"}, [])
    ((content, buffers),) = sent
    assert content == {"facts": player_facts(clips), "rate": 32_000, "complete": True}
    assert buffers == [sixteen_bit(clip.samples) for clip in clips]
    state = json.dumps({name: each for name, each in player.get_state().items() if not name.startswith("_")})
    assert len(state) < 1000, "sounds would be stored in the notebook"
    pop = Clip("pop", "pop: 2 V.", 32_000, np.full(6400, 0.5, np.float32), -30.0, -20.0)
    side_by_side(clips, [pop])
    (content, buffers) = player_message(clips, [pop])
    assert content["facts"]["positions"][2] == {
        "label": "pop", "words": "pop: 2 V.", "level": "At its true level, not made as loud", "alone": True,
        "same": None
    }  # fmt: skip
    assert [len(each) for each in buffers] == [12_800] * 3
    assert buffers[0] == sixteen_bit(clips.clips[0].samples) + bytes(6400)
    with pytest.raises(DescriptionError, match="one rate"):
        player_message(clips, [replace(pop, rate=48_000)])
    words = player._repr_mimebundle_()[0]["text/plain"]
    assert "2 position 1: Turned up by 2.5 dB to be as loud as 1" in words
