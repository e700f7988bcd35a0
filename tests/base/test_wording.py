"""Numbers in words say the number."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.wording import in_hertz


@given(st.floats(-2.0, 8.9))
def test_a_frequency_in_words_is_the_frequency(decade: float) -> None:
    number, unit = in_hertz(10.0**decade).split()
    assert float(number) * {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6}[unit] == pytest.approx(10.0**decade, rel=6e-3)
    assert "e" not in number
    assert decade < 0.0 or 1.0 <= float(number) < 1000.0
