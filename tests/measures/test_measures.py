"""Every measure against a closed form."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from ampsim import DescriptionError
from ampsim.base import tables
from ampsim.base.html import html_table
from ampsim.circuit.build import build_circuit
from ampsim.circuit.load import load_ohms
from ampsim.circuit.loudspeaker import loudspeaker_ohms
from ampsim.library.loader import parse_amp
from ampsim.measures.bias import bias_table
from ampsim.measures.labels import common_settings, select, short_labels
from ampsim.measures.shelves import shelf_db, slope_db_per_octave
from ampsim.measures.sweep import (
    corner_hz,
    difference_db,
    gain_at,
    gain_db,
    group_delay_s,
    notch,
    peak,
    phase_deg,
)
from ampsim.measures.waveforms import FLOOR_DB, extremes_v, harmonics, power_w, rms_v, source_v, steady_voltage
from ampsim.simulation.analyses import Transient
from ampsim.simulation.response import simulate
from ampsim.simulation.stimuli import Sine
from tests.tools.datasets import (
    GRID,
    band_pass,
    band_stop,
    clipped,
    high_pass,
    low_pass,
    operating_point,
    product,
    shelf,
    sines,
    sweep,
    transient,
)


def one(curve: object, **more: object) -> xr.Dataset:
    return sweep({"stock": {"as drawn": {"speaker": curve}}}, **more)  # type: ignore[arg-type, dict-item]


def only(values: xr.DataArray) -> float:
    return float(values.values.item())


# Frequency sweeps ----------------------------------------------------------------------------------------------------


def test_gain_and_phase_of_an_rc_high_pass() -> None:
    response = one(high_pass(100.0, 5.0))
    gain = gain_db(response).values[0, 0]
    ratio = GRID / 100.0
    np.testing.assert_allclose(gain, 20 * np.log10(5.0 * ratio / np.sqrt(1 + ratio**2)), atol=1e-12)
    phase = phase_deg(response)
    np.testing.assert_allclose(phase.values[0, 0], 90.0 - np.degrees(np.arctan(ratio)), atol=1e-9)
    assert phase.attrs["units"] == "degree"


def test_gain_between_two_nodes_is_the_difference_of_their_gains() -> None:
    response = sweep({"stock": {"as drawn": {"V1A.grid": high_pass(50.0), "speaker": high_pass(50.0, 40.0)}}})
    gain = gain_db(response, "speaker", "V1A.grid")
    np.testing.assert_allclose(gain.values, 20 * np.log10(40.0), atol=1e-12)


def test_phase_is_unwrapped_over_more_than_a_turn() -> None:
    response = one(lambda f: np.exp(-2j * np.pi * f * 2e-4))
    np.testing.assert_allclose(phase_deg(response).values[0, 0], -360.0 * GRID * 2e-4, rtol=1e-9)


def test_group_delay_of_a_delay_and_of_a_low_pass() -> None:
    delay = group_delay_s(one(lambda f: np.exp(-2j * np.pi * f * 2e-4)))
    np.testing.assert_allclose(delay.values, 2e-4, rtol=1e-4)
    ours = group_delay_s(one(low_pass(1000.0))).values[0, 0]
    exact = 1.0 / (2 * np.pi * 1000.0) / (1 + (GRID / 1000.0) ** 2)
    np.testing.assert_allclose(ours, exact, rtol=1e-4)


def test_gain_at_interpolates_in_decibels_over_log_frequency() -> None:
    response = one(lambda f: f / 1000.0)  # 20 dB a decade: a straight line in these scales
    at = gain_at(response, [82.0, 1000.0, 4321.0])
    np.testing.assert_allclose(at.values[0, 0], 20 * np.log10([0.082, 1.0, 4.321]), atol=1e-9)
    assert at["frequency"].attrs["units"] == "Hz"
    with pytest.raises(DescriptionError, match="10 Hz lies outside the sweep, 20 to 20000 Hz"):
        gain_at(response, [10.0])


def test_difference_takes_the_base_from_every_other_variant() -> None:
    names = {"stock": 1.0, "hot": 2.0, "cold": 0.5}
    response = sweep({name: {"as drawn": {"speaker": low_pass(900.0, gain)}} for name, gain in names.items()})
    change = difference_db(response)
    assert change["variant"].values.tolist() == ["hot", "cold"]
    np.testing.assert_allclose(change.values[:, 0, 7], [20 * np.log10(2), -20 * np.log10(2)], atol=1e-12)
    from_hot = difference_db(response, base="hot").sel(variant="cold")
    np.testing.assert_allclose(from_hot.values, -20 * np.log10(4), atol=1e-12)


def test_corners_of_two_rc_sections() -> None:
    found = corner_hz(one(product(high_pass(60.0), low_pass(7000.0))), mid=650.0)
    # The other section is still felt at each corner: (f/fc)^2 by half power of the product, solved here on a fine grid.
    fine = np.geomspace(20.0, 20e3, 200_001)
    gain = np.abs(product(high_pass(60.0), low_pass(7000.0))(fine))
    inside = fine[gain >= np.abs(product(high_pass(60.0), low_pass(7000.0))(np.array([650.0])))[0] / np.sqrt(2)]
    np.testing.assert_allclose(found.values[0, 0], [inside[0], inside[-1]], rtol=1e-3)
    assert found["edge"].values.tolist() == ["lower", "upper"]


def test_corner_of_an_rc_high_pass_and_what_lies_outside() -> None:
    found = corner_hz(one(high_pass(100.0)), mid=20e3)
    assert float(found.sel(edge="lower").item()) == pytest.approx(100.0, rel=1e-3)
    assert np.isnan(found.sel(edge="upper").item())
    assert found["note"].sel(edge="upper").item() == "above 20000 Hz, or none"
    assert found["note"].sel(edge="lower").item() == ""


def test_corners_of_a_resonance_follow_from_its_q() -> None:
    q, centre = 2.0, 1000.0
    lower, upper = corner_hz(one(band_pass(centre, q))).values[0, 0]
    half = 1 / (2 * q)
    assert lower == pytest.approx(centre * (np.sqrt(1 + half**2) - half), rel=2e-3)
    assert upper == pytest.approx(centre * (np.sqrt(1 + half**2) + half), rel=2e-3)


def test_shelf_height_and_slope() -> None:
    response = one(shelf(400.0, 2000.0))
    height = only(shelf_db(response, 20.0, 20e3))
    exact = 20 * np.log10(np.abs(shelf(400.0, 2000.0)(np.array([20e3])) / shelf(400.0, 2000.0)(np.array([20.0]))))
    assert height == pytest.approx(float(exact[0]), abs=1e-9)
    assert height == pytest.approx(20 * np.log10(5.0), abs=0.1)
    slope = only(slope_db_per_octave(one(high_pass(15e3)), 50.0, 200.0))
    assert slope == pytest.approx(20 * np.log10(2.0), abs=1e-3)
    with pytest.raises(DescriptionError, match="expected 0 < low < high"):
        slope_db_per_octave(response, 500.0, 100.0)


@pytest.mark.parametrize("centre", [430.0, 700.0, 1234.5])
def test_peak_and_notch_between_the_points_of_the_grid(centre: float) -> None:
    top = peak(one(band_pass(centre, 1.0, 10.0)))
    assert only(top["frequency"]) == pytest.approx(centre, rel=1e-3)
    assert only(top["level"]) == pytest.approx(20.0, abs=0.01)
    bottom = notch(one(band_stop(centre, 0.7, 0.1)))
    assert only(bottom["frequency"]) == pytest.approx(centre, rel=2e-3)
    assert only(bottom["level"]) == pytest.approx(-20.0, abs=0.15)


def test_depth_of_a_notch_counts_from_the_lower_shoulder() -> None:
    curve = product(band_stop(600.0, 0.7, 0.1), low_pass(4000.0))
    gain = 20 * np.log10(np.abs(curve(GRID)))
    left = gain[GRID < 600.0].max()
    right = gain[GRID > 600.0].max()
    found = notch(one(curve))
    assert only(found["relative"]) == pytest.approx(only(found["level"]) - min(left, right), abs=1e-6)


def test_no_peak_is_no_number() -> None:
    assert np.isnan(only(peak(one(low_pass(100.0)))["frequency"]))


def test_silence_is_minus_infinity_without_warning() -> None:
    response = one(lambda f: 0.0 * f)
    assert np.all(np.isneginf(gain_db(response).values))
    assert np.all(np.isnan(corner_hz(response).values))


# Transients -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("frequency", "cycles", "step"), [(1000.0, 4, 20e-6), (82.41, 4, 20e-6), (220.0, 7, 10e-6)])
def test_harmonics_of_a_sum_of_sines(frequency: float, cycles: int, step: float) -> None:
    amplitudes = (2.0, 0.5, 0.1, 0.0, 0.02)
    wave = sines(frequency, *amplitudes, offset=150.0)
    response = transient({"stock": {"V1A.plate": wave}}, frequency, cycles=cycles, step=step)
    found = harmonics(response)
    # Reach of the cubic spline: fourth order in (harmonic x frequency x step); 50 points a cycle here at worst.
    np.testing.assert_allclose(found["amplitude"].values[0, 0, :5], amplitudes, atol=2e-4)
    exact = 100 * np.sqrt(sum(each**2 for each in amplitudes[1:])) / amplitudes[0]
    assert only(found["thd"]) == pytest.approx(exact, abs=0.01)
    assert found["relative"].values[0, 0, 1] == pytest.approx(20 * np.log10(0.25), abs=1e-3)
    assert found.attrs["floor_db"] == FLOOR_DB


def test_harmonics_of_a_clipped_sine_follow_its_fourier_series() -> None:
    level, limit = 2.0, 1.0
    response = transient({"stock": {"speaker": clipped(1000.0, level, -limit, limit)}}, 1000.0, step=1e-6)
    found = harmonics(response)["amplitude"].values[0, 0]
    # Fourier series of a sine of height A cut off at +-c, with a = arcsin(c/A).
    a = np.arcsin(limit / level)
    first = 2 / np.pi * (level * (a - np.sin(a) * np.cos(a)) + 2 * limit * np.cos(a))
    odd = np.array([3, 5, 7, 9])
    series = (
        2
        / np.pi
        * (
            level * (np.sin((odd - 1) * a) / (odd - 1) - np.sin((odd + 1) * a) / (odd + 1))
            + 2 * limit * np.cos(odd * a) / odd
        )
    )
    assert found[0] == pytest.approx(first, abs=1e-5)
    np.testing.assert_allclose(found[odd - 1], np.abs(series), atol=2e-5)
    np.testing.assert_allclose(found[1::2], 0.0, atol=1e-9)


def test_floor_of_a_pure_sine_lies_below_what_is_trusted() -> None:
    found = harmonics(transient({"stock": {"speaker": sines(997.0, 1.0)}}, 997.0))
    assert np.nanmax(found["relative"].values[0, 0, 1:]) < FLOOR_DB - 20.0


@pytest.mark.parametrize("frequency", [220.0, 997.0])
def test_the_phase_of_every_harmonic_is_that_against_the_source(frequency: float) -> None:
    phases, levels = (-170.0, -91.0, 3.0, 88.0, 179.0), (1.0, 0.3, 0.1, 0.02, 0.005)

    def wave(t: np.ndarray) -> np.ndarray:
        turns = enumerate(zip(levels, phases, strict=True), 1)
        return sum(a * np.sin(2.0 * np.pi * n * frequency * t + np.radians(p)) for n, (a, p) in turns)

    found = harmonics(transient({"stock": {"speaker": wave}}, frequency), count=6)["phase"].values[0, 0]
    np.testing.assert_allclose(found[:5], phases, atol=0.01)
    assert np.isnan(found[5])  # below the floor


def test_drift_is_not_taken_for_harmonics() -> None:
    wave = sines(1000.0, 1.0, 0.01)
    response = transient({"stock": {"speaker": lambda t: wave(t) + 300.0 * t}}, 1000.0)
    found = harmonics(response)["relative"].values[0, 0]
    assert found[1] == pytest.approx(-40.0, abs=0.01)
    assert np.all(found[2:] < FLOOR_DB)


def test_orders_above_half_the_sampling_rate_are_not_known() -> None:
    found = harmonics(transient({"stock": {"speaker": sines(5000.0, 1.0)}}, 5000.0, step=20e-6))
    assert np.isnan(found["amplitude"].values[0, 0]).tolist() == [False] * 4 + [True] * 6


def test_silence_has_no_distortion_to_tell() -> None:
    found = harmonics(transient({"stock": {"speaker": lambda t: 0.0 * t}}))
    assert np.isnan(only(found["thd"]))
    assert np.all(np.isnan(found["relative"].values))


def test_level_power_and_extremes_of_a_sine() -> None:
    response = transient({"stock": {"speaker": sines(440.0, 8.0, offset=3.0)}}, 440.0)
    assert only(rms_v(response)) == pytest.approx(8.0 / np.sqrt(2), rel=1e-6)
    ends = extremes_v(response)
    assert only(ends["lowest"]) == pytest.approx(-5.0, abs=0.01)
    assert only(ends["highest"]) == pytest.approx(11.0, abs=0.01)
    with pytest.raises(DescriptionError, match="no current of a load"):
        power_w(response)


@pytest.mark.parametrize("level", [0.1, 60.0])
@pytest.mark.parametrize("arrangement", ["parallel", "series", "series-parallel"])
def test_power_is_volts_times_amperes_in_any_load_however_a_wave_clips(level: float, arrangement: str) -> None:
    speakers = {f"LS{n}": {"resistance": 5 + n, "peak": 30 + n, "reactance": 3 + n} for n in range(1, 5)}
    parts = {"R1": "8", "D1": "1N4001", "D2": "1N4001", "R2": "0.01"} | speakers
    clipper = {"name": "clipper", "template": "free wiring", "wires": {
        "R2": ["in", "out"], "D1": ["out", "ground"], "D2": ["ground", "out"]}}  # fmt: skip
    load = {"name": "cabinet", "template": "load", "load": list(speakers), "arrangement": arrangement}
    amp = parse_amp({"name": "power", "parts": parts, "stages": [
        {"name": "generator", "template": "generator", "resistance": "R1"}, clipper, load]}, "power.toml")  # fmt: skip
    told = simulate(amp, Transient(Sine(400.0, level, 0.05, 4), 2e-6))
    found, ohms = harmonics(told, count=40)["amplitude"].squeeze().values, []
    kept = [amp.part_by_designator[name] for name in speakers]
    for order in range(1, 41):
        each = [loudspeaker_ohms(part, 400.0 * order) for part in kept]
        series = {"series": sum(each), "parallel": 1 / sum(1 / z for z in each)}
        ohms.append(series.get(arrangement) or 1 / (1 / (each[0] + each[1]) + 1 / (each[2] + each[3])))
        assert load_ohms(build_circuit(amp), 400.0 * order) == pytest.approx(ohms[-1], rel=1e-12)
    due = sum(volts**2 / 2.0 * (1.0 / z).real for volts, z in zip(found, ohms, strict=True))
    assert only(power_w(told)) == pytest.approx(due, rel=2e-3)


def test_the_settled_window_is_the_last_whole_cycles() -> None:
    response = transient({"stock": {"speaker": sines(250.0, 1.0)}}, 250.0, cycles=3, settle=5)
    time = steady_voltage(response)["time"].values
    assert time[-1] - time[0] == pytest.approx(3 / 250.0, rel=1e-9)
    assert time[-1] == response["time"].values[-1]


def test_source_is_the_sine_unless_it_was_listened_to() -> None:
    response = transient({"stock": {"speaker": sines(250.0, 1.0)}}, 250.0, level=0.2)
    source = source_v(response)
    np.testing.assert_allclose(source.values, 0.2 * np.sin(2 * np.pi * 250.0 * response["time"].values), atol=1e-12)
    heard = transient({"stock": {"input": sines(250.0, 0.3), "speaker": sines(250.0, 1.0)}}, 250.0)
    np.testing.assert_array_equal(source_v(heard).values, heard["voltage"].values[0, 0, 0])


# Operating points -----------------------------------------------------------------------------------------------------

TRIODE = {"plate": 163.0, "cathode": 1.5, "grid": 0.0, "ia": 0.9e-3}
PENTODE = {"plate": 310.0, "cathode": 10.0, "grid": 0.0, "screen": 298.0, "ia": 0.0447, "ig2": 0.0045}


def test_bias_table() -> None:
    table = bias_table(operating_point({"stock": {"V1A": TRIODE, "V4": PENTODE}})).set_index("valve")
    assert table.loc["V1A", "plate [W]"] == pytest.approx((163.0 - 1.5) * 0.9e-3)
    assert table.loc["V1A", "of limit [%]"] == pytest.approx(14.535)
    assert table.loc["V1A", "verdict"] == "within limits"
    assert np.isnan(float(str(table.loc["V1A", "screen [V]"])))
    assert table.loc["V4", "plate [mA]"] == pytest.approx(44.7)
    assert table.loc["V4", "verdict"] == "over the plate dissipation limit: 13.41 W of 12 W"


def test_bias_verdict_names_every_limit_that_is_passed() -> None:
    hot = PENTODE | {"plate": 325.0, "screen": 320.0, "ia": 0.060, "ig2": 0.008}
    verdict = bias_table(operating_point({"stock": {"V4": hot}}))["verdict"].item()
    assert verdict == (
        "over the plate dissipation limit: 18.9 W of 12 W; over the screen dissipation limit: 2.48 W of 2 W; "
        "over the plate voltage limit: 315 V of 300 V; over the screen voltage limit: 310 V of 300 V; "
        "over the cathode current limit: 68 mA of 65 mA"
    )


def test_bias_without_limits_or_readings_says_so() -> None:
    response = operating_point({"stock": {"V1A": TRIODE}})
    bare = response.assign_attrs(
        valves=response.attrs["valves"].replace('"plate_volts": 300.0, "plate_watts": 1.0', "")
    )
    assert bias_table(bare)["verdict"].item() == "no limits known"
    deaf = response.isel(node=[1, 2])
    assert bias_table(deaf)["verdict"].item() == "not judged: no readings of its plate and cathode"


# Names and refusals ---------------------------------------------------------------------------------------------------


def test_unknown_names_come_with_the_nearest() -> None:
    response = sweep({"stock": {"as drawn": {"V1A.plate": low_pass(1.0), "speaker": low_pass(1.0)}}})
    with pytest.raises(DescriptionError, match=r"no node 'V1A\.plat' in this response; nearest: V1A\.plate"):
        gain_db(response, "V1A.plat")
    with pytest.raises(DescriptionError, match="no variant 'stok' in this response; nearest: stock"):
        difference_db(response, base="stok")
    with pytest.raises(DescriptionError, match="no position 'as drown' in this response; nearest: as drawn"):
        select(response, positions=["as drown"])


def test_a_measure_refuses_the_response_of_another_analysis() -> None:
    with pytest.raises(DescriptionError, match="needs the response of a frequency sweep; given: transient"):
        gain_db(transient({"stock": {"speaker": sines(1000.0, 1.0)}}))
    with pytest.raises(DescriptionError, match="operating point; given: frequency sweep"):
        bias_table(one(low_pass(1.0)))
    burst = transient({"stock": {"speaker": sines(1000.0, 1.0)}})
    burst.attrs["stimulus"] = '{"shape": "burst"}'
    with pytest.raises(DescriptionError, match="needs a transient with a sine; given: a burst"):
        harmonics(burst)


def test_positions_are_named_by_what_differs_between_them() -> None:
    places = {f"gain 3, bright {each}": {"speaker": low_pass(1.0)} for each in ("open", "120p")}
    response = sweep({"stock": places}, {"gain": [0.3, 0.3], "bright": ["open", "120p"]})
    assert short_labels(response) == ["bright open", "bright 120p"]
    assert common_settings(response) == "gain 3"


# Tables ---------------------------------------------------------------------------------------------------------------


def test_frame_of_gains() -> None:
    response = sweep({"stock": {"as drawn": {"speaker": low_pass(1e6, 10.0)}}})
    table = tables.frame(gain_at(response, [100.0, 1000.0]))
    assert list(table.columns) == ["variant", "position", "100 Hz [dB]", "1000 Hz [dB]"]
    assert table["1000 Hz [dB]"].item() == pytest.approx(20.0, abs=1e-4)


def test_text_table_is_aligned_also_with_wide_and_combining_signs() -> None:
    table = pd.DataFrame({"valve": ["V1A", "真空管", "e\u0301"], "plate [V]": [163.25, -1.5, np.nan]})
    assert tables.text_table(table).splitlines() == [
        "valve   plate [V]",
        "------  ---------",
        "V1A        163.25",
        "真空管      \u22121.50",
        "e\u0301               \u2013",
    ]


def test_html_table_escapes_everything() -> None:
    table = pd.DataFrame({"<b>": ["a & b\n<script>"], "plate [W]": [0.5]})
    text = html_table(table, caption="<i>")
    assert "<script>" not in text
    assert "a &amp; b &lt;script&gt;" in text
    assert '<td style="text-align:right">0.5</td>' in text
    assert "<caption>&lt;i&gt;</caption>" in text
