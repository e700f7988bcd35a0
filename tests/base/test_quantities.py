"""Values as written on a schematic: IEC 60062 examples, round trips, refusals; taper laws at their stated points."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.e_series import preferred_values
from ampsim.base.errors import DescriptionError
from ampsim.base.quantities import FARAD, HENRY, OHM, VOLT, Quantity, format_value, parse_value, with_unit

# RKM code examples of IEC 60062:2016 (4K7, 4R7, R47, 47K3), the rest common practice on drawings.
WRITTEN = [
    ("4K7", OHM, 4700.0),
    ("4R7", OHM, 4.7),
    ("R47", OHM, 0.47),
    ("47K3", OHM, 47300.0),
    ("4k7", OHM, 4700.0),
    ("4.7k", OHM, 4700.0),
    ("1M", OHM, 1e6),
    ("2M2", OHM, 2.2e6),
    ("100", OHM, 100.0),
    ("1.5 k\u03a9", OHM, 1500.0),
    (470, OHM, 470.0),
    ("22n", FARAD, 22e-9),
    ("0.68u", FARAD, 0.68e-6),
    ("0,1\u00b5F", FARAD, 1e-7),
    ("4n7", FARAD, 4.7e-9),
    ("120p", FARAD, 120e-12),
    ("2.5 H", HENRY, 2.5),
    ("15m", HENRY, 0.015),
    ("-18 V", VOLT, -18.0),
]


@pytest.mark.parametrize(("text", "quantity", "value"), WRITTEN)
def test_a_written_value_is_read_as_the_standard_reads_it(text, quantity, value):
    assert parse_value(text, quantity) == value


@pytest.mark.parametrize(
    ("text", "quantity", "said"),
    [
        ("1m", OHM, "1M"),
        ("1M", FARAD, "1u"),
        ("12abc", OHM, "4k7"),
        ("", OHM, "not a resistance"),
        ("4k7k", OHM, "not a resistance"),
        ("nan", OHM, "not a resistance"),
        (float("nan"), OHM, "not a resistance"),
        (True, OHM, "not a resistance"),
        ("1e99", OHM, "outside"),
        (0, OHM, "outside"),
        ("-4k7", OHM, "not a resistance"),
        ("1k\n.control", OHM, "not a resistance"),
        ("\u0664k7", OHM, "not a resistance"),
    ],
)
def test_what_is_no_value_is_refused_with_advice(text, quantity, said):
    with pytest.raises(DescriptionError, match="here: ") as caught:
        parse_value(text, quantity, "here")
    assert said in str(caught.value)


@given(st.floats(1e-3, 1e11), st.sampled_from(["E24", "any"]))
def test_a_resistance_written_and_read_back_is_the_same(value, kind):
    value = float(f"{value:.2g}") if kind == "E24" else float(f"{value:.9g}")
    assert math.isclose(parse_value(format_value(value, OHM), OHM), value, rel_tol=1e-12)


@given(st.floats(1e-12, 0.9))
def test_a_capacitance_written_and_read_back_is_the_same(value):
    value = float(f"{value:.3g}")
    assert math.isclose(parse_value(format_value(value, FARAD), FARAD), value, rel_tol=1e-12)


def test_e12_is_the_standard_series():
    # IEC 60063:2015, E12, from memory.
    assert preferred_values("E12", 10.0, 82.0) == [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82]
    assert preferred_values("E6", 47e-12, 22e-9)[0] == 47e-12


@pytest.mark.parametrize(
    ("number", "quantity", "words"),
    [
        (15e-3, HENRY, "15 mH"),
        (25.0, HENRY, "25 H"),
        (1.247e6, OHM, "1.25 Mohm"),
        (999.6e3, OHM, "1 Mohm"),
        (470.0, OHM, "470 ohm"),
        (2.2e-8, FARAD, "22 nF"),
        (0.0, OHM, "0 ohm"),
    ],
)
def test_a_value_has_one_unit_in_a_sentence(number: float, quantity: Quantity, words: str) -> None:
    assert with_unit(number, quantity) == words
