"""An output pair that is not matched: what it adds, and where there is nothing to say of it."""

from __future__ import annotations

import re

from ampsim import load_amp
from ampsim.studies.headroom.mismatch import mismatch_words
from ampsim.studies.headroom.simulate import headroom


def test_a_pair_that_is_off_moves_the_second_harmonic_to_both_sides_of_what_equal_valves_have() -> None:
    """Off one way it adds to the even harmonics of the stages before, off the other way it takes from them."""
    drawn = load_amp("workshop-a")
    (words,) = mismatch_words(drawn, {}, headroom(drawn, levels=(0.002, 0.02)))
    numbers = re.search(r"is (-?\d+) to (-?\d+) dB instead of (-?\d+) dB, distortion (\S+) to (\S+) %", words)
    assert numbers is not None, words
    low, high, equal, least, most = map(float, numbers.groups())
    assert low < high
    assert low <= equal <= high
    assert least < most
    assert re.match(r"V\d+ and V\d+ are taken as equal", words)
    assert "V of bias either way" in words


def test_a_single_valve_has_nothing_to_be_matched_with() -> None:
    drawn = load_amp("kitchen")
    assert mismatch_words(drawn, {}, headroom(drawn, levels=(0.1,))) == ()
