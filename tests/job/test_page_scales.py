"""The axes of the page's picture: what the page opens with is seen whole."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from ampsim.job.page.scales import FACTORS, scales_for

GAINS = st.lists(
    st.tuples(st.floats(-80.0, 80.0), st.floats(0.0, 58.0), st.floats(-40.0, 40.0)), min_size=1, max_size=12
)


@given(GAINS)
def test_both_curves_are_seen_whole_where_the_page_opens(drawn: list[tuple[float, float, float]]) -> None:
    shape = np.linspace(0.0, 1.0, 9)
    stock = np.array([low + span * shape for low, span, _ in drawn])
    samples = np.stack([stock, stock + np.array([[change] for *_, change in drawn]) * shape], axis=1)
    for start in samples:
        scales = scales_for(start, samples)
        low, high, step = scales.gain
        assert high - step <= start.max() + 2.0 <= high + 1e-9
        assert low <= start.min() + 1e-6 or high - low >= 60.0
        assert scales.shift(start) == 0.0
        change = start[1] - start[0]
        factor = scales.factor(change)
        assert factor == FACTORS[-1] or scales.change[0] * factor <= change.min() + 1e-6
