"""Values as they stand on real drawings: whatever way they are written, they are read as meant or asked for."""

from __future__ import annotations

import contextlib
import math
from decimal import Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.base.quantities import FARAD, HENRY, HERTZ, OHM, VOLT, Quantity, format_value, parse_value

# How each power of ten is written before or as a unit, on drawings old and new.
SUFFIXES: dict[Quantity, dict[int, tuple[str, ...]]] = {
    OHM: {
        0: ("", "ohm", "Ohms", " OHM", "R", " \u03a9", "\u2126", "E", "r"),
        3: ("k", "K", "kOhm", " kohms", "K\u03a9", " k", "KOHM", "kilohms"),
        6: ("M", "Meg", " meg", "MEG", "Megohm", " megohms", "M\u03a9", "MOhm"),
    },
    FARAD: {
        -12: ("p", "pF", " PF", "P", "mmf", "MMF", " mmfd", "uuF", "\u00b5\u00b5F", " \u03bc\u03bcf", "pfd"),
        -9: ("n", "nF", " NF", "N", "kpF"),
        -6: ("u", "uF", " \u00b5F", "\u03bcF", "U", "UF", "mfd", " MFD", "Mfd", "MF", "ufd"),
        -3: ("m",),
    },
    HENRY: {0: ("", "H", " h", "Hy", " HY", "henries"), -3: ("m", "mH", " mh"), -6: ("u", "uH", "\u00b5H")},
    VOLT: {0: ("", "V", " v", "volts", " VDC"), 3: ("k", "kV", "KV"), -3: ("m", "mV")},
    HERTZ: {0: ("", "Hz", " hz", "c/s", "cps"), 3: ("k", "kHz", "KHz", "kc", " KC"), 6: ("M", "MHz")},
}
LETTERS = {
    OHM: {0: "RrE", 3: "kK", 6: "M"},
    FARAD: {-12: "pP", -9: "nN", -6: "uU\u00b5\u03bc"},
    HENRY: {0: "Hh", -3: "m"},
}


@st.composite
def written(draw: st.DrawFn) -> tuple[str, Quantity, Decimal]:
    """A value in one of the ways that drawings have, and what it means."""
    quantity = draw(st.sampled_from(list(SUFFIXES)))
    number = Decimal(draw(st.integers(1, 9999))).scaleb(-draw(st.integers(0, 3)))
    whole, _, part = f"{number:f}".partition(".")
    if quantity in LETTERS and part and draw(st.booleans()):
        power = draw(st.sampled_from(list(LETTERS[quantity])))
        letter = draw(st.sampled_from(LETTERS[quantity][power]))
        head = draw(st.sampled_from([whole, ""])) if whole == "0" else whole
        return f"{head}{letter}{part}", quantity, number.scaleb(power)
    power = draw(st.sampled_from(list(SUFFIXES[quantity])))
    suffix = draw(st.sampled_from(SUFFIXES[quantity][power]))
    signs = [sign for sign in ".," if sign == "." or len(part) != 3 or whole == "0"]
    head = "" if whole == "0" and draw(st.booleans()) else whole
    text = f"{head}{draw(st.sampled_from(signs))}{part}" if part else whole
    return f"{text}{suffix}", quantity, number.scaleb(power)


def twice(text: str, quantity: Quantity) -> bool:
    """Whether an exponent stands where a letter for the point may: 4E7 is 4.7 or 40M, but 0E7 is 0.7 alone."""
    head, _, tail = text.rpartition("E")
    return quantity is OHM and head not in ("", "0") and tail.isdigit() and len(tail) <= 2


@given(written())
@example(("0E1", OHM, Decimal("0.1")))
@example(("E47", OHM, Decimal("0.47")))
def test_a_value_is_read_as_meant_in_every_way_of_writing_it(value: tuple[str, Quantity, Decimal]) -> None:
    text, quantity, meant = value
    if twice(text, quantity):
        with pytest.raises(DescriptionError, match="can be read as"):
            parse_value(text, quantity)
    elif quantity.least <= meant <= quantity.most:
        read = parse_value(text, quantity)
        assert read == float(meant)
        # What is read is written as this house writes it, and read the same.
        assert parse_value(format_value(read, quantity), quantity) == pytest.approx(read, rel=1e-11)


@given(
    st.integers(1, 999),
    st.integers(0, 999),
    st.sampled_from([OHM, HENRY, VOLT, HERTZ, FARAD]),
    st.sampled_from(["", "k", "u"]),
)
def test_a_comma_before_three_digits_is_asked_for(whole: int, part: int, quantity: Quantity, letter: str) -> None:
    letter = letter if letter in quantity.multipliers else ("p" if quantity is FARAD else "")
    size = {"k": 1e3, "u": 1e-6, "p": 1e-12, "": 1.0}[letter]
    ways = [size * (1000 * whole + part), size * (whole + part / 1000)]
    inside = [each for each in ways if quantity.least <= each <= quantity.most]
    if len(inside) == 1:
        assert parse_value(f"{whole},{part:03d}{letter}", quantity) == pytest.approx(inside[0])
    if len(inside) != 2:
        return
    with pytest.raises(DescriptionError, match=r"can be read as .* or as .*; write the one that is meant") as asked:
        parse_value(f"{whole},{part:03d}{letter}", quantity, "parts.X")
    assert str(asked.value).startswith("parts.X: ")


@given(st.integers(1000, 999_999_999), st.sampled_from([" ", "'", "\u2019", "\u202f", "\u00a0"]))
def test_thousands_that_nothing_else_can_be_are_read(number: int, sign: str) -> None:
    assert parse_value(f"{number:,}".replace(",", sign), OHM) == number
    assert parse_value(f"{number:,}.5", OHM) == number + 0.5
    assert parse_value(f"{number:,}.5".translate(str.maketrans(",.", ".,")), OHM) == number + 0.5
    if number >= 1_000_000:
        assert parse_value(f"{number:,}", OHM) == parse_value(f"{number:,}".replace(",", "."), OHM) == number


@given(st.integers(1, 999), st.integers(1, 6))
def test_a_capacitance_without_a_unit_is_asked_for_or_read_as_the_drawing_says(digits: int, places: int) -> None:
    text = f"{Decimal(digits).scaleb(-places):f}"
    for written in (text, text.removeprefix("0"), text.replace(".", ",") if len(text.partition(".")[2]) != 3 else text):
        with pytest.raises(DescriptionError, match="without a unit can be read as"):
            parse_value(written, FARAD)
        if float(text) < 1.0:
            assert parse_value(written, FARAD, us=True) == float(Decimal(text).scaleb(-6))


@given(st.integers(1, 99_999))
def test_a_whole_number_of_an_old_drawing_is_picofarads_from_a_hundred_up_and_asked_for_below(number: int) -> None:
    for given_number in (number, str(number)):
        for us in (False, True):
            if us and number >= 100:
                assert parse_value(given_number, FARAD, us=True) == float(f"{number}e-12")
            else:
                with pytest.raises(DescriptionError, match="without a unit can be read as"):
                    parse_value(given_number, FARAD, us=us)


@pytest.mark.parametrize(
    ("text", "quantity", "said"),
    [
        ("22 mF", FARAD, "22u or as 22000u"),
        ("104", FARAD, "100n"),
        ("4E7", OHM, "4.7 or as 40M"),
        ("22k", FARAD, "not a capacitance but a resistance"),
        ("22n", OHM, "not a resistance but a capacitance"),
        ("10H", OHM, "but an inductance"),
        ("300V", HENRY, "not an inductance but a voltage"),
        ("22n/400V", FARAD, "probably 22n; a rating"),
        ("10u 25V", FARAD, "probably 10u; a rating"),
        ("100k 5%", OHM, "probably 100k; a rating"),
        ("1OOk", OHM, "probably 100k"),
        ("l50k", OHM, "probably 150k"),
        ("4.7 mohm", OHM, "a megohm is written 1M"),
        ("about 22n", FARAD, "written for example"),
        ("1.2.3k", OHM, "written for example"),
        ("1,5,00k", OHM, "written for example"),
        ("1.500.0", OHM, "written for example"),
        ("1/2 meg", OHM, "written for example"),
    ],
)
def test_what_cannot_be_read_is_named_with_what_was_probably_meant(text: str, quantity: Quantity, said: str) -> None:
    with pytest.raises(DescriptionError) as refusal:
        parse_value(text, quantity, "amp.toml: parts.X1")
    assert said in str(refusal.value)
    assert str(refusal.value).startswith(f"amp.toml: parts.X1: '{text}' ")


@given(st.text(max_size=12), st.booleans())
def test_any_text_is_a_value_or_a_message(text: str, us: bool) -> None:
    for quantity in SUFFIXES:
        with contextlib.suppress(DescriptionError):
            assert math.isfinite(parse_value(text, quantity, us=us))
