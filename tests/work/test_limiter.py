"""The lamp at first power: what it leaves follows from both currents being one, and is told only where it is known."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.library.landing import apply_mods
from ampsim.library.loader import load_amp, load_mod
from ampsim.simulation.supplies import supplies_at_rest
from ampsim.work.steps.limiter import Draw, limiter_words, mains_draw, share_left, shares_left
from ampsim.work.steps.step import Phase
from ampsim.work.steps.work_plan import work_steps

WATTS = st.floats(5.0, 500.0)


@given(WATTS, WATTS)
def test_the_same_current_flows_through_lamp_and_amp(lamp: float, amp: float) -> None:
    share = share_left(lamp, amp)
    assert lamp * (1.0 - share) ** 0.55 == pytest.approx(amp * share, rel=1e-9)
    assert share_left(2.0 * lamp, amp) > share > share_left(lamp, 2.0 * amp)


def test_by_hand() -> None:
    # Of equal watts: (1 - x)^0.55 = x at 0.602; a short leaves nothing, an amp that draws nothing all of it.
    assert share_left(60.0, 60.0) == pytest.approx(0.6023, abs=1e-4)
    assert share_left(60.0, 1e6) < 1e-4
    assert share_left(60.0, 1e-3) > 0.999


def test_what_an_amp_draws_is_its_heaters_and_rails() -> None:
    amp = load_amp("kitchen")
    found = mains_draw(amp, {})
    # 12AX7 12.6 V 0.15 A in one bulb, 6V6GT 6.3 V 0.45 A, 5Y3GT 5 V 2 A.
    assert found.heaters == pytest.approx(12.6 * 0.15 + 6.3 * 0.45 + 5.0 * 2.0)
    (supply,) = supplies_at_rest(amp, {})
    assert found.rails == pytest.approx(supply.drawn * supply.volts("B1"), rel=0.01)
    least, most = shares_left(found, found.lamps()[0])
    assert 0.5 < least < most < 1.0
    assert found.lamps()[0] >= found.whole


def test_what_is_not_known_is_said_and_no_volts_are_told() -> None:
    amp = load_amp("workshop-a")
    bare = replace(amp, valves=tuple(replace(each, heater=None) for each in amp.valves))
    assert "not known (nothing is on file of the heater of V1A)" in limiter_words(mains_draw(bare, {}))[1]
    assert Draw(unknown="x").lamps() == []
    for drawn, known in ((amp, True), (bare, False)):
        plan = work_steps(drawn, apply_mods(drawn, load_mod("bright-switch")))
        first, second = [step for step in plan.steps if step.phase is Phase.FIRST_POWER][:2]
        assert any("an LED lamp limits nothing" in each for each in first.how)
        assert bool(second.checks) is known
        if known:
            full = next(step for step in plan.steps if step.do.startswith("Without the limiter"))
            pairs = list(zip(second.checks, full.checks, strict=True))
            assert all(on_lamp.low < at_full.low for on_lamp, at_full in pairs)
