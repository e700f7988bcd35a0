"""Wish files and drawers: what is understood, and what is said of mistakes."""

import copy
import math
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.errors import AmpsimError, DescriptionError
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, load_drawer, load_mod, load_wishes, parse_drawer, parse_wishes

AMP, PLAIN = load_amp("workshop-a"), load_amp("workshop-b")
PART = {"replace": "C1", "values": ["1u", "10u"]}
WISH = {"more": "3 to 5 dB", "between": ["2k", "4k"]}
DRAWER = parse_drawer({"name": "d", "capacitors": [{"values": ["1u", "22n"]}]})


def wishes(*given_wishes, parts=(PART,), amp=AMP, drawer=None, **top):
    tables = {"name": "trial", "parts": list(parts), "wishes": list(given_wishes), **top}
    return parse_wishes(copy.deepcopy(tables), amp, drawer=drawer, file="trial.toml")


@pytest.mark.parametrize(
    ("wish", "limits", "unit", "words"),
    [
        (WISH, (3.0, 5.0), "dB", "3 to 5 dB more from 2 kHz to 4 kHz"),
        ({"more": "at least 3 dB"}, (3.0, math.inf), "dB", "at least 3 dB more"),
        ({"less": "3 to 5,5 dB", "below": "90"}, (-5.5, -3.0), "dB", "3 to 5,5 dB less below 90 Hz"),
        ({"less": "at least 2 dB", "near": "110"}, (-math.inf, -2.0), "dB", "at least 2 dB less at 110 Hz"),
        ({"change": "at most 1 dB", "above": "5k"}, (-1.0, 1.0), "dB", "change at most 1 dB above 5 kHz"),
        ({"change": "-2 to 1 dB"}, (-2.0, 1.0), "dB", "change -2 to 1 dB"),
        ({"plate_current": "within 10 %", "of": "V1A"}, (-10.0, 10.0), "%", "plate current of V1A within 10 %"),
        (
            {"plate_voltage": "at least 150 V", "of": "first stage"},
            (150.0, math.inf),
            "V",
            "plate voltage of first stage at least 150 V",
        ),
        ({"margin": "above 45 degrees"}, (45.0, math.inf), "degrees", "phase margin above 45 degrees"),
    ],
)
def test_wishes_are_understood(wish, limits, unit, words):
    (read,) = wishes(wish).wishes
    assert (read.least, read.most) == limits
    assert (read.unit, read.words) == (unit, words)


@pytest.mark.parametrize(
    ("values", "want"),
    [
        (["1u", "470n", "1u"], (470e-9, 1e-6)),
        ("E6 from 1u to 10u", (1e-6, 1.5e-6, 2.2e-6, 3.3e-6, 4.7e-6, 6.8e-6, 1e-5)),
        ("drawer", (22e-9, 1e-6)),
        ("drawer from 100n to 2u", (1e-6,)),
    ],
)
def test_values_are_understood(values, want):
    (choice,) = wishes(WISH, parts=[{"replace": "C1", "values": values}], drawer=DRAWER).choices
    assert choice.values == pytest.approx(want)


def test_a_part_may_be_left_out():
    (choice,) = wishes(WISH, parts=[PART | {"none": True}]).choices
    assert choice.values == (None, 1e-6, 1e-5)


MISTAKES = [
    # A bad wish
    ({"more": "a lot"}, {}, "wishes[1].more: 'a lot' is not a wish"),
    ({"more": "3 dB"}, {}, "says no limits"),
    ({"more": "5 to 3 dB"}, {}, "the lower limit comes first"),
    ({"more": "at least 3 to 5 dB"}, {}, "says no limits"),
    ({"more": "3 to 5 V"}, {}, "is not in dB"),
    ({"change": "at least 3 dB"}, {}, "does not say which way"),
    ({"change": "at most -1 dB"}, {}, "cannot be met"),
    ({"more": 3}, {}, "is not a text"),
    ({"moer": "3 to 5 dB"}, {}, "exactly one of more, less"),
    (WISH | {"less": "3 to 5 dB"}, {}, "exactly one of more, less"),
    (WISH | {"above": "1k"}, {}, "one band"),
    ({"more": "3 to 5 dB", "between": ["4k", "2k"]}, {}, "frequencies rise"),
    ({"more": "3 to 5 dB", "below": "5"}, {}, "between 20 Hz and 20 kHz"),
    ({"more": "3 to 5 dB", "between": "2k"}, {}, "not a pair of frequencies"),
    (WISH | {"at": {"gian": 0.5}}, {}, "nearest: gain"),
    (WISH | {"at": {"gain": 5}}, {}, "from 0 to 1"),
    (WISH | {"betwen": ["2k", "4k"]}, {}, "nearest: between"),
    ({"plate_current": "within 10 %", "of": "V9"}, {}, "neither a valve nor a stage"),
    ({"plate_current": "within 10 %"}, {}, "wishes[1].of: this entry is missing"),
    ({"plate_current": "within 10 mA", "of": "V1A"}, {}, "does not say of what"),
    # Parts
    (WISH, {"parts": [{"replace": "C99", "values": ["1u"]}]}, "'C99' is not a part of workshop amp A"),
    (WISH, {"parts": [{"replace": "P1", "values": ["1M"]}]}, "only resistors and capacitors"),
    (WISH, {"parts": [{"replace": "V1A", "values": ["1M"]}]}, "only resistors and capacitors"),
    (WISH, {"parts": [{"fit": "C1", "across": "R4", "values": ["1u"]}]}, "a part of the amp already"),
    (WISH, {"parts": [{"fit": "C301", "values": ["1u"]}]}, "exactly one way"),
    (WISH, {"parts": [{"fit": "C301", "across": "R99", "values": ["1u"]}]}, "R99"),
    (WISH, {"parts": [PART, PART]}, "listed twice"),
    (WISH, {"parts": []}, "expected 1 to 8"),
    (WISH, {"parts": [PART | {"none": "yes"}]}, "not true or false"),
    (WISH, {"parts": [{"fit": "R301", "in_series_at": "C1.1", "values": ["1k"], "none": True}]}, "open the wire"),
    (WISH, {"parts": [{"replace": "R9", "values": ["1M"], "none": True},
                      {"replace": "R8", "values": ["1M"], "none": True}]}, "no DC path"),
    # Values
    (WISH, {"parts": [PART | {"values": "E13 from 1n to 2n"}]}, "says no values"),
    (WISH, {"parts": [PART | {"values": "E12"}]}, "has no bounds"),
    (WISH, {"parts": [PART | {"values": "E12 from 2u to 1u"}]}, "the smaller value comes first"),
    (WISH, {"parts": [PART | {"values": "E12 from 1k to 2k"}]}, "1k"),
    (WISH, {"parts": [PART | {"values": []}]}, "no value lies there"),
    (WISH, {"parts": [PART | {"values": "E6 from 11n to 12n"}]}, "no value lies there"),
    (WISH, {"parts": [PART | {"values": "drawer"}]}, "there is no drawer"),
    (WISH, {"parts": [PART | {"values": "drawer from 2u to 3u"}], "drawer": DRAWER}, "holds no capacitor"),
    (WISH, {"parts": [{"replace": "R4", "values": "drawer"}], "drawer": DRAWER}, "holds no resistor"),
    (WISH, {"parts": [{"replace": name, "values": "E24 from 1p to 1u"} for name in ("C1", "C2", "C3", "C4")]},
     "sets of values are too many"),
    # The rest
    ({"margin": "at least 45 degrees"}, {"amp": PLAIN}, "has no feedback stage"),
    ({"margin": "at least 45 degrees", "of": "C1"}, {}, "C1 is in no feedback loop"),
    (WISH, {"listen_at": "R99.1"}, "not a place"),
]  # fmt: skip


@pytest.mark.parametrize(("wish", "more", "words"), MISTAKES, ids=lambda value: str(value)[:40])
def test_mistakes_are_named(wish, more, words):
    with pytest.raises(DescriptionError) as raised:
        wishes(wish, **more)
    assert words in str(raised.value)
    assert "\n" not in str(raised.value)
    assert str(raised.value).startswith(("trial.toml", "workshop"))


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({"more": "at least 5 dB"}, {"more": "at most 3 dB"}),
        ({"more": "at least 5 dB", "between": ["1k", "3k"]}, {"change": "at most 3 dB", "above": "2k"}),
        ({"more": "1 to 2 dB", "near": "1k"}, {"less": "1 to 2 dB", "near": "1k"}),
        ({"margin": "at least 60 degrees"}, {"margin": "at most 50 degrees"}),
        ({"plate_current": "10 to 20 %", "of": "V1A"}, {"plate_current": "within 5 %", "of": "V1A"}),
    ],
)
def test_contradictions_are_refused(first, second):
    with pytest.raises(DescriptionError, match="contradict"):
        wishes(first, second)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({"more": "at least 5 dB", "below": "1k"}, {"more": "at most 3 dB", "above": "2k"}),
        ({"more": "at least 5 dB", "at": {"gain": 0.2}}, {"more": "at most 3 dB", "at": {"gain": 0.8}}),
        ({"more": "at least 3 dB"}, {"more": "at most 3 dB"}),
        ({"plate_current": "10 to 20 %", "of": "V1A"}, {"plate_current": "within 5 %", "of": "V1B"}),
    ],
)
def test_wishes_that_can_be_met_together_pass(first, second):
    assert len(wishes(first, second).wishes) == 2


def test_a_part_that_stands_in_no_wished_position_is_refused():
    amp = apply_mods(AMP, load_mod("bright-switch"))
    tables = {"name": "t", "parts": [{"replace": "C101", "values": ["47p"]}], "wishes": [WISH]}
    with pytest.raises(DescriptionError, match="C101 is not in the circuit at any position"):
        parse_wishes(tables, AMP, amp)


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        ({"name": "d"}, "the drawer is empty"),
        ({"name": "d", "capacitors": [{"values": []}]}, "not a list of values"),
        ({"name": "d", "capacitors": [{"values": ["1k"]}]}, "not a capacitance"),
        ({"name": "d", "capacitors": [{"values": ["1n"], "tolerance": "80 %"}]}, "outside"),
        ({"name": "d", "capacitors": [{"values": ["1n"], "volts": "-5"}]}, "above 0 V"),
        ({"name": "d", "resistors": [{"values": ["1k"], "wats": "1"}]}, "nearest: watts"),
        ({"name": "d", "valves": []}, "not known"),
        ({"name": "d", "capacitors": "all"}, "not a list of tables"),
    ],
)
def test_mistakes_in_a_drawer_are_named(tables, words):
    with pytest.raises(DescriptionError, match=words):
        parse_drawer(tables)


def test_a_drawer_keeps_what_its_parts_stand():
    (first, *_) = load_drawer("workshop").parts
    assert (first.kind, first.tolerance, first.watts) == ("resistor", 0.05, 0.5)
    assert first.words == "470 5 % 350 V 0.5 W"


def test_another_drawer_can_be_looked_into(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text('name = "own"\n[[capacitors]]\nvalues = ["330n"]\n[[resistors]]\nvalues = ["1k2"]\n', "utf-8")
    assert load_wishes("cathode-network", own).circuits == 2


def test_files_of_wishes_do_not_roam_the_disk(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text('name = "own"\namp = "workshop-a"\ndrawer = "../../etc/passwd"\n', "utf-8")
    with pytest.raises(DescriptionError, match="not the name of a model"):
        load_wishes(own)
    own.write_text('name = "own"\namp = "workshop-a"\ndrawer = "nosuch"\n', "utf-8")
    with pytest.raises(DescriptionError, match="known: workshop"):
        load_wishes(own)


VALUE = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=10), inner, max_size=3),
    max_leaves=5,
)


def complaint(read):
    """What is said of tables that cannot be read; nothing where they can."""
    try:
        read()
    except AmpsimError as problem:
        return str(problem)
    return ""


KEYS = ("more", "change", "margin", "between", "at", "of", "replace", "fit", "values", "none", "near")


@given(st.sampled_from(["wishes", "parts", "listen_at", "name"]), st.dictionaries(st.sampled_from(KEYS), VALUE), VALUE)
def test_whatever_stands_in_a_file_ends_in_one_clear_line(key, entries, other):
    tables = {"name": "t", "parts": [PART], "wishes": [WISH]}
    tables[key] = [{**tables[key][0], **entries}] if key in ("wishes", "parts") else other
    words = complaint(lambda: parse_wishes(tables, AMP, drawer=DRAWER))
    assert "\n" not in words
    assert len(words) < 1500


@given(VALUE, VALUE, VALUE)
def test_whatever_stands_in_a_drawer_ends_in_one_clear_line(values, volts, kinds):
    own = ({"name": "d", "capacitors": [{"values": values, "volts": volts}]}, {"name": "d", "resistors": kinds})
    assert not any("\n" in complaint(partial(parse_drawer, tables)) for tables in own)
