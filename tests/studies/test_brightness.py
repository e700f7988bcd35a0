"""Loudness and sharpness against published figures; equal loudness; and sentences that say what was computed."""

import re

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, load_mod, parse_mod
from ampsim.measures.loudness import GRID, NOTICED_ACUM, Listening, compare, guitar_spectrum, loudness
from ampsim.measures.sweep import gain_db
from ampsim.simulation.response import simulate
from ampsim.studies.brightness.reasons import explain_brightness
from ampsim.studies.brightness.sentences import brightness_sentences

AMP = load_amp("workshop-a")
BRIGHT = apply_mods(AMP, load_mod("bright-switch"), load_mod("partial-bypass"))
PLACED = {"bright": "120p", "gain": 0.3}
FREQUENCY = 20.0 * 10.0 ** (np.arange(151) / 50.0)


def pascals(decibels):
    return 2e-5 * 10.0 ** (decibels / 20.0)


def tone(frequency, decibels):
    sound = np.zeros((GRID.size, 1))
    sound[round(frequency / GRID[1])] = pascals(decibels)
    return sound


def noise(low, high, decibels):
    inside = (low <= GRID) & (high >= GRID)
    return np.where(inside, pascals(decibels) / np.sqrt(inside.sum()), 0.0)[:, np.newaxis]


def critical_band(centre):
    """Edges [Hz] of a band as wide as a critical band: E. Zwicker, E. Terhardt, JASA 68 (1980), 1523 (from memory)."""
    width = 25.0 + 75.0 * (1.0 + 1.4 * (centre / 1e3) ** 2) ** 0.69
    low = -width / 2.0 + np.sqrt(width**2 / 4.0 + centre**2)
    return low, low + width


def gains(*rows):
    return xr.DataArray(np.array(rows), {"frequency": FREQUENCY}, ("case", "frequency"))


def tilt(decibels_per_octave):
    return decibels_per_octave * np.log2(FREQUENCY / 1e3)


FLAT = np.zeros(FREQUENCY.size)


@pytest.mark.parametrize(
    ("frequency", "decibels", "sone"),
    [
        # The definition of the sone: 1 at 40 dB and 1 kHz, doubling with every 10 dB (ISO 532-1, ISO 131).
        (1000.0, 40.0, 1.0),
        (1000.0, 50.0, 2.0),
        (1000.0, 70.0, 8.0),
        # Test signals 2 to 4 of ISO 532-1:2017, annex B.3 (from memory).
        (250.0, 80.0, 14.655),
        (1000.0, 60.0, 4.019),
        (4000.0, 40.0, 1.549),
    ],
)
def test_loudness_of_tones(frequency, decibels, sone):
    assert loudness(tone(frequency, decibels))[0][0] == pytest.approx(sone, rel=0.02)


@pytest.mark.parametrize(
    ("centre", "acum"),
    # DIN 45692:2009, narrow-band test sounds (from memory); the standard itself allows 5 %.
    [(250.0, 0.38), (700.0, 0.82), (1000.0, 1.00), (1600.0, 1.35), (2500.0, 1.78), (4000.0, 2.82), (5800.0, 4.43)],
)
def test_sharpness_of_narrow_bands_at_60_db(centre, acum):
    low, high = critical_band(centre)
    assert loudness(noise(low, high, 60.0))[1][0] == pytest.approx(acum, rel=0.03)


def test_the_unit_of_sharpness():
    # 1 acum: noise at 1 kHz, less than 150 Hz wide, at 60 dB (von Bismarck's unit, kept by DIN 45692).
    assert loudness(noise(925.0, 1075.0, 60.0))[1][0] == pytest.approx(1.00, abs=0.01)


def test_the_guitar_like_spectrum_is_what_it_says():
    power = guitar_spectrum()
    assert power.sum() == pytest.approx(1.0)
    assert GRID[power > 0.0].min() == 80.0
    assert 14_000.0 <= GRID[power > 0.0].max() <= 14_130.0
    # Above the highest fundamental, amplitudes as 1/n are 3 dB less in each octave band; integers cut the last bit.
    bands = [power[(edge <= GRID) & (2.0 * edge > GRID)].sum() for edge in (1500.0, 3000.0, 6000.0)]
    np.testing.assert_allclose(10.0 * np.log10(np.divide(bands[1:], bands[:-1])), -3.01, atol=0.3)


def test_the_same_gain_moved_up_is_moved_down_again():
    heard = compare(gains(FLAT, FLAT + 6.0, FLAT - 17.0))
    np.testing.assert_allclose(heard["offset"], [0.0, -6.0, 17.0], atol=1e-9)
    np.testing.assert_allclose(heard["difference"], 0.0, atol=1e-9)
    assert len(set(heard["sharpness"].values.round(9))) == 1


@settings(max_examples=20)
@given(
    st.lists(st.floats(-4.0, 4.0), min_size=1, max_size=4),
    st.floats(-30.0, 30.0),
    st.floats(50.0, 90.0),
)
def test_all_are_equally_loud(tilts, level, listening):
    heard = compare(gains(FLAT, *(tilt(each) + level for each in tilts)), Listening(listening))
    # Loudness after ISO 532-1 has steps of a few tenths of a per cent, where the corrections of low bands change.
    np.testing.assert_allclose(heard["loudness"], heard["loudness"][0], rtol=0.005)
    assert heard["offset"][0] == 0.0


def test_more_treble_is_sharper():
    acum = compare(gains(*(tilt(each) for each in (-3.0, -1.0, 0.0, 1.0, 3.0))))["sharpness"].values
    assert np.all(np.diff(acum) > 0.1)


def test_the_roll_off_takes_sharpness():
    bare, cone = (compare(gains(FLAT), Listening(roll_off=each))["sharpness"][0] for each in (None, 5000.0))
    assert bare > cone + 0.2


def test_what_cannot_be_heard_is_refused():
    with pytest.raises(DescriptionError, match=r"20 to 2000 Hz; loudness needs 80 Hz to 14130 Hz"):
        compare(gains(FLAT).isel(frequency=slice(0, 101)))
    with pytest.raises(DescriptionError, match="sound 2 of 2 is at a place without signal"):
        compare(gains(FLAT, FLAT - np.inf))
    with pytest.raises(DescriptionError, match="listening level of 130"):
        Listening(130.0)
    with pytest.raises(DescriptionError, match="no knob 'gian'"):
        explain_brightness(AMP, BRIGHT, PLACED, knob="gian")


@pytest.fixture(scope="module")
def answer():
    return explain_brightness(AMP, BRIGHT, PLACED, knob="gain")


def test_the_shares_add_up_at_equal_loudness(answer):
    assert float(answer["sharper_share"].sum()) == pytest.approx(float(answer["sharper"]), abs=1e-12)
    assert float(abs(answer["share"].sum("edit") - answer["difference"]).max()) <= 1e-9
    plain = gain_db(simulate([AMP, BRIGHT], positions=[PLACED], nodes=["speaker"]))
    whole = plain[1, 0] - plain[0, 0] + answer["offset"]
    np.testing.assert_allclose(answer["difference"], whole, atol=1e-4)


def test_at_the_rotation_found_half_is_gone(answer):
    half = dict(PLACED, gain=float(answer["half_at"]))
    again = explain_brightness(AMP, BRIGHT, half)
    assert float(again["sharper"]) == pytest.approx(float(answer["sharper"]) / 2.0, rel=0.03)
    assert float(explain_brightness(AMP, BRIGHT, PLACED)["sharper"]) == pytest.approx(
        float(answer["sharper"]), abs=1e-12
    )


def test_sentences_say_what_was_computed(answer):
    text = " ".join(brightness_sentences(answer, 3000.0, "the middle position"))
    headline = re.match(
        r"The middle position sounds brighter at equal loudness, by (\S+) acum \((\S+) against (\S+)\)", text
    )
    assert headline
    size, after, before = map(float, headline.groups())
    assert size == pytest.approx(float(answer["sharper"]), abs=0.005)
    assert [before, after] == pytest.approx(answer["sharpness"].values, abs=0.0101)
    assert after - before == pytest.approx(size)
    turned = re.search(r"turned down by (\S+) dB", text)
    assert turned
    assert -float(turned[1]) == pytest.approx(float(answer["offset"]), abs=0.05)
    at = answer.interp(frequency=3000.0)
    total = re.search(r"Of the (\S+) dB that it then has more at 3 kHz, (.*?)\. ", text)
    assert total
    assert float(total[1]) == pytest.approx(float(at["difference"]), abs=0.06)
    told = {words: float(share) for share, words in re.findall(r"([\d.]+) dB (?:come )?from (.*?\))", total[2])}
    assert sum(told.values()) == pytest.approx(float(total[1]))
    shares = dict(zip(answer["words"].values, at["share"].values, strict=True))
    assert told
    for words, share in told.items():
        assert share == pytest.approx(float(shares[words]), abs=0.11)
    knob = re.search(r"Turn gain up from 3 to (\S+) and half of it is gone: (\S+) acum are left", text)
    assert knob
    assert float(knob[1]) == pytest.approx(10.0 * float(answer["half_at"]), abs=0.05)
    assert float(knob[2]) == pytest.approx(float(answer["sharper"]) / 2.0, abs=0.006)


def test_sentences_name_what_they_do_not_cover(answer):
    last = brightness_sentences(answer)[-1]
    for word in ("70 dB", "24 dB per octave above 5000 Hz", "Room", "microphone", "dynamics", "distortion"):
        assert word in last
    bare = explain_brightness(AMP, BRIGHT, PLACED, listening=Listening(roll_off=None))
    assert "nothing stands for the cone" in brightness_sentences(bare)[-1]


def test_a_difference_below_what_is_heard_is_called_that():
    little = parse_mod({"name": "little", "reason": "r", "edits": [{"replace": "C5", "with": "180p"}]})
    found = explain_brightness(AMP, apply_mods(AMP, little), knob="treble")
    assert 0.0 < abs(float(found["sharper"])) < NOTICED_ACUM
    text = " ".join(brightness_sentences(found))
    assert text.startswith("Hardly anyone will hear the modded position as ")
    assert "less than the 0.08 acum" in text
    assert "hardly noticed (common practice, no source)" in text
    assert "Turn treble" not in text


def test_duller_counts_downwards():
    across = {"parts": {"C109": "390p"}, "edits": [{"fit": "C109", "across": "R6"}]}
    found = explain_brightness(AMP, apply_mods(AMP, parse_mod({"name": "duller", "reason": "r"} | across)), knob="gain")
    text = " ".join(brightness_sentences(found, 8000.0))
    assert re.match(r"The modded position sounds duller at equal loudness, by 0\.\d\d acum", text)
    assert re.search(r"All \d+\.\d dB that it then has less at 8 kHz come from capacitor C109 390p", text)
    assert "No setting of gain takes half of it away" in text


def test_a_frequency_outside_the_sweep_is_refused(answer):
    with pytest.raises(DescriptionError, match="outside the sweep"):
        brightness_sentences(answer, 30e3)
