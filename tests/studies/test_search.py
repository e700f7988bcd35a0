"""From wishes to values: against every circuit simulated directly, against brute force, and on the limits."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError, Stopped
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit, circuit_at
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.values import SwitchedValue, switched_value, with_values
from ampsim.library.loader import load_amp, load_mod, load_wishes, parse_drawer, parse_mod, parse_wishes
from ampsim.measures.margins import margin_table
from ampsim.pictures.canvas import png
from ampsim.pictures.point_labels import label_offsets
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.loop_gain import loop_gain
from ampsim.simulation.response import simulate
from ampsim.studies.search import bias, search
from ampsim.studies.search.bias import bias_variants
from ampsim.studies.search.picture import (
    corridor_curves,
    corridor_picture,
    describe_trade,
    trade_curves,
    trade_picture,
)
from ampsim.studies.search.result import CHECK_DB, SearchResult, pareto_front, ranking, value_counts
from ampsim.studies.search.search import find_values
from ampsim.studies.search.text import best_table, find_text, miss_words
from tests.truth import bench

AMP = load_amp("workshop-a")
LOW = {"gain": 0.3}
TABLES = {
    "name": "trial",
    "parts": [
        {"replace": "C1", "values": ["220n", "1u", "22u"]},
        {"fit": "C301", "between": ["P1.top", "P1.wiper"], "values": ["47p", "220p"], "none": True},
        {"replace": "R4", "values": ["1k2", "1k5", "1k8"]},
        {"replace": "R20", "values": ["47k", "100k"]},
    ],
    "wishes": [
        {"more": "1 to 4 dB", "between": ["2k", "4k"], "at": LOW},
        {"change": "at most 2 dB", "below": "150"},
        {"plate_current": "within 12 %", "of": "first stage"},
        {"margin": "at least 70 degrees"},
    ],
}


def edited(values):
    """A set of values by way of an ordinary mod: nothing of the finder in it."""
    edits = [{"replace": part, "with": value} for part, value in values.items() if part != "C301"]
    parts = {"C301": values["C301"]} if values["C301"] is not None else {}
    edits += [{"fit": name, "between": ["P1.top", "P1.wiper"]} for name in parts]
    return apply_mods(AMP, parse_mod({"name": "set", "reason": "r", "parts": parts, "edits": edits}))


def rooms_directly(values):
    """The rooms in the wishes of TABLES, each from its definition and a plain simulation."""
    amp = edited(values)
    sweeps = [simulate([AMP, amp], FrequencySweep(), [at], ["speaker"]) for at in (LOW, {})]
    gains = [20 * np.log10(abs(sweep["voltage"].values[:, 0, 0])) for sweep in sweeps]
    low, drawn = (pair[1] - pair[0] for pair in gains)
    f = sweeps[0]["frequency"].values
    # The nearest frequencies of the sweep stand for the edges of a band.
    high_band = low[(f > 1970) & (f < 4080)]
    low_band = drawn[f < 153]
    rest = simulate([AMP, amp], OperatingPoint())["current"].sel(branch="V1A.plate").values[:, 0]
    percent = 100 * (rest[1] / rest[0] - 1)
    margin = margin_table(loop_gain(amp, "R20.1"))["least margin [deg]"][0]
    return [
        min(high_band.min() - 1, 4 - high_band.max()),
        min(low_band.min() + 2, 2 - low_band.max()),
        12 - abs(percent),
        margin - 70,
    ]


@pytest.fixture(scope="module")
def wanted():
    return parse_wishes(TABLES, AMP)


@pytest.fixture(scope="module")
def found(wanted):
    return find_values(wanted)


MANY = {
    "name": "many",
    "parts": [
        {"replace": "R4", "values": "E12 from 1k to 4k7"},
        {"replace": "R7", "values": "E12 from 4k7 to 15k"},
        {"replace": "C2", "values": "E6 from 4n7 to 47n"},
    ],
    "wishes": [{"change": "at most 1 dB", "between": ["400", "2k"]}],
}


@pytest.mark.parametrize("how", [Stopped, KeyboardInterrupt])
def test_a_search_that_is_stopped_keeps_the_best_so_far(how):
    def stop(done, total, text):
        if text == "bias points" and done >= total // 2:
            raise how

    whole, cut = find_values(parse_wishes(MANY, AMP)), find_values(parse_wishes(MANY, AMP), progress=stop)
    assert whole.stopped_after is None
    assert 0 < cut.stopped_after < 63
    known = ~np.isnan(cut.rooms).any(axis=1)
    assert 0 < known.sum() == cut.worked_out < whole.worked_out
    # What was worked out is the same, and the best of it leads.
    np.testing.assert_allclose(cut.rooms[known], whole.rooms[known], atol=1e-9)
    assert set(cut.order) == {n for n in whole.order if known[n]}
    assert next(n for n in whole.order if known[n]) == cut.order[0]
    assert cut.best
    assert f"of {cut.circuits:,} sets of values {cut.worked_out:,} were worked out" in find_text(cut)


def test_a_search_stopped_before_anything_is_known_stops(monkeypatch):
    def stop(*_):
        raise Stopped("enough")

    monkeypatch.setattr(search._Search, "_work_gains", stop)
    with pytest.raises(Stopped):
        find_values(parse_wishes(MANY, AMP), progress=stop)


def test_too_many_operating_points_are_refused_before_the_first_of_them(monkeypatch):
    monkeypatch.setattr(bias, "MOST_RESTS", 50)
    asked = []
    at_rest = bias.at_rest
    monkeypatch.setattr(
        bias, "at_rest", lambda cases, *more, **how: asked.extend(cases) or at_rest(cases, *more, **how)
    )
    with pytest.raises(DescriptionError, match=r"R4 \(9 values\), R7 \(7 values\) move the bias: 63 operating points"):
        find_values(parse_wishes(MANY, AMP))
    assert len(asked) == 1


@pytest.fixture(scope="module")
def direct(wanted):
    names = [choice.part for choice in wanted.choices]
    sets = itertools.product(*(choice.values for choice in wanted.choices))
    return np.array([rooms_directly(dict(zip(names, values, strict=True))) for values in sets])


def test_every_room_is_that_of_a_direct_simulation(found, direct):
    assert found.circuits == len(direct) == 54
    np.testing.assert_allclose(found.rooms, direct, atol=1e-5)


def test_the_best_is_the_true_best_of_all_circuits_simulated_directly(found, direct):
    steps = np.sort(direct / (1.0, 1.0, 10.0, 10.0), axis=1)
    met = [n for n in range(len(direct)) if steps[n, 0] >= 0.0]
    assert 1 < len(met) < len(direct)
    assert found.met == len(met)
    assert sorted(found.order) == met
    assert tuple(steps[found.order[0]].round(6)) == max(tuple(steps[n].round(6)) for n in met)


def test_answers_are_simulated_once_more(found):
    assert 0.0 < found.difference_db < 1e-8 < CHECK_DB
    for candidate in found.best:
        np.testing.assert_allclose(candidate.rooms, found.rooms[candidate.index], atol=1e-5)
        assert candidate.met
    assert found.moving == ("R4", "R20")
    assert found.changes.shape == (len(found.best), 2, 151)


def test_far_fewer_simulations_than_circuits():
    parts = [{"replace": part, "values": "E12 from 1n to 100n"} for part in ("C2", "C3", "C8")]
    many = find_values(parse_wishes({**TABLES, "parts": parts, "wishes": TABLES["wishes"][:2]}, AMP), keep=1)
    assert many.circuits == 25**3
    assert many.worked_out == many.circuits
    # Twice (the stock, the amp at rest, five for three ports), and twice six to check the answer.
    assert many.runs == 28


def test_a_planted_set_is_found():
    parts = [{"replace": part, "values": "E12 from 1n to 47n"} for part in ("C2", "C3", "C8")]
    planted = {"C2": 2.7e-9, "C3": 8.2e-9, "C8": 3.3e-9}
    change = _change(planted)
    hertz = [30.0, 60.0, 120.0, 300.0]
    wishes = [
        {"change": f"{float(change(each)) - 0.02:.4f} to {float(change(each)) + 0.02:.4f} dB", "near": each}
        for each in hertz
    ]
    outcome = find_values(parse_wishes({"name": "planted", "parts": parts, "wishes": wishes}, AMP))
    assert outcome.values(int(outcome.order[0])) == pytest.approx(planted)


def _change(values):
    edits = [{"replace": part, "with": value} for part, value in values.items()]
    amp = apply_mods(AMP, parse_mod({"name": "planted", "reason": "r", "edits": edits}))
    sweep = simulate([AMP, amp], FrequencySweep(), nodes=["speaker"])
    gains = 20 * np.log10(abs(sweep["voltage"].values[:, 0, 0]))
    f = sweep["frequency"].values
    return lambda hertz: (gains[1] - gains[0])[np.argmin(abs(np.log(f / hertz)))]


LIMIT = st.floats(-6.0, 12.0)


@settings(max_examples=12)
@given(LIMIT, st.floats(0.0, 4.0), st.floats(2.0, 30.0), st.floats(30.0, 110.0))
def test_ruling_out_early_changes_neither_the_best_nor_what_is_met(wanted, least, width, percent, degrees):
    limits = ((least, least + width), (-width, width), (-percent, percent), (degrees, math.inf))
    wishes = tuple(replace(wish, least=a, most=b) for wish, (a, b) in zip(wanted.wishes, limits, strict=True))
    wished = replace(wanted, wishes=wishes)
    whole = find_values(wished, keep=1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(search, "_WHOLE", 0)
        patch.setattr(search, "_BATCH", 1)
        patch.setattr(search, "_CHUNK", 2)
        early = find_values(wished, keep=1)
    assert early.worked_out <= whole.worked_out == 54
    assert early.met == whole.met
    assert early.order[0] == whole.order[0]
    if whole.met:
        assert list(early.order) == list(whole.order)


def test_ruling_out_early_spares_work(wanted, found, monkeypatch):
    monkeypatch.setattr(search, "_WHOLE", 0)
    monkeypatch.setattr(search, "_BATCH", 1)
    monkeypatch.setattr(search, "_CHUNK", 2)
    early = find_values(wanted)
    assert early.worked_out < 40
    assert early.runs < found.runs
    assert "ruled out" in find_text(early)


# Ranking, front, spread: plain arithmetic on made-up rooms ------------------------------------------------------------


def made_up(wanted, rooms):
    rooms = np.asarray(rooms, dtype=float)
    order = ranking(rooms, wanted, np.arange(len(rooms)))
    return SearchResult(wanted, rooms, np.ones(len(rooms), bool), order, (), xr.DataArray(), (), 0)


ROOMS = st.lists(st.lists(st.integers(-3, 3), min_size=4, max_size=4), min_size=54, max_size=54)


@settings(max_examples=50)
@given(ROOMS)
def test_ranking_is_by_the_least_room_then_by_the_next_least(wanted, rows):
    outcome = made_up(wanted, rows)
    steps = [sorted(row / wish.step for row, wish in zip(each, wanted.wishes, strict=True)) for each in rows]
    want = sorted(range(len(rows)), key=lambda n: ([-each for each in steps[n]], n))
    assert [steps[n] for n in outcome.order] == [steps[n] for n in want]
    assert list(outcome.order) == want


@settings(max_examples=50)
@given(ROOMS)
def test_front_is_what_nothing_beats(wanted, rows):
    pairs = [tuple(row[:2]) for row in rows]
    beaten = {p for p in pairs for q in pairs if q != p and q[0] >= p[0] and q[1] >= p[1]}
    edge = [pairs[n] for n in pareto_front(made_up(wanted, rows))]
    assert sorted(edge) == sorted(set(pairs) - beaten)
    assert edge == sorted(edge, reverse=True)


def test_spread_counts_the_sets_that_meet_all(found):
    table = value_counts(found)
    assert (table.groupby("part")["sets"].sum() == found.met).all()
    values = {(row.part, row.value): row.sets for row in table.itertuples()}
    wanted = sum(found.values(int(n))["R4"] == 1500.0 for n in found.order)
    assert values.get(("R4", "1k5"), 0) == wanted > 0


# Which parts move the bias --------------------------------------------------------------------------------------------


def test_a_zero_by_symmetry_is_tested_again_in_every_bias_variant():
    # Two equal dividers from one rail with a resistor between their middles; R1 puts them out of balance.
    parts = dict.fromkeys(("R1", "R2", "R3", "R4", "R5"), "100k") | {"C1": "1n", "R9": "1M", "C2": "10n"}
    wires = bench.wired(
        "bridge", R1=["B1", "left"], R2=["left", "ground"], R3=["B1", "right"], R4=["right", "ground"],
        R5=["left", "right"], C1=["in", "left"], C2=["right", "out"],
    )  # fmt: skip
    amp = bench.amp(parts, [wires, bench.stage("load", load="R9")], bench.rail("B1", 300))
    centre = {"replace": "R5", "values": ["10k", "220k"]}
    side = {"replace": "R1", "values": ["100k", "220k"]}

    def wishes(*chosen):
        return parse_wishes({"name": "bridge", "parts": list(chosen), "wishes": [{"change": "at most 20 dB"}]}, amp)

    def moving(*chosen):
        return [each.part for each in bias_variants(wishes(*chosen)).moving]

    assert moving(centre) == []
    assert moving(side) == ["R1"]
    assert moving(centre, side) == ["R5", "R1"]
    assert find_values(wishes(centre, side)).difference_db < 1e-8


# Drawer and ratings ---------------------------------------------------------------------------------------------------

CAPS = {"capacitors": [{"values": ["10n", "22n"], "volts": "400"}, {"values": ["4n7", "22n"], "volts": "50"}]}


def coupling(drawer):
    tables = {
        "name": "coupling",
        "parts": [{"replace": "C2", "values": "drawer"}],
        "wishes": [{"change": "at most 3 dB", "between": ["400", "2k"]}],
    }
    return find_values(parse_wishes(tables, AMP, drawer=parse_drawer({"name": "d"} | drawer)))


def test_a_part_that_does_not_stand_the_plate_voltage_is_left_out():
    outcome = coupling(CAPS)
    assert outcome.fits.tolist() == [False, True, True]
    assert 0 not in outcome.order
    assert "left out" in find_text(outcome)


def test_a_drawer_without_a_part_that_stands_it_says_so():
    outcome = coupling({"capacitors": [{"values": ["22n"], "volts": "50"}]})
    assert not outcome.best
    assert "No set of values can be built" in find_text(outcome)
    with pytest.raises(DescriptionError, match="nothing found to draw"):
        corridor_picture(outcome)


def test_voltage_with_cold_valves_counts():
    # With cold valves the plates of the first stages stand at the full supply, 318 V, warm at about 165 V.
    outcome = coupling({"capacitors": [{"values": ["22n"], "volts": "250"}, {"values": ["10n"], "volts": "400"}]})
    assert outcome.fits.tolist() == [True, False]


def test_watts_of_a_resistor_count():
    drawer = parse_drawer({"name": "d", "resistors": [
        {"values": ["150"], "watts": "1"}, {"values": ["180"], "watts": "3"}]})  # fmt: skip
    wishes = [{"change": "at most 6 dB"}]
    tables = {"name": "n", "parts": [{"replace": "R28", "values": "drawer"}], "wishes": wishes}
    # Two EL84 draw about 70 mA through it: three quarters of a watt, so that twice as much is asked for.
    assert find_values(parse_wishes(tables, AMP, drawer=drawer)).fits.tolist() == [False, True]


# Values in the amp ----------------------------------------------------------------------------------------------------


def test_values_reach_parts_of_drawing_mods_and_switches():
    amp = apply_mods(AMP, load_mod("smaller-coupling"), load_mod("bright-switch"))
    new = with_values(amp, {"C2": 4.7e-9, "C101": 1e-10, "R4": 2200.0})
    wired = build_circuit(new, (("bright", "120p"),))
    assert [wired.parts[name].value for name in ("C2", "C101", "R4")] == [4.7e-9, 1e-10, 2200.0]
    assert build_circuit(with_values(amp, {"R4": 1500.0})).parts["R4"].value == 1500.0


def switched_amp() -> Amp:
    """The workshop amp with a switch that puts 150k in place of R3, and one that takes C5 out."""
    switches = [
        {"designator": "S9", "control": "tried", "positions": {"a": [], "b": [{"replace": "R3", "with": "150k"}]}},
        {"designator": "S8", "control": "edge", "positions": {"on": [], "off": [{"lift": "C5"}]}},
    ]
    return apply_mods(AMP, parse_mod({"name": "switched", "reason": "trial", "switches": switches}))


def test_where_a_switch_puts_in_another_part_its_value_stands():
    amp = switched_amp()
    new = with_values(amp, {"R3": 470e3})
    assert circuit_at(new, {"tried": "a"}).parts["R3"].value == 470e3
    assert circuit_at(new, {"tried": "b"}).parts["R3"].value == 150e3
    assert switched_value(amp, "R3", {}) is None
    assert switched_value(amp, "R3", {"tried": "b"}) == SwitchedValue("tried", "b", 150e3)
    assert switched_value(amp, "C5", {"edge": "off"}) == SwitchedValue("edge", "off", None)
    bright = apply_mods(AMP, load_mod("bright-switch"))
    places = {label: switched_value(bright, "C101", {"bright": label}) for label in ("open", "120p", "390p")}
    assert [label for label, found in places.items() if found is None] == ["120p"]


def test_a_part_that_a_switch_replaces_where_a_wish_speaks_is_refused():
    tables = {"name": "n", "parts": [{"replace": "R3", "values": ["47k"]}], "wishes": [{"change": "at most 6 dB"}]}
    parse_wishes(tables, AMP, switched_amp())
    tables["wishes"] = [{"change": "at most 6 dB", "at": {"tried": "b"}}]
    with pytest.raises(DescriptionError, match="'tried' at b puts another part in place of R3"):
        parse_wishes(tables, AMP, switched_amp())


def test_a_part_left_out_is_out():
    amp = with_values(apply_mods(AMP, load_mod("bright-switch")), {"C101": None, "C1": None})
    present = {each.designator for each in build_circuit(amp, (("bright", "120p"),)).elements}
    assert not {"C101", "C1"} & present
    assert "C102" in {each.designator for each in build_circuit(amp, (("bright", "390p"),)).elements}


def test_a_part_that_only_one_switch_position_fits():
    amp = apply_mods(AMP, load_mod("bright-switch"))
    tables = {
        "name": "switched",
        "parts": [{"replace": "C101", "values": ["47p", "220p"]}, {"replace": "C1", "values": ["1u", "10u"]}],
        "wishes": [
            {"more": "at least 1 dB", "near": "3k", "at": {**LOW, "bright": "120p"}},
            {"change": "at most 20 dB", "at": {**LOW, "bright": "open"}},
        ],
    }
    outcome = find_values(parse_wishes(tables, AMP, amp))
    assert outcome.difference_db < 1e-8
    # Open, the capacitor makes no difference; switched in, it does.
    rooms = outcome.rooms.reshape(2, 2, 2)
    np.testing.assert_array_equal(rooms[0, :, 1], rooms[1, :, 1])
    assert abs(rooms[0, :, 0] - rooms[1, :, 0]).min() > 1.0


def test_the_loop_of_a_mod_has_a_margin_when_its_resistor_is_named():
    stock = load_amp("workshop-b")
    modded = apply_mods(stock, load_mod("feedback-with-presence"))
    part = {"replace": "R202", "values": ["2k2", "4k7", "22k"]}
    wish = {"margin": "at least 30 degrees", "of": "R202"}
    outcome = find_values(parse_wishes({"name": "b", "parts": [part], "wishes": [wish]}, stock, modded))
    for index, ohms in enumerate((2200.0, 4700.0, 22000.0)):
        loop = loop_gain(with_values(modded, {"R202": ohms}), "R202.1")
        margin = margin_table(loop)["least margin [deg]"][0]
        want = 180.0 if math.isnan(margin) else margin
        assert outcome.rooms[index, 0] + 30.0 == pytest.approx(want, abs=1e-5)


def test_without_its_resistor_the_loop_is_open():
    tables = {
        "name": "open",
        "parts": [{"replace": "R20", "values": ["68k"], "none": True}, {"replace": "C11", "values": ["100n", "47n"]}],
        "wishes": [{"margin": "at least 100 degrees"}],
    }
    outcome = find_values(parse_wishes(tables, AMP))
    assert (outcome.rooms[:2, 0] == 80.0).all()
    assert (outcome.rooms[2:, 0] < 0.0).all()
    assert outcome.best[0].reached == ((180.0, 180.0),)


# What is said and drawn -----------------------------------------------------------------------------------------------


def test_text_names_values_wishes_and_the_check(found):
    text = find_text(found)
    for words in (
        f"54 sets of values tried; {found.met} of them meet all wishes",
        "Parts that move the bias: R4, R20.",
        "1 to 4 dB more from 2 kHz to 4 kHz, gain 3",
        "plate current of first stage within 12 %",
        "agree with the search to less than 0.000001 dB",
        "C301: ",
    ):
        assert words in text
    table = best_table(found)
    assert list(table.columns[:4]) == ["C1", "C301", "R4", "R20"]
    assert (table["least room [steps]"] >= 0.0).all()


def test_the_nearest_miss_says_what_it_breaks_and_by_how_much():
    outcome = find_values(load_wishes("cathode-network"))
    assert outcome.met == 0
    nearest = outcome.best[0]
    broken = [n for n, room in enumerate(nearest.rooms, 1) if room < 0.0]
    words = miss_words(outcome, nearest)
    assert broken
    assert all(f"wish {n} (" in words for n in broken)
    assert words in find_text(outcome)
    # Nothing that was tried comes nearer.
    assert outcome.scores.max() == pytest.approx(outcome.scores[nearest.index])


@pytest.mark.parametrize("name", ["bright-when-low", "tight-coupling", "feedback-and-depth"])
def test_the_demonstrations_find_something(name):
    outcome = find_values(load_wishes(name), keep=3)
    assert outcome.met > 0
    assert outcome.difference_db <= CHECK_DB
    assert outcome.worked_out == outcome.circuits


def test_pictures_show_what_was_found(found):
    edge = pareto_front(found, 0, 3)
    drawn = trade_picture(found, 0, 3)
    curves = trade_curves(found, 0, 3)
    np.testing.assert_array_equal(curves["front"], found.rooms[edge][:, [0, 3]])
    assert found.words(found.best[0].index) in drawn.alternative
    bands = corridor_picture(found)
    np.testing.assert_array_equal(corridor_curves(found)["line-0"][:, 1], found.changes.values[0, 0])
    assert "wish 1 (1 to 4 dB more from 2 kHz to 4 kHz)" in bands.alternative
    for picture in (drawn, bands):
        assert png(picture).startswith(b"\x89PNG")
    with pytest.raises(DescriptionError, match="two of the 4"):
        trade_picture(found, 0, 4)


def test_labels_of_points_cover_no_other_point_and_no_other_label():
    points = np.array([[0.0, 0.0], [9.0, 9.0], [30.0, 0.0], [30.0, 18.0]])
    labels = points + label_offsets(points)
    for n, label in enumerate(labels):
        others = np.concatenate([np.delete(points, n, axis=0), np.delete(labels, n, axis=0)])
        assert np.hypot(*(others - label).T).min() > 12.0  # pt, two circles of a label


@settings(max_examples=10)
@given(ROOMS, st.sampled_from(list(itertools.permutations(range(4), 2))))
def test_a_trade_can_be_drawn_of_any_rooms(wanted, rows, pair):
    assume(rows)
    outcome = made_up(wanted, rows)
    assert trade_picture(outcome, *pair).alternative == describe_trade(outcome, *pair)


def test_sets_with_which_the_amp_oscillates_are_left_out_and_named():
    part, wish = (
        {"replace": "R20", "values": ["3k3", "10k", "47k", "68k"]},
        {"less": "at least 6 dB", "at": {"presence": 0.0}},
    )
    found = find_values(parse_wishes({"name": "less", "parts": [part], "wishes": [wish]}, AMP, AMP))
    assert [each.values["R20"] for each in found.best] == [10e3]
    assert found.met == 1
    assert "Left out, since the amp oscillates with them at a position wished for: R20 3k3" in find_text(found)


def test_a_feedback_resistor_in_two_parts_is_searched_as_one():
    across = {"fit": "R204", "across": "R20", "values": ["22k", "68k", "220k"]}
    halves = parse_wishes({"name": "b", "parts": [across], "wishes": [{"margin": "at least 20 degrees"}]}, AMP, AMP)
    named = parse_wishes(
        {"name": "b", "parts": [across], "wishes": [{"margin": "at least 20 degrees", "of": "R20"}]}, AMP, AMP
    )
    for outcome in (find_values(halves), find_values(named)):
        for candidate in outcome.best:
            ohms = 1.0 / (1.0 / 68e3 + 1.0 / candidate.values["R204"])
            single = margin_table(loop_gain(with_values(AMP, {"R20": ohms})))["least margin [deg]"][0]
            assert candidate.reached[0][0] == pytest.approx(single, abs=0.1)
