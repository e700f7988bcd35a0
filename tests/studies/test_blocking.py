"""Blocking: bias and a small tone after a hard burst, against closed forms, and a mod that blocks."""

from __future__ import annotations

import math
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.lines import Line2D

from ampsim import Burst, DescriptionError, FrequencySweep, Sine, Transient, apply_mods, load_amp, load_mod, simulate
from ampsim.circuit.signal_path import ValveStage
from ampsim.pictures.canvas import png
from ampsim.pictures.moving import move
from ampsim.simulation.agreement import AGREEMENT, TIMED_LIMIT
from ampsim.simulation.facts import DRAWN, STAGES, STIMULUS, StimulusFacts, get, put
from ampsim.studies.blocking import simulate as simulate_blocking
from ampsim.studies.blocking.findings import blocking_findings, most_pushed_valve
from ampsim.studies.blocking.measures import bias_v, blocking_table, small_tone_db, time_to_settle, tone_table
from ampsim.studies.blocking.picture import blocking_curves, describe_blocking
from ampsim.studies.blocking.picture import blocking_picture as picture
from ampsim.studies.blocking.section import section
from ampsim.studies.blocking.simulate import BURST, blocking
from ampsim.studies.findings import Finding
from ampsim.studies.section import Examination
from tests.tools.any_amps import made_amp

BAD_MOD = Path(__file__).parents[1] / "bad_mods" / "slow-coupling.toml"


@lru_cache(maxsize=1)
def everything() -> xr.Dataset:
    """The stock amp, a good mod and one that blocks."""
    stock = load_amp("workshop-a")
    return blocking(
        [stock, *(apply_mods(stock, mod) for mod in (load_mod("smaller-coupling"), load_mod(str(BAD_MOD))))]
    )


def of(variant: str) -> Finding:
    return next(each for each in blocking_findings(everything(), "blocking") if each.variant == variant)


def test_a_mod_that_blocks_is_caught() -> None:
    found = of("slow coupling")
    assert found.grade == "beyond the limit"
    assert found.value == math.inf
    assert "still more than 3 dB down after 200 ms (stock: " in found.words
    assert "V2A is pushed most" in found.words
    assert "colder" in found.words


def test_a_good_mod_passes() -> None:
    assert of("smaller coupling capacitor").grade == "fine"


def test_times_do_not_hang_on_the_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the solver leaves of its equations shook the small tone here: it was back after 189 ms, or 60, or 29."""
    amp = made_amp(4711, 17).amp
    told = [blocking_table(blocking(amp, checks=0))]
    monkeypatch.setattr(simulate_blocking, "_FINE", 1.25e-6)
    monkeypatch.setattr(simulate_blocking, "_STEP", 6.25e-6)
    told.append(blocking_table(blocking(amp, checks=0)))
    usual, finer = (table["tone within 1 dB after [ms]"].to_numpy() for table in told)
    assert usual.max() > 20.0
    np.testing.assert_allclose(usual, finer, rtol=0.02, atol=0.5)


def test_the_section_stands_on_its_own() -> None:
    amp = load_amp("workshop-b")
    sheet = section(Examination(amp, apply_mods(amp, load_mod("smaller-coupling")), ({},)))
    assert [each.picture for each in sheet.findings] == ["blocking"]
    assert set(sheet.pictures) == {"blocking"}


def synthetic(tau: float, shift: float, dip: float, around: float = 1e-3) -> xr.Dataset:
    """A grid pushed by `shift` that comes back with `tau`, and an output whose tone is `dip` dB down for 0.1 s."""
    burst = Burst(400.0, 1.0, 0.04, 0.06, 0.36, around)
    run = Transient(burst, 1.0 / (50 * 400.0))
    time = run.grid()
    after = time - burst.stop
    push = np.where(after >= 0.0, shift * np.exp(-np.maximum(after, 0.0) / tau), 0.0)
    level = np.where((after > 0.0) & (after < 0.1), 10.0 ** (-dip / 20.0), 1.0)
    wave = around * np.sin(2.0 * np.pi * 400.0 * time)
    rows = {"V1.grid": wave - 1.0 + push, "V1.cathode": 0.0 * time, "V1.plate": -50.0 * level * wave - 200.0 * push}
    rows["speaker"] = rows["V1.plate"]
    stages = {"stock": (ValveStage("stage", ("V1",), ("V1.grid",), ("V1.grid",), ("V1.plate",)),)}
    stimulus = StimulusFacts("burst", 0.36, 400.0, 1.0, start=0.04, stop=0.06, around=around)
    return xr.Dataset(
        {"voltage": (("variant", "position", "node", "time"), np.array(list(rows.values()))[np.newaxis, np.newaxis])},
        {"variant": ["stock"], "position": ["as drawn"], "node": list(rows), "time": time},
        {"analysis": "transient", "output": "speaker", **put(STAGES, stages), **put(STIMULUS, stimulus)}
        | put(DRAWN, {}),
    )  # fmt: skip


@given(st.floats(0.005, 0.08), st.floats(0.2, 40.0), st.sampled_from([-1.0, 1.0]))
def test_an_exponential_comes_back_in_its_own_time(tau: float, size: float, sign: float) -> None:
    (row,) = blocking_table(synthetic(tau, sign * size, 0.0)).to_dict("records")
    assert row["bias before [V]"] == pytest.approx(-1.0, abs=1e-9)
    assert row["37 % left after [ms]"] == pytest.approx(-1e3 * tau * math.log(0.37), rel=1e-6)
    assert row["10 % left after [ms]"] == pytest.approx(-1e3 * tau * math.log(0.10), rel=1e-6)


@pytest.mark.parametrize("dip", [0.0, 2.0, 6.0, 20.0])
def test_a_dip_of_the_tone_is_found_through_bias_on_its_way_back(dip: float) -> None:
    told = synthetic(0.03, -2.0, dip)  # 400 V of bias at the plate beside 50 mV of tone
    row = tone_table(told).iloc[0]
    assert row["tone after 50 ms [dB]"] == pytest.approx(-dip, abs=0.01)
    # Windows of three cycles begin to see the end of the dip 3.75 ms before it.
    assert row["down until [ms]"] == pytest.approx(100.0 if dip > 3.0 else 0.0, abs=4.0)


def test_the_small_tone_before_the_burst_is_the_gain_of_a_sweep() -> None:
    amp = load_amp("workshop-a")
    sweep = simulate(amp, FrequencySweep(400.0, 4000.0, 1), nodes=["speaker"])["voltage"].values.ravel()[0]
    time = everything()["time"].values
    before = everything().isel(variant=0, position=0).sel(node="speaker")["voltage"].values
    window = (time >= BURST.start - 0.01 - 1e-9) & (time < BURST.start - 1e-9)
    found = abs(np.fft.rfft(before[window])[4]) * 2.0 / window.sum()
    assert found / BURST.around == pytest.approx(abs(sweep), rel=0.01)


def test_the_level_of_the_small_tone_does_not_matter() -> None:
    amp = load_amp("lesson-stage")
    loud, soft = (blocking(amp, burst=Burst(400.0, 8.0, 0.04, 0.08, 0.2, around)) for around in (1e-3, 1e-2))
    later = small_tone_db(loud)["after"].values > 0.01
    both = [small_tone_db(each).sel(node="V1A.plate").values[0, 0, later] for each in (loud, soft)]
    np.testing.assert_allclose(*both, atol=0.02)
    np.testing.assert_allclose(*(bias_v(each).values[0, 0, 0, -20:] for each in (loud, soft)), atol=1e-3)


def test_without_a_burst_nothing_moves() -> None:
    told = blocking(load_amp("workshop-b"), burst=Burst(400.0, 1e-4, 0.04, 0.05, 0.15, 1e-4))
    row = tone_table(told).iloc[0]
    assert row["down until [ms]"] == 0.0
    assert row["tone within 1 dB after [ms]"] == 0.0
    assert np.isnan(blocking_table(told)["37 % left after [ms]"]).all()


def test_silence_is_not_judged() -> None:
    told = synthetic(0.02, -1.0, 0.0).copy(deep=True)
    told["voltage"][:, :, 3] = 0.0
    stages = get(told, STAGES)["stock"]
    both = xr.concat([told, told.assign_coords(variant=["silent"])], "variant")
    both = both.assign_attrs(put(STAGES, {"stock": stages, "silent": stages}))
    found = blocking_findings(both)
    assert [each.grade for each in found] == ["not known"]
    assert "nothing can be said" in found[0].words


def test_other_responses_are_refused() -> None:
    told = simulate(load_amp("lesson-stage"), Transient(Sine(settle=0.001)), nodes=["V1A.grid", "V1A.cathode"])
    with pytest.raises(DescriptionError, match="needs the response to a burst"):
        bias_v(told)


@given(st.lists(st.floats(0.0, 2.0), min_size=2, max_size=30))
def test_from_then_on_it_stays_below(values: list[float]) -> None:
    size, after = np.array(values), np.arange(len(values)) * 1e-3
    found = time_to_settle(after, size, 1.0)
    assert (size[after > found] <= 1.0).all()
    assert (found == math.inf) == (values[-1] > 1.0)
    assert (found == 0.0) == (max(values) <= 1.0)


def test_the_valve_pushed_most() -> None:
    rows = [
        {"valve": name, "bias before [V]": bias, "shift [V]": shift, "37 % left after [ms]": left}
        for name, bias, shift, left in (("a", -1.0, 0.01, math.nan), ("b", -10.0, -30.0, 10.0), ("c", -1.0, 1.0, 20.0))
    ]
    assert most_pushed_valve(rows)["valve"] == "b"
    assert most_pushed_valve(rows[::2])["valve"] == "c"


def test_the_picture_says_and_draws_the_same() -> None:
    chosen = everything().isel(variant=[0, 2])
    drawn, points = picture(chosen), blocking_curves(chosen)
    assert png(drawn, 50.0).startswith(b"\x89PNG")
    lines = {str(each.get_gid()): each for each in drawn.findobj(Line2D) if each.get_gid()}
    assert set(lines) == set(points) == {"tone-0", "tone-1", "bias-0", "bias-1"}
    for gid, row in points.items():
        np.testing.assert_array_equal(lines[gid].get_xydata(), row)
    move(drawn, points)
    lowest = tone_table(chosen)["tone lowest [dB]"].iloc[1]
    assert f"{-lowest:.1f} dB at its lowest" in describe_blocking(chosen)


def test_an_amp_with_springs_is_played_by_the_solver_too() -> None:
    """Where it refused, ngspice found no answer to some of them, and the sheet had none."""
    found = get(blocking([load_amp("ballroom")], burst=Burst(400.0, 1.0, 0.005, 0.02, 0.03, 1e-4)), AGREEMENT)
    assert (found.solved, found.checked, found.refused) == (1, 1, ())
    assert found.worst < TIMED_LIMIT
