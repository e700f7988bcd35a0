"""Numbers in words say the number."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.wording import in_hertz, round_column, signed


@given(st.floats(-2.0, 8.9))
def test_a_frequency_in_words_is_the_frequency(decade: float) -> None:
    number, unit = in_hertz(10.0**decade).split()
    assert float(number) * {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6}[unit] == pytest.approx(10.0**decade, rel=6e-3)
    assert "e" not in number
    assert decade < 0.0 or 1.0 <= float(number) < 1000.0


@given(st.floats(-1e3, 1e3), st.integers(0, 3))
def test_a_number_with_its_sign_is_never_less_than_nothing_when_it_is_none(size: float, decimals: int) -> None:
    text = signed(size, decimals).replace("\u2212", "-")
    assert abs(float(text) - size) <= 0.5 * 10.0**-decimals + 1e-9
    assert text[0] == ("-" if float(text) < 0.0 else "+")


@pytest.mark.parametrize(("numbers", "written"), [
    ([63.0, 350.0, 16.0], "63 350 16"), ([0.5, 0.25], "0.50 0.25"), ([5.0, 20.0, math.nan], "5 20 \u2013"),
    ([311.18, 0.94], "311.18 0.94"), ([12.0, 3.1234], "12.00 3.12"), ([1.0, 0.062], "1.00 0.06"),
    ([-7.0, 0.0], "\u22127 0"),
])  # fmt: skip
def test_a_column_has_no_more_decimals_than_its_numbers(numbers: list[float], written: str) -> None:
    assert " ".join(round_column(numbers)) == written
