"""Taper laws of potentiometers."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.circuit.tapers import TAPERS, parse_taper, track_fraction


@pytest.mark.parametrize(
    ("taper", "mid"),
    [
        ("linear", 0.5),
        ("audio 10 %", 0.1),
        ("audio 15 %", 0.15),
        ("audio 20 %", 0.2),
        ("reverse audio 10 %", 0.9),
    ],
)
def test_the_makers_figure_is_the_fraction_at_mid_rotation(taper, mid):
    # "10 % log" means 10 % of the track at mid rotation: rotary-potentiometer guide, taper conventions.
    assert track_fraction(taper, 0.5) == pytest.approx(mid, abs=1e-12)


@given(st.sampled_from(TAPERS), st.floats(0, 1), st.floats(0, 1))
def test_a_taper_rises_from_nothing_to_the_whole_track(taper, low, high):
    low, high = sorted((low, high))
    assert 0.0 <= track_fraction(taper, low) <= track_fraction(taper, high) <= 1.0
    assert track_fraction(taper, 0.0) == pytest.approx(0.0, abs=1e-12)
    assert track_fraction(taper, 1.0) == pytest.approx(1.0)


def test_tapers_have_one_spelling():
    assert parse_taper("Audio 15%") == parse_taper("audio") == "audio 15 %"
    with pytest.raises(DescriptionError, match="nearest: linear"):
        parse_taper("linaer")


@pytest.mark.parametrize(
    ("written", "taper"),
    [
        ("log", "audio 15 %"),
        ("LOG", "audio 15 %"),
        ("lin", "linear"),
        ("Lin.", "linear"),
        ("linear taper", "linear"),
        ("A", "audio 15 %"),
        ("B", "linear"),
        ("C", "reverse audio 10 %"),
        ("A10", "audio 10 %"),
        ("20A", "audio 20 %"),
        ("log 10%", "audio 10 %"),
        ("10 % log", "audio 10 %"),
        ("logarithmic", "audio 15 %"),
        ("reverse log", "reverse audio 10 %"),
        ("rev. log", "reverse audio 10 %"),
        ("antilog", "reverse audio 10 %"),
        ("neg log 20 %", "reverse audio 20 %"),
    ],
)
def test_a_taper_is_read_as_drawings_and_pots_have_it(written: str, taper: str) -> None:
    assert parse_taper(written) == taper


@pytest.mark.parametrize("written", ["30A", "W", "S", "log lin", "audio audio", "", "%", "A 1"])
def test_a_taper_that_means_nothing_is_refused_with_those_that_are_known(written: str) -> None:
    with pytest.raises(DescriptionError, match=r"P1.taper: .* is not a taper; (nearest|known): .*"):
        parse_taper(written, "P1.taper")
