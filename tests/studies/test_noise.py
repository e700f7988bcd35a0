"""Noise and hum: physics, superposition, what may not move, what is said, and mods that must be caught."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache, partial
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from ampsim import apply_mods, load_amp, load_mod, load_valve, parse_mod
from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.circuit.valves.emission import stronger_valve
from ampsim.circuit.valves.evaluation import currents, slopes
from ampsim.circuit.valves.laws import LAWS
from ampsim.library.kinds import listing
from ampsim.measures.weighting import REFERENCE_VOLTS, a_weight, in_db_a, level_db
from ampsim.simulation.analyses import FrequencySweep, NoiseSweep, OperatingPoint
from ampsim.simulation.netlist import Netlist, build
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Arrays
from ampsim.studies.findings import Finding
from ampsim.studies.noise.hum import Mains, hum_spectrum
from ampsim.studies.noise.hum_measures import hum_by_node, hum_findings, hum_table
from ampsim.studies.noise.measures import (
    contributor_table,
    margin_words,
    noise_findings,
    noise_grade,
    noise_shares,
    noise_table,
    weighted_v,
)
from ampsim.studies.noise.picture import hum_bars_picture, noise_bars_picture, noise_curves, noise_picture
from ampsim.studies.noise.section import section
from ampsim.studies.noise.simulate import KELVIN, noise_spectrum
from ampsim.studies.section import Examination
from tests.tools import random_amps
from tests.truth.bench import Rest, amp, rail, stage, wired

BAD_MODS = Path(__file__).parents[1] / "bad_mods"
COARSE = NoiseSweep(per_decade=5)
BOLTZMANN, CHARGE = 1.380649e-23, 1.602176634e-19


def stock() -> Amp:
    return load_amp("workshop-a")


def modded(name: str) -> Amp:
    bad = BAD_MODS / f"{name}.toml"
    return apply_mods(stock(), load_mod(str(bad) if bad.exists() else name))


@lru_cache(maxsize=8)
def both(name: str) -> tuple[xr.Dataset, xr.Dataset]:
    """Noise and hum of the stock amp and the amp with a mod, as drawn."""
    pair = [stock(), modded(name)]
    return noise_spectrum(pair, sweep=COARSE), hum_spectrum(pair)


def findings(name: str) -> dict[str, Finding]:
    noise, hum = both(name)
    return {each.subject: each for each in [*noise_findings(noise), *hum_findings(hum, noise)]}


def ran(netlist: Netlist) -> Arrays:
    answer = engine.run([netlist])[0]
    assert isinstance(answer, Arrays), answer
    return answer


def nyquist(ohms: float) -> float:
    return math.sqrt(4.0 * BOLTZMANN * KELVIN * ohms)


# Noise ----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["workshop-a", "workshop-b", "lesson-stage"])
def test_contributions_add_up_in_power(name: str) -> None:
    found = noise_spectrum(load_amp(name), sweep=COARSE)
    total = np.sqrt((found["contribution"] ** 2).sum("contributor"))
    np.testing.assert_allclose(total.transpose(*found["noise"].dims), found["noise"], rtol=1e-9)
    assert (found["contribution"] >= 0.0).all()
    assert set(found["kind"].values) >= {"resistor", "valve", "grid current"}


def with_noise_sources() -> Netlist:
    sources = tuple((name, 5e3, 8e4 if name in ("V4", "V5") else 0.0, 0.1 if name in ("V4", "V5") else 0.0)
                    for name in ("V1A", "V1B", "V2A", "V2B", "V3A", "V3B", "V4", "V5"))  # fmt: skip
    return build(stock(), {}, NoiseSweep(valves=sources), ())


def _listening_as(other: Netlist) -> Netlist:
    """The netlist with noise sources, asked what another is asked."""
    noisy, form = with_noise_sources(), other.form
    return replace(noisy, form=noisy.form._replace(command=form.command, vectors=form.vectors, points=form.points))


def test_noise_sources_leave_the_bias_alone() -> None:
    rest = build(stock(), {}, OperatingPoint(), ("V1A.plate", "V2B.cathode", "V4.cathode", "speaker"), True)
    noisy = _listening_as(rest)
    for vector, value in ran(rest).vectors.items():
        assert ran(noisy).vectors[vector][0] == pytest.approx(value[0], rel=1e-9, abs=1e-12), vector


def test_noise_sources_leave_the_gain_alone() -> None:
    gain = build(stock(), {}, FrequencySweep(), ("speaker",))
    (vector,) = gain.form.vectors
    np.testing.assert_allclose(ran(_listening_as(gain)).vectors[vector], ran(gain).vectors[vector], rtol=1e-7)


@pytest.mark.parametrize("rotation", [0.1, 0.5, 0.9])
def test_the_halves_of_a_pot_are_one_contributor(rotation: float) -> None:
    pot = {"track": "1M", "control": "volume", "rotation": rotation}
    circuit = amp({"P1": pot}, [stage("volume", pot="P1")])
    found = noise_spectrum(circuit, sweep=COARSE)
    assert list(found["contributor"].values) == ["P1"]
    # Seen from the wiper the halves lie beside each other.
    expected = nyquist(1e6 * rotation * (1.0 - rotation))
    np.testing.assert_allclose(found["noise"].values, expected, rtol=1e-4)


def pentode(screen: str) -> Amp:
    """One EL84 with 1 kohm in its plate and a bypassed cathode; the screen on a place."""
    parts = {"R1": "1k", "V1": "EL84", "R2": "1k", "R3": "150", "C1": "10m", "R4": "1"}
    valve = {"plate": "p", "grid": "g", "screen": screen, "cathode": "k"}
    return amp(
        parts,
        [
            wired(
                "stage",
                V1=valve,
                R1=["in", "g"],
                R2=["B1", "p"],
                R3=["k", "ground"],
                C1=["k", "ground"],
                R4=["p", "out"],
            )
        ],
        rail("B1", 250.0),
    )


def at_plate(circuit: Amp) -> xr.Dataset:
    sweep = NoiseSweep(1000.0, 10e3, 1, output="V1.plate")
    return noise_spectrum(circuit, sweep=sweep).isel(variant=0, position=0, frequency=0)


def test_partition_noise_of_a_pentode_by_hand() -> None:
    circuit, found = pentode("B1"), at_plate(pentode("B1"))
    rest = Rest(circuit)
    plate, screen = rest.amps("V1", "plate"), rest.amps("V1", "screen")
    volts = [rest.volts(f"V1.{pin}", "V1.cathode") for pin in ("plate", "grid", "screen")]
    at = slopes(load_valve("EL84"), *volts)
    out = 1.0 / (1.0 / 1e3 + 1.0 / float(at.rp))
    by_hand = math.sqrt(2.0 * CHARGE * plate * screen / (plate + screen)) * out
    assert float(found["contribution"].sel(contributor="V1 partition")) == pytest.approx(by_hand, rel=2e-3)
    together = float(at.gm) * (plate + screen) / plate
    assert float(found["contribution"].sel(contributor="V1")) == pytest.approx(
        nyquist(2.5 / together) * float(at.gm) * out, rel=2e-3
    )


def test_a_triode_connected_pentode_is_as_noisy_as_a_triode_of_its_gm() -> None:
    circuit, found = pentode("p"), at_plate(pentode("p"))
    rest = Rest(circuit)
    at = slopes(load_valve("EL84"), rest.volts("V1.plate", "V1.cathode"), rest.volts("V1.grid", "V1.cathode"))
    out = 1.0 / (1.0 / 1e3 + 1.0 / float(at.rp))
    by_hand = nyquist(2.5 / float(at.gm)) * float(at.gm) * out
    # The plate's gm alone is not quite the shared one times the plate's share of the current.
    assert float(found["contribution"].sel(contributor="V1")) == pytest.approx(by_hand, rel=0.03)
    assert "V1 partition" not in found["contributor"].values


def test_a_law_with_a_grid_current_of_its_own_has_no_diode() -> None:
    parts = {"V1": "12AX7-dempwolf-zoelzer-2011", "R1": "1M", "R2": "100k", "R3": "1k5"}
    roles = {"valve": "V1", "supply": "B1", "grid_leak": "R1", "plate_load": "R2", "cathode_resistor": "R3"}
    found = noise_spectrum(amp(parts, [stage("triode stage", **roles)], rail("B1", 300.0)), sweep=COARSE)
    # A grid leak straight across a silent ideal source makes no noise.
    assert set(found["contributor"].values) == {"V1", "R2", "R3"}


def test_at_no_master_only_what_comes_after_it_is_heard() -> None:
    found = noise_spectrum(stock(), [{"master": 0.0}], COARSE)
    shares = noise_shares(found).isel(variant=0, position=0)
    late = {"phase inverter", "output stage", "feedback", "loudspeaker", "supply", "master"}
    assert float(shares[np.isin(found["stage"].values, list(late))].sum()) > 0.99


def test_few_points_are_enough_for_a_weighted_level() -> None:
    circuit = load_amp("workshop-b")
    levels = [
        float(level_db(weighted_v(noise_spectrum(circuit, sweep=NoiseSweep(per_decade=n))["noise"]).values[0, 0]))
        for n in (20, 200)
    ]
    assert levels[0] == pytest.approx(levels[1], abs=0.02)


def test_requests_that_make_no_sense_are_refused() -> None:
    with pytest.raises(DescriptionError, match="not a place"):
        noise_spectrum(stock(), sweep=NoiseSweep(output="R999.1"))
    with pytest.raises(DescriptionError, match="no amp here has a control"):
        noise_spectrum(stock(), [{"volum": 0.5}])
    with pytest.raises(DescriptionError, match="both 'stock'"):
        hum_spectrum([stock(), stock()])
    with pytest.raises(DescriptionError, match="leak_ohms"):
        Mains(leak_ohms=0.0)
    with pytest.raises(DescriptionError, match="this needs the response of a noise sweep"):
        noise_table(both("bright-switch")[1])


# Weighting and grades -------------------------------------------------------------------------------------------------


def test_levels_count_from_one_watt_into_eight_ohm() -> None:
    assert float(level_db(REFERENCE_VOLTS)) == 0.0
    assert pytest.approx(8.0) == REFERENCE_VOLTS**2
    assert float(a_weight(1000.0)) == 1.0
    assert in_db_a(-46.38) == "\u221246.4 dB(A)"
    assert in_db_a(-0.01, True) == "+0.0 dB(A)"


def test_white_noise_weighs_what_a_sum_over_hertz_says() -> None:
    grid = NoiseSweep(per_decade=100).grid()
    flat = xr.DataArray(np.full(grid.size, 1e-6), {"frequency": grid}, ["frequency"])
    every = np.arange(20.5, grid[-1], 1.0)
    assert float(weighted_v(flat)) == pytest.approx(1e-6 * math.sqrt(float((a_weight(every) ** 2).sum())), rel=1e-3)
    assert float(weighted_v(flat, weight=False)) == pytest.approx(1e-6 * math.sqrt(grid[-1] - 20.0), rel=1e-9)


@pytest.mark.parametrize(
    ("change", "judged", "level", "grade"),
    [
        (0.0, 0.0, -50.0, "fine"),
        (14.0, -1.0, -50.0, "near the limit"),
        (2.0, 4.0, -50.0, "near the limit"),
        (2.0, 9.7, -50.0, "beyond the limit"),
        (2.0, 9.7, -85.0, "fine"),
        (math.nan, 0.0, -50.0, "not known"),
    ],
)
def test_grades_of_a_rise(change: float, judged: float, level: float, grade: str) -> None:
    assert noise_grade(change, judged, level) == grade


# Hum ------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["workshop-a", "workshop-b", "lesson-stage"])
def test_hum_by_node_adds_up_to_hum_straight_from_the_reservoir(name: str) -> None:
    found = hum_spectrum(load_amp(name))
    sums = found["contribution"].sum("rail").values
    np.testing.assert_allclose(sums, found["hum"].values, rtol=1e-8, atol=1e-20)


def test_a_perfect_pair_cancels_what_comes_by_the_centre_tap() -> None:
    circuit = load_amp("workshop-b")
    even, some, more = (
        complex(hum_spectrum(circuit, mains=Mains(mismatch=each))["contribution"].sel(rail="B1")[0, 0, 0])
        for each in (0.0, 0.05, 0.1)
    )
    # What is left of a perfect pair comes from the inverter, whose two ends differ.
    assert abs(even) < 0.2 * abs(some)
    assert abs(more - even) / abs(some - even) == pytest.approx(2.0, rel=0.05)


def test_the_stated_mismatch_is_one_of_plate_current() -> None:
    sockets = {"V5": stronger_valve(load_valve("EL84"), 1.05)}
    rest = ran(build(stock(), {}, OperatingPoint(), ("speaker",), True, sockets))
    assert rest.vectors["v(xv5.ia)"][0] / rest.vectors["v(xv4.ia)"][0] == pytest.approx(1.05, abs=0.003)


@pytest.mark.parametrize("name", listing()["valves"])
def test_a_stronger_valve_draws_more_by_a_factor_at_every_voltage(name: str) -> None:
    valve = load_valve(name)
    volts = (np.array([50.0, 150.0, 250.0]), np.array([-1.0, -5.0, 0.0]))
    at = (*volts, np.array([200.0, 250.0, 150.0])) if valve.family == "pentode" else volts
    one, other = currents(valve, *at), currents(stronger_valve(valve, 1.2), *at)
    # A law may take the grid's own current out of the plate's; that stays.
    taken = one.grid if LAWS[valve.law].grid else 0.0
    np.testing.assert_allclose(other.plate + taken, 1.2 * (one.plate + taken), rtol=1e-12)
    np.testing.assert_allclose(other.screen, 1.2 * one.screen, rtol=1e-12)


def test_mains_of_sixty_hertz_ripple_less() -> None:
    fifty, sixty = (hum_spectrum(stock(), mains=Mains(frequency=each)) for each in (50.0, 60.0))
    assert float(sixty["swing"][0, 0, 0]) == pytest.approx(float(fifty["swing"][0, 0, 0]) * 5.0 / 6.0, rel=1e-6)
    np.testing.assert_allclose(sixty["frequency"], 120.0 * np.arange(1, 11))


def test_a_second_reservoir_halves_the_ripple() -> None:
    mod = {"name": "more", "reason": "r", "parts": {"C300": "47u"}, "edits": [{"fit": "C300", "across": "C50"}]}
    found = hum_spectrum([stock(), apply_mods(stock(), parse_mod(mod))])
    assert float(found["swing"][1, 0, 0]) == pytest.approx(0.5 * float(found["swing"][0, 0, 0]), rel=1e-9)


def test_what_is_tapped_before_the_reservoir_has_a_row_of_its_own() -> None:
    mod = {"name": "tap", "reason": "r", "parts": {"R300": "220k"},
           "edits": [{"lift": "R3"}, {"fit": "R300", "between": ["R50.1", "V1A.plate"]}]}  # fmt: skip
    found = hum_spectrum([stock(), apply_mods(stock(), parse_mod(mod))])
    before = found["contribution"].sel(rail="B1 before its filter")
    assert not before[0].any()
    assert abs(before[1, 0, 0]) > 0.5 * abs(found["hum"][1, 0, 0])


def test_an_amp_without_a_reservoir_has_no_hum_of_its_supply() -> None:
    found = hum_spectrum(load_amp("lesson-stage"))
    assert not found["hum"].any()
    row = hum_table(found).iloc[0]
    assert row["most from"] == "none"
    assert row["supply hum: level [dB(A) against 1 W into 8 ohm]"] == -math.inf


def test_leakage_in_proportion_and_none_into_a_grounded_cathode() -> None:
    one, ten = (hum_spectrum(stock(), mains=Mains(leak_ohms=each))["heater"] for each in (1e6, 10e6))
    np.testing.assert_allclose(one, 10.0 * ten, rtol=1e-12)
    assert {"V3", "V4"}.isdisjoint(hum_spectrum(load_amp("workshop-b"))["valve"].values)


@pytest.mark.parametrize("number", range(10))
def test_random_amps_add_up(number: int) -> None:
    case = random_amps.draw(number, with_transient=False)
    noise = noise_spectrum(case.amp, [case.position], NoiseSweep(per_decade=3))
    total = np.sqrt((noise["contribution"] ** 2).sum("contributor")).values
    np.testing.assert_allclose(total, noise["noise"].values, rtol=1e-6)
    hum = hum_spectrum(case.amp, [case.position])
    scale = np.abs(hum["contribution"]).sum("rail").max()
    assert np.abs(hum["contribution"].sum("rail") - hum["hum"]).max() <= 1e-5 * scale


# What is said ---------------------------------------------------------------------------------------------------------


def test_a_megohm_before_the_first_grid_is_caught() -> None:
    found = findings("noisy-input")["hiss"]
    assert found.grade == "beyond the limit"
    assert found.value > 6.0
    assert "comes from R2 (first stage)" in found.words
    assert "too much: our limit is a rise of 6.0 dB(A)" in found.words
    assert found.limit == 6.0


def test_a_thin_filter_is_caught() -> None:
    found = findings("thin-filter")["supply hum"]
    assert found.grade == "beyond the limit"
    assert "most of it comes from B2" in found.words


@pytest.mark.parametrize("name", ["bright-switch", "smaller-coupling", "larger-plate-load", "plate-rolloff"])
def test_good_mods_pass(name: str) -> None:
    assert {found.grade for found in findings(name).values()} == {"fine"}


def test_more_gain_is_no_fault_but_is_said() -> None:
    pair = [stock(), modded("cathode-switch")]
    found = noise_findings(noise_spectrum(pair, [{"cathode": "2k7 and 1u"}], COARSE))[0]
    assert found.grade == "near the limit"
    assert "it is the gain that brings it up" in found.words
    # Told is what is heard, and of several positions the one at which most is.
    assert (found.subject, found.limit) == ("hiss", 6.0)
    assert found.value > 6.0
    assert f"{found.value:.1f} dB(A) more" in found.words


@pytest.mark.parametrize(("change", "judged", "said"), [(5.5, 0.0, True), (3.3, 2.7, False), (4.0, 1.9, True)])
def test_the_gain_is_blamed_where_it_makes_most_of_the_rise(change: float, judged: float, said: bool) -> None:
    assert ("it is the gain" in margin_words(change, judged, -40.0)) is said


def test_tables_hold_together() -> None:
    noise, hum = both("noisy-input")
    table = contributor_table(noise)
    assert table.groupby("variant")["share [%]"].sum().tolist() == pytest.approx([100.0, 100.0])
    volts = (table["noise [mV(A)]"] ** 2).groupby(table["variant"]).sum() ** 0.5
    said = noise_table(noise).set_index("variant")["noise [mV(A)]"]
    assert volts[said.index].tolist() == pytest.approx(said.tolist())
    nodes = hum_by_node(hum)
    heaters = nodes[(nodes["kind"] == "heater") & (nodes["variant"] == "stock")].set_index("from")[
        "at the output [mV(A)]"
    ]
    assert (heaters.drop("all heaters") ** 2).sum() ** 0.5 == pytest.approx(heaters["all heaters"])


# Pictures and the section ---------------------------------------------------------------------------------------------


def test_the_spectrum_is_the_data() -> None:
    noise, _ = both("noisy-input")
    lines = {line.get_gid(): line for line in noise_picture(noise).axes[0].lines}
    for place, kind in enumerate(("stock", "modded")):
        expected = 20.0 * np.log10(noise["noise"].values[place, 0] / 1e-6)
        np.testing.assert_allclose(lines[kind].get_ydata(), expected)
        np.testing.assert_allclose(noise_curves(noise)[kind][:, 1], expected)


@pytest.mark.parametrize("draw", [noise_bars_picture, hum_bars_picture, partial(hum_bars_picture, kind="heater")])
def test_bars_are_as_long_as_their_numbers(draw: object) -> None:
    noise, hum = both("noisy-input")
    picture = draw(noise if draw is noise_bars_picture else hum)  # type: ignore[operator]
    bars = {str(each.get_gid()): each.get_width() for each in picture.artists if each.get_gid()}
    said = picture.alternative.split(". ", 2)[2].rstrip(".").split("; ")
    sizes, halves = {}, {}
    for place, words in enumerate(said):
        for kind, name in (("stock", "stock"), ("modded", "stopper of a megohm")):
            value, unit = words.split(f"{name} ")[-1].split(",")[0].split(" ")[:2]
            factor = {"mV": 1.0, "\u00b5V": 1e-3}[unit]
            sizes[f"{kind}-{place}"] = float(value) * factor
            # Words are rounded: half of their last digit.
            halves[f"{kind}-{place}"] = 0.5 * 10.0 ** -len(value.partition(".")[2]) * factor
    most = max(sizes, key=lambda each: sizes[each])
    assert bars.keys() >= sizes.keys()
    for gid, size in sizes.items():
        assert bars[gid] / bars[most] == pytest.approx(
            size / sizes[most], rel=0.02, abs=max(1e-4, halves[gid] / sizes[most])
        ), gid


def test_the_section_has_findings_that_point_to_its_pictures() -> None:
    seen: list[tuple[int, int]] = []
    found = section(Examination(stock(), modded("noisy-input")), lambda done, total, _: seen.append((done, total)))
    assert found.title == "noise and hum"
    assert found.grade == "beyond the limit"
    assert {finding.picture for finding in found.findings} <= set(found.pictures)
    assert any("5 % more plate current" in note for note in found.notes)
    assert any("assumption" in note for note in found.notes)
    assert all(done <= total for done, total in seen)
    assert seen[-1][0] == seen[-1][1]
