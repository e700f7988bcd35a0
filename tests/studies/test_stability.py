"""Margins, the worst corner, loads and ringing, against closed forms and against ways that do not use them."""

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.circuit.control import Control
from ampsim.circuit.feedback import feedback_loop
from ampsim.circuit.mods import apply_mods
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_mod, parse_amp, parse_mod
from ampsim.measures.margins import crossing_table, margin_table, margins
from ampsim.simulation.analyses import FrequencySweep, LoopSweep
from ampsim.simulation.loop_gain import loop_gain
from ampsim.simulation.response import simulate
from ampsim.studies.section import Examination
from ampsim.studies.stability.corner_search import Search, grid, rotation
from ampsim.studies.stability.corner_search import travel as travel_of
from ampsim.studies.stability.findings import LoopCase, margin_grade, stability_findings
from ampsim.studies.stability.loads import with_load
from ampsim.studies.stability.loop_place import has_feedback
from ampsim.studies.stability.picture import loop_margins_curves, loop_margins_picture, travel_curves, travel_picture
from ampsim.studies.stability.section import section
from ampsim.studies.stability.worst_corner import control_effects, loop_on_travel, worst_corners
from tests.tools.any_amps import written
from tests.tools.poles import as_control, loop_knock, loop_poles, ringing
from tests.truth.bench import amp, stage
from tests.truth.stability import phase_shift_loop

AMP = load_amp("workshop-a")
BAD = Path(__file__).parents[1] / "bad_mods"
FINE = LoopSweep(per_decade=50)


def feedback_resistor(value):
    return apply_mods(AMP, parse_mod({"name": value, "reason": "r", "edits": [{"replace": "R20", "with": value}]}))


def found(loop, low=-3.0, high=6.0):
    f = np.logspace(low, high, int(50 * (high - low)) + 1)
    return margins(f, loop(2j * np.pi * f))


# Closed forms ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sections", "limit", "turn"),
    [
        # Three equal RC sections apart (1 + x)**3, and loaded by each other 1 + 6x + 5x^2 + x^3: set the imaginary
        # part to 0 and read off the gain that is lost there.
        (lambda x: 1 / (1 + x) ** 3, 8.0, math.sqrt(3.0)),
        (lambda x: 1 / (1 + 6 * x + 5 * x**2 + x**3), 29.0, math.sqrt(6.0)),
        (lambda x: (x / (1 + x)) ** 3, 8.0, 1 / math.sqrt(3.0)),
        (lambda x: x**3 / (1 + 5 * x + 6 * x**2 + x**3), 29.0, 1 / math.sqrt(6.0)),
    ],
)
def test_phase_shift_networks_oscillate_at_the_gain_they_lose(sections, limit, turn):
    for gain, turns in ((0.98 * limit, 0), (1.02 * limit, 2)):
        got = found(lambda s, gain=gain: gain * sections(s / 200.0), -2.0, 4.0)
        assert got.turns == turns
        assert got.gain_margin == pytest.approx(20 * math.log10(limit / gain), abs=0.02)
        step = next(each for each in got.crossings if each.kind == "in step")
        assert step.frequency == pytest.approx(turn * 200.0 / (2 * math.pi), rel=2e-3)
        assert got.oscillates == (got.phase_margin < 0) == (got.distance < 0)


def test_a_loop_that_less_gain_makes_oscillate():
    # T = K (1 + x)**2 / x**3 closed: x^3 + K x^2 + 2 K x + K, steady above K = 1/2 (Hurwitz); its poles at 0 are
    # moved to 1/1000.
    def loop(gain):
        return lambda s: gain * (1 + s) ** 2 / (s + 1e-3) ** 3

    steady, howling = found(loop(0.6), -6.0, 3.0), found(loop(0.4), -6.0, 3.0)
    assert (steady.turns, howling.turns) == (0, 2)
    assert steady.phase_margin > 0 > howling.phase_margin
    # Here the gain margin is how much the loop gain may fall.
    assert steady.gain_margin == pytest.approx(-20 * math.log10(0.6 / 0.5), abs=0.1)


@settings(max_examples=60)
@given(
    st.floats(-1.0, 3.0),
    st.lists(st.floats(0.0, 3.0), min_size=2, max_size=5),
    st.lists(st.floats(0.0, 3.0), max_size=1),
    st.integers(0, 1),
)
def test_turns_around_minus_one_are_the_growing_roots(level, poles, zeros, capacitors):
    # Open loop: steady poles and zeros at 10**x rad/s, perhaps a zero at 0; its closed-loop roots from the polynomial.
    gain = 10.0**level
    top = np.atleast_1d(np.poly(np.concatenate([-(10.0 ** np.array(zeros)), np.zeros(capacitors)])))
    bottom = np.poly(-(10.0 ** np.array(poles)))
    top = gain * top * bottom[-1] / abs(np.polyval(top, 1j * 10.0 ** np.mean(poles)))
    roots = np.roots(np.polyadd(bottom, top))
    # Roots next to the edge are no fair question for a sampled curve.
    if np.min(np.abs(roots.real) / np.abs(roots)) > 1e-3 and len(top) < len(bottom):
        got = found(lambda s: np.polyval(top, s) / np.polyval(bottom, s), -4.0, 8.0)
        assert got.turns == np.sum(roots.real > 0)


def test_a_sweep_that_ends_too_soon_says_so():
    got = found(lambda s: 100.0 / (1 + s) / (1 + s / 1e3), -1.0, 0.5)
    assert got.turns is None
    assert margin_grade(got) == "not known"


@pytest.mark.parametrize(("plate_load", "turns"), [("82k", 0), ("100k", 2)])
def test_a_triode_with_a_phase_shift_network_oscillates_when_its_gain_is_above_29(plate_load, turns):
    sweep = LoopSweep(1e-3, 1e3, 20)
    loop = loop_gain(phase_shift_loop(plate_load), "C1.1", sweep=sweep)["loop_gain"].values[0, 0]
    gain = float(np.interp(50.0, sweep.grid(), np.abs(loop)))
    assert (gain > 29.0) == bool(turns)
    assert margins(sweep.grid(), loop).turns == turns


# Against another library ----------------------------------------------------------------------------------------------


def test_margins_are_those_of_another_library():
    import control

    positions = [{"presence": p, "depth": d} for p in (0.0, 1.0) for d in (0.0, 1.0)]
    loops = [
        loop_gain(apply_mods(AMP, load_mod("depth")), positions=positions, sweep=FINE),
        loop_gain(feedback_resistor("10k"), positions=[{"presence": 1.0}], sweep=FINE),
    ]
    for response in loops:
        for place, position in enumerate(response["position"].values):
            gm, pm, sm, _, _, _ = control.stability_margins(
                as_control(response, position=str(position)), returnall=True
            )
            ours = margins(response["frequency"].values, response["loop_gain"].values[0, place])
            # Their curves are splines through the points, ours straight lines.
            assert ours.phase_margin == pytest.approx(min(abs(pm)), abs=0.2)
            assert ours.gain_margin == pytest.approx(20 * math.log10(min(gm, key=lambda g: abs(math.log(g)))), abs=0.1)
            assert ours.closest == pytest.approx(min(sm), rel=0.01)


def test_modes_of_a_loop_of_known_form():
    # T = 6 / (1 + s)^3: the closed loop has (1 + s)^3 = -6.
    f = np.logspace(-3, 2, 251)
    loop = (6.0 / (1 + 2j * np.pi * f) ** 3)[None, None]
    response = xr.Dataset(
        {"loop_gain": (("variant", "position", "frequency"), loop)},
        {"variant": ["a"], "position": ["b"], "frequency": f},
    )
    mode = loop_poles(response).iloc[0]
    root = 6.0 ** (1 / 3) * np.exp(1j * np.pi / 3) - 1.0
    assert mode["growth [1/s]"] == pytest.approx(root.real, rel=1e-4)
    assert mode["frequency [Hz]"] == pytest.approx(root.imag / (2 * math.pi), rel=1e-4)


@pytest.mark.parametrize(("resistor", "grows"), [("10k", False), ("4k7", True)])
def test_what_rings_in_time_is_the_mode_of_the_loop(resistor, grows):
    modded = feedback_resistor(resistor)
    response = loop_gain(modded, sweep=FINE)
    mode = loop_poles(response).iloc[0]
    heard = ringing(loop_knock(modded, mode["frequency [Hz]"], level=1e-4), mode["frequency [Hz]"]).iloc[0]
    assert heard["growth [1/s]"] == pytest.approx(mode["growth [1/s]"], rel=0.01)
    assert heard["frequency [Hz]"] == pytest.approx(mode["frequency [Hz]"], rel=1e-3)
    assert (heard["growth [1/s]"] > 0) == (heard["last [V]"] > heard["first [V]"]) == grows
    # A growing pair of modes is two turns.
    assert margin_table(response)["turns around -1"].iloc[0] == (2 if grows else 0)


# Searching ------------------------------------------------------------------------------------------------------------


def knob(name, drawn=0.5):
    return Control(name, "knob", (name,), (), drawn)


def test_travel_is_dense_at_both_ends_and_turns_back():
    places = [rotation(n / 16) for n in range(17)]
    assert (places[0], places[8], places[-1]) == (0.0, pytest.approx(0.5), 1.0)
    assert max(places[1], 1 - places[-2]) < 0.003
    np.testing.assert_allclose([travel_of(place) for place in places], np.arange(17) / 16, atol=1e-12)


@given(st.floats(0.0, 1.0), st.sampled_from([(0.0, 1.0), (1.0, 0.0), (1.0, 1.0)]), st.sampled_from(["x", "y"]))
@settings(max_examples=25)
def test_a_narrow_dip_at_the_end_of_the_travel_is_found(hill, corner, side):
    # A broad valley in the middle and, in one switch position, a dip two hundredths of the travel wide in a corner.
    def judge(positions):
        for each in positions:
            wide = (each["a"] - hill) ** 2 + (each["b"] - 0.5) ** 2
            near = math.hypot(each["a"] - corner[0], each["b"] - corner[1])
            yield (0.3 + wide - 0.3 * (each["s"] == side) * max(1 - near / 0.02, 0.0) - wide * (near == 0.0),)

    controls = [knob("a"), knob("b"), Control("s", "switch", ("S1",), ("x", "y"), "x")]
    search = Search(lambda positions: list(judge(positions)), controls, {})
    search.look(grid(controls, 60))
    search.descend(1, 2)
    assert search.plain(0) == {"a": corner[0], "b": corner[1], "s": side}


def test_the_grid_holds_every_corner_as_long_as_it_may():
    controls = [knob(name) for name in "abc"]
    assert len(grid(controls, 130)) == 125
    assert {tuple(each.values()) for each in grid(controls, 8)} == {
        (a, b, c) for a in (0, 1) for b in (0, 1) for c in (0, 1)
    }
    assert all(set(each) == {"a", "b"} for each in grid(controls, 5))


def test_the_worst_corner_is_that_of_a_dense_grid():
    modded = apply_mods(AMP, load_mod("depth"), parse_mod(SWITCH))
    fixed = dict.fromkeys(("treble", "bass", "middle", "gain", "master"), 0.5)
    quick = worst_corners(modded, fixed=fixed, most=30)
    turns = (0.0, 0.01, 0.03, 0.1, 0.25, 0.5, 0.75, 0.9, 0.97, 0.99, 1.0)
    places = [(p, d, line) for p in turns for d in turns for line in ("as drawn", "more")]
    dense = [dict(zip(("presence", "depth", "line"), place, strict=True)) | fixed for place in places]
    table = margin_table(loop_gain(modded, positions=dense, sweep=LoopSweep(per_decade=10)))
    assert set(quick.controls) == {"presence", "depth", "line"}
    for kind, corner in (("least margin [deg]", quick.worst), ("closest to -1", quick.closest)):
        least = dense[int(table[kind].argmin())]
        assert {name: corner[name] for name in least} == least
    assert quick.table["phase margin [deg]"].min() <= table["least margin [deg]"].min() + 1e-9


SWITCH = {
    "name": "line switch",
    "reason": "More feedback, or none.",
    "switches": [
        {
            "designator": "S301",
            "control": "line",
            "positions": {
                "as drawn": [],
                "more": [{"replace": "R20", "with": "33k"}],
                "off": [{"lift": "R20"}],
            },
        }
    ],
}


def test_positions_without_feedback_are_left_out():
    modded = apply_mods(AMP, parse_mod(SWITCH))
    assert not has_feedback(modded, {"line": "off"})
    corners = worst_corners(modded, fixed={"master": 0.5, "treble": 0.5, "bass": 0.5}, most=10)
    assert corners.worst["line"] == "more"
    assert set(corners.table["line"]) == {"as drawn", "more"}
    with pytest.raises(DescriptionError, match="no feedback"):
        worst_corners(modded, fixed={"line": "off"})


def test_controls_that_matter_are_told_from_those_before_the_loop():
    effects = control_effects(AMP)
    assert effects["presence"] > 1.0 > effects["master"] > effects["treble"] > 0.01
    # Not nothing: the rails tie all stages together.
    assert 0.0 < effects["guitar volume"] < 1e-3
    assert "presence" not in control_effects(AMP, fixed={"presence": 0.0})


# Where the feedback passes --------------------------------------------------------------------------------------------


def test_the_line_is_found_whoever_brought_it():
    small = apply_mods(load_amp("workshop-b"), load_mod("feedback-with-presence"))
    assert feedback_loop(AMP).label == "R20.1"
    assert feedback_loop(apply_mods(AMP, load_mod("depth"))).label == "R20.1"
    assert feedback_loop(small).label == "R202.1"
    with pytest.raises(DescriptionError, match="leads from the output stage back"):
        feedback_loop(load_amp("workshop-b"))


def test_two_lines_side_by_side_are_judged_as_one():
    line = {"fit": "R302", "between": ["T1.tap8", "R20.2"]}
    twice = parse_mod({"name": "two lines", "reason": "r", "parts": {"R302": "100k"}, "edits": [line]})
    both = section(Examination(AMP, apply_mods(AMP, twice)))
    one = section(Examination(AMP, feedback_resistor(written(1 / (1 / 68e3 + 1 / 100e3)))))
    assert [each.value for each in both.findings] == pytest.approx([each.value for each in one.findings], abs=0.1)
    assert [each.grade for each in both.findings] == [each.grade for each in one.findings]


# Loads ----------------------------------------------------------------------------------------------------------------


def test_a_load_is_scaled_at_every_frequency():
    cone = {"resistance": 7.0, "resonance": 80.0, "peak": 40.0, "q": 4.0, "reactance": 5.0}
    plain = amp({"R1": "1k", "LS1": cone}, [stage("generator", resistance="R1"), stage("load", load="LS1")])
    sweep = FrequencySweep(10.0, 20e3, 10)
    ohms = []
    for circuit in (plain, with_load(plain, 2.0)):
        volts = simulate(circuit, sweep, nodes=["speaker"])["voltage"].values.ravel()
        ohms.append(1e3 * volts / (1.0 - volts))
    np.testing.assert_allclose(ohms[1], 2.0 * ohms[0], rtol=1e-6)
    with pytest.raises(DescriptionError, match="no load"):
        with_load(phase_shift_loop("100k"), 2.0)


def test_less_load_means_more_loop_gain() -> None:
    loops = [loop_gain(with_load(AMP, load), sweep=FINE) for load in (1e4, 2.0, 1.0, 0.5)]
    gains = [float(margin_table(each)["loop gain at 400 Hz [dB]"].iloc[0]) for each in loops]
    assert gains == sorted(gains, reverse=True)
    np.testing.assert_array_equal(loops[2]["loop_gain"].values, loop_gain(AMP, sweep=FINE)["loop_gain"].values)


# The sheet ------------------------------------------------------------------------------------------------------------


def test_a_mod_that_oscillates_in_one_corner_is_caught_with_the_corner_named():
    modded = apply_mods(AMP, load_mod(BAD / "more-feedback.toml"))
    drawn = margin_table(loop_gain(modded)).iloc[0]
    assert drawn["turns around -1"] == 0
    assert drawn["least margin [deg]"] > 45
    others = [{"presence": p, "master": m} for p in (0.0, 0.5) for m in (0.0, 1.0)]
    assert margin_table(loop_gain(modded, positions=others))["turns around -1"].max() == 0
    result = section(Examination(AMP, modded))
    assert result.grade == "beyond the limit"
    worst = result.findings[0]
    for words in ("with presence 10", "oscillates near 17", "as drawn, 47 degrees"):
        assert words in worst.words
    assert worst.value < 0
    assert worst.picture in result.pictures


def test_a_good_mod_passes():
    result = section(Examination(AMP, apply_mods(AMP, load_mod("depth")), ({"depth": 1.0},)))
    assert all(finding.grade == "fine" for finding in result.findings)
    assert "depth 10, at its worst with presence 0" in result.findings[1].words
    assert "the stock amp has 69 degrees" in result.findings[0].words


def test_a_secondary_the_wrong_way_round_is_beyond_the_limit():
    data = tomllib.loads((models() / "amps" / "workshop-a.toml").read_text("utf-8"))
    data["parts"]["T1"]["secondary"] = "reversed"
    wrong = parse_amp(data, "reversed.toml")
    got = margins(FINE.grid(), loop_gain(wrong, sweep=FINE)["loop_gain"].values[0, 0])
    assert (got.reversed, got.oscillates, margin_grade(got)) == (True, True, "beyond the limit")
    words = stability_findings([LoopCase("stock", "any position", "presence 0", got, got, None)])[0].words
    assert "wrong way round, and the amp oscillates" in words


def test_an_amp_without_a_loop_says_so():
    small = load_amp("workshop-b")
    result = section(Examination(small, apply_mods(small, load_mod("plate-rolloff"))))
    assert result.findings == ()
    assert "no feedback loop" in result.notes[0]


@pytest.mark.parametrize(
    ("degrees", "grade"),
    [(60.0, "fine"), (44.0, "near the limit"), (29.0, "beyond the limit"), (-1.0, "beyond the limit")],
)
def test_grades_of_phase_margins(degrees, grade):
    # Two equal poles lag by 180 degrees less the margin where T passes 1; a third far above makes the last one howl.
    lag = math.tan(math.radians(90.0 - max(degrees, 1.0) / 2.0))
    turn = 2 * math.pi * 5e3
    far = 0.0 if degrees > 0 else math.tan(math.radians(2.0))

    def loop(s):
        x = s / turn
        return (1 + lag**2) * math.hypot(1, far) / (1 + lag * x) ** 2 / (1 + far * x)

    got = found(loop, 0.0, 7.0)
    assert got.phase_margin == pytest.approx(degrees, abs=0.1)
    assert margin_grade(got) == grade
    # A margin is never rounded up to a limit that it misses.
    near_one = replace(got, phase_margin=29.96, gain_margin=5.97)
    words = stability_findings([LoopCase("stock", "any position", "presence 0", near_one, near_one, None)])[0].words
    if degrees > 0.0:
        assert "phase margin 29.9 degrees" in words
        assert "gain margin 5.9 dB" in words


# Pictures -------------------------------------------------------------------------------------------------------------


def test_pictures_hold_the_margins():
    corners = worst_corners(AMP, fixed={"treble": 0.5, "bass": 0.5, "master": 0.5}, most=5)
    response = corners.response.isel(position=[-1]).squeeze("position")
    response = response.assign_coords(position=("variant", ["presence 10"]))
    picture = loop_margins_picture(response)
    lines = {str(line.get_gid()): line for axes in picture.axes for line in axes.lines if line.get_gid()}
    curves = loop_margins_curves(response)
    passing = crossing_table(corners.response.isel(position=[-1])).dropna(subset=["phase margin [deg]"])
    assert set(curves) <= set(lines)
    np.testing.assert_allclose(lines["margins-0"].get_xdata(), passing["frequency [Hz]"])
    np.testing.assert_allclose(180 - abs(curves["margins-0"][:, 1]), passing["phase margin [deg]"], atol=0.01)
    assert f"{passing['phase margin [deg]'].min():.0f} degrees" in picture.alternative


def test_the_picture_of_travel_holds_the_least_margins():
    response = loop_on_travel(AMP, {"master": 1.0}, ["presence", "master"])
    picture = travel_picture(response)
    points = travel_curves(response)["line-0"]
    direct = margin_table(
        loop_gain(AMP, positions=[{"master": 1.0, "presence": turn} for turn in (0.0, 0.5, 1.0)], sweep=FINE)
    )
    np.testing.assert_allclose(np.interp([0.0, 5.0, 10.0], *points.T), direct["least margin [deg]"], atol=1e-6)
    assert (
        "Presence: from 73 degrees at 10 to 74 degrees at 0.6. Master: from 70 degrees at 0 to 76 degrees at "
        in picture.alternative
    )
