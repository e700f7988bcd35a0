"""Closed forms against published numbers and against ngspice; exercises that answer every kind of prediction."""

import numpy as np
import pytest

from ampsim.base.errors import DescriptionError
from ampsim.interface.lessons import bypass_exercise, formula_beside, lesson_stage, textbook_stage
from ampsim.measures.closed_forms import BypassedStage


@pytest.mark.parametrize(
    ("bypass", "lower", "upper"),
    [(25e-6, 4.24, 8.20), (0.68e-6, 156.0, 301.5)],
)
def test_shelf_of_the_textbook_stage(bypass, lower, upper):
    # Closed form with 100k, rp 62.5k, mu 100, 1k5: gains 61.54 and 31.85, a step of 5.72 dB.
    stage = BypassedStage(100.0, 62.5e3, 100e3, 1.5e3, bypass)
    assert stage.lower_corner == pytest.approx(lower, rel=2e-3)
    assert stage.upper_corner == pytest.approx(upper, rel=2e-3)
    assert stage.shelf_db == pytest.approx(5.72, abs=0.005)
    assert abs(stage.gain(0.0)) == pytest.approx(31.85, abs=0.005)
    assert abs(stage.gain(1e9)) == pytest.approx(61.54, abs=0.005)


@pytest.mark.parametrize("seed", [None, 1, 2, 3, 4])
def test_the_formula_lies_on_ngspices_curve(seed):
    volts = formula_beside(lesson_stage(seed))["voltage"].values[:, 0, 0]
    # The formula knows no valve capacitances: 1 % up to 20 kHz from a source without resistance.
    np.testing.assert_allclose(abs(volts[0]), abs(volts[1]), rtol=0.01)


@pytest.mark.parametrize("kind", ["corner", "shelf", "bias"])
@pytest.mark.parametrize("seed", range(6))
def test_by_hand_and_simulated_agree_so_a_good_prediction_is_told_so(kind, seed):
    exercise = bypass_exercise(seed, kind)
    assert exercise.answer(f"{exercise.by_hand:.4g} {exercise.unit}").startswith("Well predicted")
    assert exercise.answer(f"{2.5 * exercise.by_hand:.4g} {exercise.unit}").startswith("Not yet")
    assert exercise.reason in exercise.answer(1.0)


def test_seeds_vary_the_values():
    assert len({str(bypass_exercise(seed)) for seed in range(8)}) > 4
    assert str(bypass_exercise(3)) == str(bypass_exercise(3))


@pytest.mark.parametrize("slip", ["230 V", "5 dB", "soon", "", "2k3 ohm", "1e999 Hz", None, [3]])
def test_a_wrong_unit_gets_help(slip):
    said = bypass_exercise(1, "corner").answer(slip)
    assert "for example 230 Hz" in said
    assert "Try again" in said


def test_frequencies_may_be_written_as_people_write_them():
    exercise = bypass_exercise(1, "corner")
    assert exercise.answer("0.3 kHz").split(",")[0] == exercise.answer("300").split(",")[0]


def test_an_unknown_exercise_names_those_there_are():
    with pytest.raises(DescriptionError, match="corner, shelf, bias"):
        bypass_exercise(1, "slope")


def test_the_closed_form_takes_the_bias_from_the_simulation():
    warm, cold = textbook_stage(lesson_stage()), textbook_stage(lesson_stage(2))
    assert 90 < warm.mu < 110
    assert warm.rp != cold.rp
