"""Headroom: where stages clip and what power is clean, against closed forms, and mods that lose it."""

from __future__ import annotations

import math
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from hypothesis import example, given
from hypothesis import strategies as st
from matplotlib.lines import Line2D
from scipy.interpolate import PchipInterpolator

from ampsim import DescriptionError, EngineError, apply_mods, load_amp, load_mod, parse_mod, simulate
from ampsim.base.wording import in_volts
from ampsim.circuit.build import build_circuit
from ampsim.circuit.load import load_ohm
from ampsim.circuit.loudspeaker import loudspeaker_ohms
from ampsim.circuit.plugging import plug_in
from ampsim.circuit.signal_path import valve_stages
from ampsim.library.files import models, models_in
from ampsim.pictures.canvas import Picture, png
from ampsim.pictures.moving import move
from ampsim.simulation.agreement import AGREEMENT
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.band_limit import band_limited, drift
from ampsim.simulation.facts import get
from ampsim.simulation.in_time import InTime
from ampsim.studies.findings import Finding
from ampsim.studies.headroom.crossings import first_crossing, value_at
from ampsim.studies.headroom.distortion_picture import describe_distortion, distortion_curves, distortion_picture
from ampsim.studies.headroom.findings import headroom_findings
from ampsim.studies.headroom.measures import (
    LOAD_OHM,
    WHOLE,
    clipping_table,
    compression_db,
    harmonics_table,
    power_table,
)
from ampsim.studies.headroom.picture import (
    compression_curves,
    compression_picture,
    describe_compression,
    harmonics_over_level_curves,
    harmonics_over_level_picture,
)
from ampsim.studies.headroom.section import section
from ampsim.studies.headroom.simulate import FAILED, LEVELS, TONE, headroom
from ampsim.studies.headroom.unplayed import unplayed_findings
from ampsim.studies.section import Examination
from tests.tools.any_amps import made_amp
from tests.tools.equal_forms import equal_amps
from tests.truth.bench import amp, rail, stage, wired

BAD_MODS = Path(__file__).parents[1] / "bad_mods"
SHORT = tuple(2.0 * 0.5**step for step in range(10, 2, -1))  # 2 to 250 mV
LADDER = np.geomspace(1e-3, 1.0, 11)


@lru_cache(maxsize=1)
def everything() -> xr.Dataset:
    """The stock amp, a good mod at a hot position and a bad one."""
    stock = load_amp("workshop-a")
    mods = [load_mod("cathode-switch"), load_mod(str(BAD_MODS / "cold-third-stage.toml"))]
    return headroom([stock, *(apply_mods(stock, mod) for mod in mods)], [{"cathode": "6k8"}], SHORT)


def of(variant: str) -> dict[str, Finding]:
    return {each.subject: each for each in headroom_findings(everything(), "headroom") if each.variant == variant}


def test_a_mod_that_loses_headroom_is_caught() -> None:
    found = of("cold third stage")
    lost = found["power at 5 % distortion"]
    assert lost.grade == "beyond the limit"
    assert lost.value < -3.0
    assert lost.limit == -3.0
    assert "dB less" in lost.words
    assert "third stage clips first" in found["first stage to clip"].words
    assert "output stage" in found["first stage to clip"].words  # what the stock amp does


def test_a_touch_at_the_output_stage_is_no_excuse_for_what_is_lost_before_it() -> None:
    stock = load_amp("workshop-a")
    touch = parse_mod({"name": "touch", "reason": "a", "edits": [{"replace": "R28", "with": "155"}]}, "touch")
    both = apply_mods(apply_mods(stock, load_mod(str(BAD_MODS / "cold-third-stage.toml"))), touch)
    found = {each.subject: each for each in headroom_findings(headroom([stock, both], levels=SHORT))}
    assert found["power at 5 % distortion"].grade == "beyond the limit"
    assert "third stage clips first" in found["first stage to clip"].words


def test_gain_that_a_good_mod_adds_is_no_loss() -> None:
    found = of("cathode switch")
    assert {each.grade for each in found.values()} == {"fine"}
    assert "earlier" in found["first stage to clip"].words
    assert found["first stage to clip"].value == pytest.approx(0.0, abs=0.3)


def test_an_amp_against_itself_is_as_stock() -> None:
    sheet = section(Examination(load_amp("workshop-b"), load_amp("workshop-b"), ({"volume": 0.3},)))
    assert sheet.grade == "fine"
    assert sheet.findings == ()  # one variant alone: nothing to compare
    assert set(sheet.pictures) == {"headroom", "distortion over level", "harmonics over level"}


def test_a_stage_inside_the_feedback_loop_is_not_taken_for_one_that_clips() -> None:
    stock = compression_db(everything()).sel(variant="stock").isel(position=0)
    level = float(np.abs(stock["valve"].sel(stage="output stage") + 2.4).idxmin("level"))
    at = stock.sel(level=level)
    assert float(at["valve"].sel(stage="output stage")) < -1.0
    assert abs(float(at["valve"].sel(stage="phase inverter"))) < 0.1
    # Between its input and its output the loop makes the same stage look like one that expands.
    here = everything().sel(variant="stock", level=level).isel(position=0)
    outside = [_first(here, place) - _quiet(here, place) for place in ("V3A.plate", "V3A.grid")]
    assert outside[0] - outside[1] > 0.5


def _first(response: xr.Dataset, place: str) -> float:
    rows = response["voltage"].sel(node=place).values[:-1]
    return 20.0 * math.log10(abs(np.fft.rfft(rows)[TONE.cycles]) * 2.0 / rows.size / float(response["level"]))


def _quiet(response: xr.Dataset, place: str) -> float:
    return 20.0 * math.log10(float(np.hypot(*response["small"].sel(node=place).values)))


def test_stages_of_an_amp_without_feedback_add_up_to_the_whole() -> None:
    fallen = compression_db(headroom(load_amp("workshop-b"), levels=SHORT)).isel(variant=0, position=0)
    stages = fallen.drop_sel(stage=WHOLE)
    total = (stages["grid"] + stages["valve"]).sum("stage", skipna=False)
    np.testing.assert_allclose(total, fallen["valve"].sel(stage=WHOLE), atol=1e-9)


def test_a_ladder_of_6_db_agrees_with_one_of_1_db() -> None:
    stock = load_amp("workshop-b")
    coarse, fine = (headroom(stock, [{"volume": 0.5}], np.geomspace(0.02, 0.32, steps)) for steps in (5, 25))
    one, other = (power_table(each).iloc[0] for each in (coarse, fine))
    for percent in (1, 5, 10):
        level, watts = f"{percent} % THD at [V]", f"power there, {percent} % [W]"
        assert 20.0 * math.log10(one[level] / other[level]) == pytest.approx(0.0, abs=0.5)
        # Apart from the levels, which may differ, both read the same power at a level.
        gains = [each[watts] / each[level] ** 2 for each in (one, other)]
        assert 10.0 * math.log10(gains[0] / gains[1]) == pytest.approx(0.0, abs=0.1)
    levels = [clipping_table(each).set_index("stage")["clips at [V]"] for each in (coarse, fine)]
    for name in ("output stage", WHOLE):
        assert 20.0 * math.log10(levels[0][name] / levels[1][name]) == pytest.approx(0.0, abs=0.5)


def test_grid_current_is_named() -> None:
    parts = {"R1": "470k", "V1": "12AX7", "R2": "220k", "R3": "1k5", "C3": "22u"}
    roles = {"valve": "V1", "supply": "B1", "plate_load": "R2", "cathode_resistor": "R3", "cathode_bypass": "C3"}
    stages = [wired("generator", R1=["in", "out"]), stage("triode stage", **roles)]
    told = headroom(amp(parts, stages, rail("B1", 300.0)), levels=(0.04, 0.08, 0.16, 0.32, 0.64, 1.28, 2.56))
    row = clipping_table(told).iloc[0]
    assert row["how"] == "grid draws current"
    assert math.isfinite(row["clips at [V]"])


def test_levels_without_an_answer_are_named_and_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    real = InTime.run

    def broken(self, runs):  # type: ignore[no-untyped-def]
        found = real(self, runs)
        return [EngineError("no answer"), *found[1:]] if len(found) == len(SHORT) else found

    monkeypatch.setattr(InTime, "run", broken)
    told = headroom(load_amp("lesson-stage"), levels=SHORT)
    assert get(told, FAILED) == ["stock, as drawn, 0.00195 V"]
    assert np.isnan(told["voltage"].isel(level=0)).all()
    assert np.isfinite(power_table(told)["gain [dB]"]).all()
    assert len(harmonics_table(told, "stock", "as drawn")) == told.sizes["level"] - 1


def test_the_solver_is_believed_of_amps_driven_their_hardest() -> None:
    stock = load_amp("workshop-a")
    hot = [apply_mods(stock, load_mod("cathode-switch")), load_amp("workshop-b")]
    for each in hot:
        switches = {name: control.positions[-1] for name, control in each.controls.items() if control.positions}
        told = headroom(each, [switches], LEVELS[-1:])
        assert not get(told, AGREEMENT).broken, (each.name, switches)
        assert get(told, AGREEMENT).worst < 0.01


def test_an_unknown_control_is_refused() -> None:
    with pytest.raises(DescriptionError, match="volume"):
        headroom(load_amp("workshop-b"), [{"volum": 0.3}])


def test_a_control_turned_down_leaves_no_distortion_of_noise() -> None:
    told = headroom(load_amp("workshop-b"), [{"volume": 0.0}], SHORT)
    row = power_table(told).iloc[0]
    assert row["5 % THD at [V]"] == math.inf
    assert row["most power [W]"] < 1e-6


def test_the_load_takes_what_its_impedance_says() -> None:
    speaker = load_amp("workshop-a").part_by_designator["LS1"]
    parts = {"R1": "1k", "LS1": {"resistance": 6.4, "resonance": 82.0, "peak": 45.0, "q": 5.0, "reactance": 5.0}}
    loaded = amp(parts, [stage("generator", resistance="R1"), stage("load", load="LS1")])
    for hertz in (60.0, 82.0, 400.0, 3000.0):
        volts = complex(
            simulate(loaded, FrequencySweep(hertz, 10 * hertz, 1), nodes=["speaker"])["voltage"].values.ravel()[0]
        )
        ohms = 1e3 * volts / (1.0 - volts)
        assert loudspeaker_ohms(speaker, hertz) == pytest.approx(ohms, rel=1e-5)  # type: ignore[arg-type]
        assert load_ohm(build_circuit(loaded), hertz) == pytest.approx(1.0 / (1.0 / ohms).real, rel=1e-5)
    assert load_ohm(build_circuit(load_amp("lesson-stage")), 400.0) is None


def test_stages_stand_in_signal_order() -> None:
    stages = valve_stages(build_circuit(load_amp("workshop-a")))
    assert [each.valves for each in stages] == [("V1A",), ("V1B",), ("V2A",), ("V2B",), ("V3A", "V3B"), ("V4", "V5")]
    assert (stages[4].driven, stages[4].grids) == (("V3A.grid",), ("V3A.grid", "V3B.grid"))
    assert stages[-1].outputs == ("speaker",)


@given(st.floats(0.2, 3.0), st.floats(-59.0, -5.0), st.floats(-1.0, 1.0))
@example(1.8355353409805264, -6.0, 0.0)
@example(1.8355353409805264, -12.0, 0.0)
def test_a_straight_line_over_log_level_is_crossed_where_it_is(slope: float, at: float, limit: float) -> None:
    decibels = 20.0 * np.log10(LADDER)
    found = first_crossing(LADDER, limit + slope * (decibels - at), limit)
    assert 20.0 * math.log10(found) == pytest.approx(at, abs=1e-9)
    assert first_crossing(LADDER, limit + slope * (decibels + 61.0), limit) == 0.0
    assert first_crossing(LADDER, limit + slope * (decibels - 1.0), limit) == math.inf


@given(st.lists(st.floats(-3.0, 3.0), min_size=11, max_size=11), st.floats(-2.0, 2.0))
@example([-1.0, 0.0, 2.2e-309, *8 * [0.0]], 1e-309)
@example([0.0, 2.2e-309, *9 * [1.0]], 0.5)
@example([5e-324, -5e-324, 1.0, *8 * [2.0]], 1.5)
def test_a_crossing_lies_in_the_step_where_values_pass(values: list[float], limit: float) -> None:
    row = np.array(values)
    found = first_crossing(LADDER, row, limit)
    above = np.flatnonzero(row >= limit)
    if not above.size:
        assert found == math.inf
    elif above[0] == 0:
        assert found == 0.0
    else:
        assert LADDER[above[0] - 1] * (1 - 1e-9) <= found <= LADDER[above[0]] * (1 + 1e-9)


def test_values_without_an_answer_do_not_count() -> None:
    row = 20.0 * np.log10(LADDER) + 40.0
    holed = np.where(np.arange(11) % 3 == 1, np.nan, row)
    assert first_crossing(LADDER, holed, 0.0) == pytest.approx(0.01, rel=1e-9)
    assert first_crossing(LADDER, np.full(11, np.nan), 0.0) == math.inf


def test_pictures_say_and_draw_the_same() -> None:
    chosen = everything().isel(variant=[0, 1])
    for draw, curves in (
        (compression_picture, compression_curves),
        (distortion_picture, distortion_curves),
        (harmonics_over_level_picture, harmonics_over_level_curves),
    ):
        picture = draw(chosen)
        assert png(picture, 50.0).startswith(b"\x89PNG")
        lines = {str(each.get_gid()): each for each in picture.findobj(Line2D) if each.get_gid()}
        points = curves(chosen)
        assert set(lines) == set(points)
        for gid, row in points.items():
            np.testing.assert_array_equal(lines[gid].get_xydata(), row)
        move(picture, points)
    table = clipping_table(chosen)
    first = table[(table["variant"] == "stock") & (table["stage"] == "output stage")]["clips at [V]"].iloc[0]
    assert f"output stage {1e3 * first:.3g} mV" in describe_compression(chosen)


def _marks(picture: Picture) -> list[Line2D]:
    """Single points that are drawn."""
    return [line for line in picture.axes[0].lines if len(line.get_xdata()) == 1]


@pytest.mark.parametrize("modded", [1, 2])
def test_marks_of_distortion_lie_on_its_curves_and_are_told(modded: int) -> None:
    chosen = everything().isel(variant=[0, modded])
    picture, told, curves = distortion_picture(chosen), describe_distortion(chosen), distortion_curves(chosen)
    marks = {(line.get_xdata()[0], line.get_ydata()[0]) for line in _marks(picture)}
    assert len(marks) == 4  # two percents, two amps
    beside = " ".join(text.get_text() for text in picture.texts)
    for place, (_, row) in enumerate(power_table(chosen).iterrows()):
        points = curves[f"line-{place}"]
        for percent in (5, 10):
            level = float(row[f"{percent} % THD at [V]"])
            assert (level, percent) in marks
            assert np.exp(np.interp(np.log(level), *np.log(points).T)) == pytest.approx(percent, rel=0.01)
            assert in_volts(level) in beside
            assert f"{percent} % at {in_volts(level)}" in told


def test_distortion_that_is_never_reached_is_told_so() -> None:
    clean = everything().isel(variant=[0], level=slice(0, 3))
    picture = distortion_picture(clean)
    assert sum(text.get_text().startswith("not up to") for text in picture.texts) == 2
    assert not _marks(picture)


def test_harmonics_below_the_floor_are_words() -> None:
    table = harmonics_table(everything(), "stock", "cathode 6k8")
    assert table["H7 [dB]"].iloc[0] == "< -75"
    assert float(table["H2 [dB]"].iloc[-1]) < 0.0


def test_a_spike_at_the_ends_of_the_window_is_no_drift() -> None:
    turns = np.arange(200) / 100.0
    wave = np.sin(2.0 * np.pi * turns)
    spiked = wave + 80.0 * (np.arange(200) == 0)  # one that comes a little later the next time
    spiked[101] += 80.0
    assert abs(float(drift(spiked, 2)[0])) < 1e-9
    assert float(drift(wave + 3.0 * turns / 2.0, 2)[0]) == pytest.approx(3.0, rel=1e-9)


def test_spikes_between_the_points_of_a_grid_make_no_tones() -> None:
    time = np.linspace(0.0, 2.0 / 400.0, 40001)
    grid = np.linspace(0.0, time[-1], 101)
    tone = np.sin(2.0 * np.pi * 400.0 * time) + 5.0 * time / time[-1]
    spikes = 60.0 * np.exp(-(((time * 400.0 % 1.0 - 0.263) / 0.004) ** 2))
    found = np.abs(np.fft.rfft(band_limited(time, tone + spikes, grid, 2)[:-1] - 5.0 * np.arange(100) / 100.0)) / 50.0
    due = np.abs(np.fft.rfft((tone + spikes - 5.0 * time / time[-1])[:-1])) / 20000.0
    assert found[2:42:2] == pytest.approx(due[2:42:2], rel=0.01)
    assert due[2] > 0.5


def test_power_is_what_the_coil_of_a_loudspeaker_lets_through() -> None:
    ohms = [load_ohm(build_circuit(load_amp("workshop-a")), order * TONE.frequency) for order in range(1, 11)]
    assert get(everything(), LOAD_OHM)["stock"]["cathode 6k8"] == ohms
    turns = 2.0 * np.pi * TONE.frequency * everything()["time"].values
    for order in (1, 5):
        found = everything().copy(deep=True)
        found["voltage"].loc[{"node": "speaker"}] = 10.0 * np.sin(turns) + 4.0 * np.sin(order * turns)
        row = power_table(found).iloc[0]
        due = 14.0**2 / 2.0 / ohms[0] if order == 1 else 50.0 / ohms[0] + 8.0 / ohms[4]
        assert row["most power [W]"] == pytest.approx(due, rel=2e-3)
    assert ohms[4] > 1.5 * ohms[0]


def test_a_switch_that_takes_a_loudspeaker_away_leaves_the_power_of_the_other() -> None:
    """As an amp drawn with the one alone: what the taken one would have drawn is no power."""
    alone = load_amp("workshop-a")
    one = {"resistance": "6.4", "resonance": "80", "peak": "40", "q": 4.0, "reactance": "5"}
    second = {"name": "two", "reason": "r", "parts": {"LS2": one}}
    both = {"off": [], "on": [{"fit": "LS2", "across": "LS1"}]}
    switch = {"designator": "S90", "control": "second", "drawn": "on", "positions": both}
    amp = apply_mods(alone, parse_mod(second | {"switches": [switch]}))
    want = power_table(headroom(alone, levels=(0.002, 0.02)))["most power [W]"]
    found = power_table(headroom(amp, [{}, {"second": "off"}], levels=(0.002, 0.02)))["most power [W]"]
    assert found[1] == pytest.approx(want[0], rel=1e-4)
    assert abs(found[0] - found[1]) > 0.1 * found[1]


def test_greatest_power_follows_from_the_circuit_however_it_is_written() -> None:
    made = made_amp(13, 103)
    assert made.kind == "fed-back single"  # its valve cuts off, and its transformer spikes
    forms = [made, *(each.made for each in equal_amps(made) if "free wiring" in each.form or "in a row" in each.form)]
    levels = tuple(0.5**step for step in range(6))
    most = [float(power_table(headroom(each.amp, levels=levels)).iloc[0]["most power [W]"]) for each in forms]
    assert most == pytest.approx([most[0]] * len(most), rel=2e-3)


@pytest.mark.parametrize(("next_part", "control"), [("Q1", "gate"), ("V1", "grid")])
def test_what_clips_before_a_grid_is_not_its_current(next_part: str, control: str) -> None:
    """Diodes before a MOSFET, whose gate never draws current, and before a triode biased far beyond them."""
    parts = {"R1": "22k", "D1": "1N4148", "D2": "1N4148", "R2": "47k", "R3": "4k7", "R4": "1M"}
    parts |= {"Q1": "LND150"} if next_part == "Q1" else {"V1": "12AU7"}
    pins = {"drain": "B1", "gate": "in", "source": "out"} if next_part == "Q1" else None
    pins = pins or {"plate": "B1", "grid": "in", "cathode": "out"}
    diodes = wired("diodes", R1=["in", "out"], D1=["out", "ground"], D2=["ground", "out"], R4=["out", "ground"])
    follower = wired("follower", **{next_part: pins}, R2=["out", "ground"])
    source = wired("source", R3=["in", "out"])
    told = headroom(amp(parts, [source, diodes, follower], rail("B1", 150.0)), levels=(0.04, 0.16, 0.64, 1.28))
    row = clipping_table(told).set_index("stage").loc["follower"]
    assert row["how"] == f"clipped on its way to the {control}"
    assert 0.16 < row["clips at [V]"] < 0.9


def test_an_echo_that_comes_later_is_no_compression() -> None:
    """A reverb's springs answer after the cycles that are looked at: what is small passes as in a dry sweep."""
    told = headroom(load_amp(models_in("stages")["reverb"]), levels=(0.001, 0.002))
    table = clipping_table(told).set_index("stage")
    assert (table["clips at [V]"] > 0.002).all()
    assert abs(float(compression_db(told)["valve"].sel(stage=WHOLE, level=0.001).squeeze())) < 0.1


def test_crossings_lie_on_the_monotone_cubic_of_scipy() -> None:
    lot = np.random.default_rng(3)
    for _ in range(200):
        x = np.cumsum(10.0 ** lot.uniform(-1.0, 0.5, int(lot.integers(2, 9))))
        # Whole numbers make flat pieces and turns.
        y = np.round(np.cumsum(lot.normal(size=x.size)), int(lot.integers(0, 9)))
        curve, levels, limit = PchipInterpolator(x, y), np.exp(x), float(lot.uniform(y.min(), y.max()))
        at = float(lot.uniform(levels[0], levels[-1]))
        assert value_at(levels, y, at) == pytest.approx(float(curve(np.log(at))), abs=1e-12)
        crossed = first_crossing(levels, y, limit)
        if 0.0 < crossed < np.inf:
            assert float(curve(np.log(crossed))) == pytest.approx(limit, abs=1e-12)
            assert levels[int(np.argmax(y >= limit)) - 1] <= crossed <= levels[int(np.argmax(y >= limit))]


def test_a_channel_that_nothing_is_plugged_into_is_said_to_be_unplayed() -> None:
    """The mixer's second channel has a jack of its own; plugged in there, or with the first one changed, nothing is."""
    stock = load_amp(models() / "stages" / "mixer.toml")
    second, first = (
        apply_mods(stock, parse_mod({"name": "n", "reason": "r", "edits": [{"replace": part, "with": "1k"}]}))
        for part in ("R8", "R4")
    )
    (found,) = unplayed_findings(stock, second)
    assert (found.grade, found.subject) == ("not known", "bright stage")
    assert '--source "generator at bright"' in found.words
    assert list(unplayed_findings(stock, first)) == []
    there = [plug_in(each, "generator at bright") for each in (stock, second)]
    assert list(unplayed_findings(*there)) == []
