"""The parts list: ratings that survive, kinds of part, switches derived from edits, the drawer, and a safe CSV."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim import DescriptionError, Sine, apply_mods, load_amp, load_mod, parse_mod
from ampsim.base.wording import in_watts
from ampsim.circuit.amp import Amp, Pot
from ampsim.circuit.build import build_circuit
from ampsim.library.loader import load_drawer, parse_drawer
from ampsim.studies.ratings.simulate import stress
from ampsim.studies.ratings.usual import MAINS, WATTS_FACTOR
from ampsim.work.parts_list.lines import PartLine, with_drawer
from ampsim.work.parts_list.parts_list import PartsList, fitting_positions, parts_list
from ampsim.work.parts_list.preferred_values import nearest_preferred, nearest_track
from ampsim.work.parts_list.ratings_needed import Surroundings, capacitor_rating, pot_rating, resistor_rating
from ampsim.work.parts_list.switch_need import SwitchNeed, switch_need
from ampsim.work.wiring.readback import wiring

SHORT = (Sine(1000.0, 0.05, 0.02, 4),)


def modded(edits: list[dict[str, object]] | None = None, **more: object) -> Amp:
    tables: dict[str, object] = {"name": "trial", "reason": "A trial.", "edits": edits or []}
    return apply_mods(load_amp("workshop-a"), parse_mod(tables | more))


def listed(amp: Amp, positions: list[dict[str, float | str]] | None = None, **more: object) -> PartsList:
    stock = replace(amp, mods=())
    places = fitting_positions(stock, amp) if positions is None else positions
    return parts_list(stock, amp, places, response=stress(amp, places, SHORT), **more)


def line(found: PartsList, part: str) -> PartLine:
    return next(each for each in found.lines if each.part == part)


@lru_cache(maxsize=1)
def three_mods() -> PartsList:
    return listed(three_mods_amp(), drawer=load_drawer("workshop"))


def three_mods_amp() -> Amp:
    return apply_mods(
        load_amp("workshop-a"), *(load_mod(name) for name in ("bright-switch", "cathode-switch", "depth"))
    )


# Values and ratings ---------------------------------------------------------------------------------------------------


@given(st.floats(1.0, 9.99e6))
def test_the_nearest_preferred_value_is_never_far(value: float) -> None:
    found = nearest_preferred(value)
    assert abs(found.off) <= 0.0715  # half the widest step of E24, 13 to 15 (IEC 60063)
    assert found.value * (1.0 + found.off) == pytest.approx(value)
    assert nearest_preferred(found.value).off == 0.0


@pytest.mark.parametrize(
    ("value", "series", "nearest"),
    [
        (4.7e3, "E6", 4.7e3),
        (1.2e-10, "E12", 1.2e-10),
        (9.1e4, "E24", 9.1e4),
        (9.0e4, "E24", 9.1e4),
        (5e5, "E24", 5.1e5),
    ],
)
def test_series_of_common_values(value: float, series: str, nearest: float) -> None:
    assert (nearest_preferred(value).series, nearest_preferred(value).value) == (series, pytest.approx(nearest))


def test_tracks_come_in_their_own_steps() -> None:
    assert (nearest_track(500e3).off, nearest_track(250e3).series, nearest_track(22e3).series) == (0.0, "1-2-5", "E6")


def carried(**numbers: float) -> dict[str, float]:
    names = {"watts": "needs [W]", "pulse": "pulse [W]", "volts": "needs [V]", "rest": "rest [V]", "cold": "cold [V]"}
    found = dict.fromkeys(names.values(), 0.0) | {"value": 1e5}
    return found | {names.get(name, name): number for name, number in numbers.items()}


@given(st.floats(0.0, 12.0), st.floats(0.0, 100.0), st.floats(0.0, 900.0))
def test_a_resistor_never_gets_less_than_it_carries(watts: float, pulse: float, volts: float) -> None:
    found = resistor_rating(carried(watts=WATTS_FACTOR * watts, pulse=pulse, volts=volts), Surroundings())
    assert found.watts >= max(0.5, WATTS_FACTOR * watts)
    assert 10.0 * found.watts >= pulse
    assert found.volts >= MAINS * volts
    assert (found.why == "") == (found.watts == 0.5)


@given(st.floats(0.0, 900.0))
def test_a_pot_never_gets_less_volts_than_it_carries(volts: float) -> None:
    assert pot_rating(carried(volts=volts), Surroundings()).volts >= MAINS * volts


def test_half_a_watt_would_cook() -> None:
    found = resistor_rating(carried(watts=2.0 * 0.8), Surroundings())
    assert found.watts == 2.0
    assert "half a watt would cook" in found.why
    assert "two of half the value" in resistor_rating(carried(volts=480.0), Surroundings()).why


@given(st.sampled_from([1e-10, 2.2e-8, 1e-6, 4.7e-5]), st.floats(0.0, 400.0))
def test_a_capacitor_stands_its_volts_and_the_mains(farads: float, volts: float) -> None:
    found = capacitor_rating(
        carried(value=farads, volts=volts, rest=volts, cold=volts), Surroundings(plus="C1.1", dc_volts=volts)
    )
    assert found.volts >= MAINS * volts
    assert farads >= 1e-6 or found.volts >= (400.0 if MAINS * volts > 63.0 else 63.0)


def test_kinds_of_capacitor() -> None:
    def make(farads: float, volts: float) -> str:
        return capacitor_rating(carried(value=farads, volts=volts), Surroundings(plus="C9.2", dc_volts=volts)).make

    assert "class 1" in make(4.7e-10, 100.0)
    assert make(2.2e-8, 100.0).startswith("film")
    assert make(2.2e-5, 20.0).startswith("electrolytic, plus at C9.2")
    assert "bipolar" in make(2.2e-6, 0.01)
    assert (
        "two of twice the value in series" in capacitor_rating(carried(value=4.7e-5, volts=480.0), Surroundings()).why
    )


def test_a_pot_that_carries_watts_or_direct_volts() -> None:
    assert pot_rating(carried(watts=0.1), Surroundings()).watts == 0.25
    hot = pot_rating(carried(watts=0.6, rest=5.0), Surroundings())
    assert hot.watts == 1.0
    assert "scratch" in hot.why


# Whole lists ----------------------------------------------------------------------------------------------------------


def test_every_part_and_switch_of_the_mods_is_listed_once() -> None:
    brought = {"C101", "C102", "S101", "R102", "R103", "C103", "S102", "P104", "C104"}
    parts = [each.part for each in three_mods().lines]
    assert sorted(parts) == sorted(brought)
    assert line(three_mods(), "C101").when == "bright at 120p"
    assert line(three_mods(), "P104").when == "always"
    assert all(not math.isnan(each.carries_volts) for each in three_mods().lines if each.kind != "switch")


def test_the_pot_says_taper_and_how_it_is_wired() -> None:
    depth = line(three_mods(), "P104")
    assert (depth.taper, depth.wired, depth.place) == ("audio 10 %", "rising", "in series at R20.1")
    assert depth.preferred is not None
    assert depth.preferred.off == 0.0


def test_an_electrolytic_names_its_plus_end() -> None:
    assert "plus at C103.1" in line(three_mods(), "C103").rating.make  # across the cathode resistor, R7.2 at ground
    stated = modded([{"fit": "C160", "between": ["ground", "V1A.cathode"]}], parts={"C160": "22u"})
    assert "plus at C160.2" in line(listed(stated), "C160").rating.make


def test_a_screen_resistor_of_a_hot_mod_is_two_watts_or_more() -> None:
    hot = modded([{"replace": "R28", "with": "68"}])
    found = line(listed(hot), "R28")
    assert f"pulses of {in_watts(found.pulse_watts)}" in listed(hot).text()
    assert found.rating.watts >= 2.0 * found.carries_watts > 1.0
    assert "would cook" in found.rating.why
    assert "flameproof" in found.rating.make


def test_a_cathode_resistor_at_the_first_valve_asks_for_low_noise() -> None:
    assert "low noise" in line(listed(modded([{"replace": "R3", "with": "150k"}])), "R3").rating.why
    assert "low noise" not in line(listed(modded([{"replace": "R10", "with": "150k"}])), "R10").rating.why


def test_values_that_a_switch_replaces_are_bought_apart() -> None:
    positions = {"stock": [], "tight": [{"replace": "C2", "with": "3n9"}], "thin": [{"replace": "C2", "with": "1n2"}]}
    switch = {"designator": "S160", "control": "bass cut", "drawn": "stock", "positions": positions}
    found = listed(modded(switches=[switch]))
    assert [(each.part, each.wanted) for each in found.lines[:2]] == [("C2", "3n9"), ("C2", "1n2")]
    assert all(each.carries_volts > 100.0 for each in found.lines[:2])


def test_a_part_never_in_circuit_says_so() -> None:
    amp = apply_mods(load_amp("workshop-a"), load_mod("bright-switch"))
    found = line(listed(amp, [{}]), "C101")
    assert math.isnan(found.carries_volts)
    assert "not in circuit" in found.rating.why


def test_another_valve_is_a_line_too() -> None:
    found = line(listed(modded([{"replace": "V1A", "with": "12AY7"}])), "V1A")
    assert (found.kind, found.wanted, found.place) == ("valve", "12AY7", "in place of 12AX7")


def test_nothing_changed_is_an_empty_list() -> None:
    stock = load_amp("workshop-a")
    found = parts_list(stock, stock)
    assert found.lines == ()
    assert "No part" in found.text()
    assert list(found.table.columns) == list(three_mods().table.columns)


def test_a_response_of_other_positions_is_refused() -> None:
    amp = apply_mods(load_amp("workshop-a"), load_mod("larger-plate-load"))
    with pytest.raises(DescriptionError, match="at these 1 positions"):
        parts_list(load_amp("workshop-a"), amp, [{}], response=stress(amp, [{"gain": 0.1}], SHORT))


def screens(amp: Amp) -> list[PartLine]:
    """The parts list of a pair's screen resistors, of another value."""
    edits = [{"replace": name, "with": "1k"} for name in ("R16", "R17")]
    mod = parse_mod({"name": "screens", "reason": "A trial.", "edits": edits})
    return list(parts_list(amp, apply_mods(amp, mod)).lines)


def with_volume(rotation: float) -> Amp:
    amp = load_amp("workshop-b")
    return replace(amp, parts=tuple(
        replace(each, rotation=rotation) if isinstance(each, Pot) and each.control == "volume" else each
        for each in amp.parts))  # fmt: skip


def test_where_the_drawings_knobs_stand_is_no_rating() -> None:
    """A pair that is drawn with its volume down is played with it up: the same parts are bought."""
    quiet, loud = (screens(with_volume(rotation)) for rotation in (0.05, 1.0))
    assert [each.rating.watts for each in quiet] == [each.rating.watts for each in loud]
    assert quiet[0].carries_watts == pytest.approx(loud[0].carries_watts, rel=0.05)
    amp = with_volume(0.05)
    as_drawn = stress(amp, [{}])["part_watts"].sel(part="R16", state="driven").max()
    assert quiet[0].carries_watts > 10.0 * float(as_drawn)


def test_a_pair_gets_two_of_a_size() -> None:
    """Of screen resistors that stand alike one carries more by the tone's phase: half a watt beside one of 1 W."""
    first, second = screens(with_volume(1.0))
    assert first.rating == second.rating
    assert (first.carries_watts, first.pulse_watts) == (second.carries_watts, second.pulse_watts)
    carried = stress(with_volume(1.0), [{}])["part_watts"].sel(state="driven").isel(variant=0, position=0)
    one, other = (float(carried.sel(part=name)) for name in ("R16", "R17"))
    assert abs(one / other - 1.0) > 0.1


# Drawer ---------------------------------------------------------------------------------------------------------------


def test_what_lies_in_the_drawer_is_not_bought() -> None:
    found = three_mods()
    assert line(found, "C104").at_hand.startswith("in the drawer: 6n8")
    assert line(found, "P104").at_hand == "buy"
    assert "R102" not in " ".join(found.to_buy["for"])
    assert "P104" in " ".join(found.to_buy["for"])


def test_a_part_too_weak_stays_in_the_drawer() -> None:
    weak = parse_drawer({"name": "thin", "capacitors": [{"values": ["3n9"], "volts": "50"}]})
    found = line(listed(modded([{"replace": "C2", "with": "3n9"}]), drawer=weak), "C2")
    assert found.at_hand == "buy: the drawer's 3n9 50 V stands too little"


@pytest.mark.parametrize(
    ("watts", "pulse", "volts", "kept", "serves"),
    [
        (0.2, 0.4, 30.0, {"watts": "0.5"}, True),
        (0.2, 20.0, 30.0, {"watts": "0.5"}, False),  # 2 W are asked for its peaks
        (0.2, 20.0, 30.0, {"watts": "2"}, True),
        (0.2, 0.4, 330.0, {"watts": "0.5"}, False),  # a half-watt body stands 350 V, the mains 10 % more
        (0.2, 0.4, 330.0, {"watts": "0.5", "volts": "500"}, True),
        (0.2, 0.4, 30.0, {}, False),
    ],
)
def test_the_drawer_gives_what_the_list_asks_for(
    watts: float, pulse: float, volts: float, kept: dict[str, str], serves: bool
) -> None:
    drawer = parse_drawer({"name": "d", "resistors": [{"values": ["470"], **kept}]})
    found = with_drawer(
        PartLine(
            "R1", "", "", "", "resistor", "470", 470.0, carries_watts=watts, pulse_watts=pulse, carries_volts=volts
        ),
        drawer,
    )
    assert (found.stocked is not None) == serves
    assert found.at_hand.startswith("in the drawer" if serves else "buy: the drawer's 470")
    asked = resistor_rating(carried(watts=WATTS_FACTOR * watts, pulse=pulse, volts=volts), Surroundings())
    assert not serves or float(kept["watts"]) >= asked.watts or "volts" in kept


def test_what_a_drawer_does_not_say_of_a_capacitor_is_not_enough() -> None:
    unsaid = parse_drawer({"name": "thin", "capacitors": [{"values": ["3n9"]}]})
    found = line(listed(modded([{"replace": "C2", "with": "3n9"}]), drawer=unsaid), "C2")
    assert found.at_hand == "buy: the drawer's 3n9 is not said to stand anything"


def test_like_parts_are_bought_together() -> None:
    found = listed(modded([{"replace": "R24", "with": "10k"}, {"replace": "R25", "with": "10k"}])).to_buy
    assert (found["count"].tolist(), found["for"].tolist()) == ([2], ["R24, R25"])


# Switches -------------------------------------------------------------------------------------------------------------


def need(**positions: object) -> SwitchNeed:
    parts = {name: value for name, value in (("R161", "1M"), ("R162", "10k"), ("C163", "1u")) if name in str(positions)}
    switch = {"designator": "S160", "control": "trial", "drawn": next(iter(positions)), "positions": positions}
    amp = modded(parts=parts, switches=[switch])
    return switch_need(amp, amp.all_switches[0])


def test_a_switch_at_the_plates_is_asked_for_by_what_its_lugs_come_to() -> None:
    """Cold, every one of its lugs stands at the 445 V of the supply, and plates swing to twice that."""
    stock = load_amp("brickworks")
    fitted = apply_mods(stock, load_mod("triode-or-pentode"))
    screens = switch_need(fitted, fitted.all_switches[0])
    assert screens.volts == pytest.approx(2.0 * 445.0, rel=1e-3)
    said = parts_list(stock, fitted, [{}]).text()
    assert "Its lugs come to 890 V: take one that is rated for that" in " ".join(said.split())
    bright = line(three_mods(), "S101").switch
    assert bright is not None
    assert bright.volts < 1.0
    assert "Its lugs come to" not in three_mods().text()


def test_the_switch_is_the_one_that_is_wired() -> None:
    bright = line(three_mods(), "S101").switch
    assert bright is not None
    (plan, _) = wiring(three_mods_amp()).switches
    assert (bright.kind, bright.poles, bright.throws) == (plan.kind, 1, 2)
    terminals, positions = bright.contacts
    assert "A common to P1.top" in terminals
    assert "A1 to C101.1" in terminals
    assert "open (centre): all open" in positions
    assert (bright.sequence, bright.freed) == ("break before make", "")
    assert bright.hanging == ()  # no direct volts across a volume pot: nothing to charge, nothing pops
    cathode = line(three_mods(), "S102").switch
    assert cathode is not None
    assert cathode.hanging == ()  # the capacitor stays across the resistor that the switch brings in
    assert need(out=[], into=[{"fit": "C163", "across": "R7"}]).hanging == ("C163",)


def test_contacts_far_apart_need_two_poles() -> None:
    found = need(stock=[], hot=[{"bridge": "R8"}, {"fit": "R162", "across": "R4"}])
    assert (found.poles, found.throws) == (2, 2)
    assert "toggle on-on, 2 poles (DPDT)" in found.kind


def test_another_value_is_a_changeover() -> None:
    found = need(stock=[], small=[{"replace": "R16", "with": "470k"}])
    assert (found.poles, found.kind) == (1, "toggle on-on, 1 pole (SPDT)")
    assert found.freed  # the inverter's grid hangs free while it moves


def test_a_cathode_that_would_hang_free_is_named() -> None:
    # No toggle makes before it breaks; a rotary switch that does is asked for.
    found = need(stock=[], hot=[{"replace": "R7", "with": "2k7"}])
    assert (found.freed, found.sequence) == ("the cathode of V1B", "break before make")


def test_three_positions_that_all_close_need_a_rotary() -> None:
    found = need(a=[], b=[{"replace": "R7", "with": "2k7"}], c=[{"replace": "R7", "with": "10k"}])
    assert (found.poles, found.throws, found.kind) == (1, 3, "rotary, 1 pole, 3 ways, shorting")


def test_a_switch_that_nobody_can_wire_is_said() -> None:
    amp = modded(switches=[_way("S160", "one"), _way("S161", "two")])
    found = switch_need(amp, amp.all_switches[0])
    assert found.kind.startswith("no switch was found: ")
    assert "S160 and S161 both change R9" in found.kind
    assert (found.poles, found.contacts) == (0, ())


def _way(designator: str, control: str) -> dict[str, object]:
    positions = {"in": [], "out": [{"lift": "R9"}]}
    return {"designator": designator, "control": control, "drawn": "in", "positions": positions}


def test_a_pull_pot_is_named() -> None:
    positions = {"in": [], "out": [{"fit": "R162", "across": "R4"}]}
    switch = {"designator": "S160", "control": "pull", "drawn": "in", "positions": positions, "shaft": "P1"}
    amp = modded(parts={"R162": "10k"}, switches=[switch])
    assert "push-pull switch on the shaft of P1" in switch_need(amp, amp.all_switches[0]).kind
    assert build_circuit(amp).parts["P1"].kind == "pot"


# CSV ------------------------------------------------------------------------------------------------------------------


def test_the_csv_reads_back(tmp_path: Path) -> None:
    path = three_mods().write(tmp_path / "parts.csv")
    rows = list(csv.DictReader(io.StringIO(path.read_text("utf-8"))))
    assert [row["part"] for row in rows] == [each.part for each in three_mods().lines]
    given = {each.part: each.rating.volts for each in three_mods().lines}
    assert all(float(row["rating [V]"]) == given[row["part"]] for row in rows if row["rating [V]"])
    assert list(tmp_path.iterdir()) == [path]


@given(st.text(max_size=30), st.sampled_from(["=", "+", "-", "@", "\t=", "  =", "\uff1d", "\r@", ""]))
def test_no_cell_is_a_formula_or_breaks_a_row(text: str, start: str) -> None:
    hostile = PartLine("R1", start + text, start + text, start + text, "resistor", "1k")
    sheet = PartsList("amp", "stock", (hostile,)).csv()
    header, row = csv.reader(io.StringIO(sheet))
    assert len(header) == len(row)
    for cell in row:
        assert not cell.lstrip().startswith(("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20"))
        assert all(sign.isprintable() for sign in cell)


def test_the_text_says_what_and_why() -> None:
    text = three_mods().text()
    for words in ("To buy", "pole A: A common to P1.top", "plus at C103.1", "no source", "IEC 60063", "workshop amp A"):
        assert words in text


# A pot with a switch on its shaft -------------------------------------------------------------------------------------

PULL = {"designator": "S160", "control": "pull", "drawn": "in", "shaft": "P1",
        "positions": {"in": [], "out": [{"fit": "R162", "across": "R4"}]}}  # fmt: skip


def test_a_pot_with_a_switch_is_one_part_in_place_of_the_old_one() -> None:
    found = listed(modded(parts={"R162": "10k"}, switches=[PULL]))
    assert [each.part for each in found.lines] == ["P1", "R162"]
    pot = line(found, "P1")
    assert pot.wanted == "1M audio 15 % pot with push-pull switch on its shaft, on-on, 2 poles (DPDT)"
    assert (pot.place, pot.taper, pot.rating.watts > 0.0) == ("in place of 1M audio 15 %", "audio 15 %", True)
    assert pot.switch is not None
    assert pot.switch.designator == "S160"


def test_a_pot_of_another_track_and_its_switch_are_one_part() -> None:
    found = listed(modded([{"replace": "P1", "with": "500k"}], parts={"R162": "10k"}, switches=[PULL]))
    assert [each.part for each in found.lines] == ["P1", "R162"]
    assert line(found, "P1").wanted.startswith("500k audio 15 % pot with push-pull switch")


def test_a_pot_that_a_mod_brings_comes_with_its_switch() -> None:
    pot = {"track": "1M", "taper": "linear", "control": "fresh", "rotation": 0.5}
    fitted = {"fit": "P160", "pins": {pin: f"P1.{pin}" for pin in ("top", "wiper", "bottom")}}
    edits = [{"lift": "P1"}, fitted]
    amp = modded(edits, parts={"R162": "10k", "P160": pot}, switches=[PULL | {"shaft": "P160"}])
    found = listed(amp)
    assert [each.part for each in found.lines] == ["P160", "R162"]
    assert line(found, "P160").wanted.startswith("1M linear pot with push-pull switch")


# Equal mods -----------------------------------------------------------------------------------------------------------


def test_a_mod_written_otherwise_asks_for_the_same_parts() -> None:
    """The same capacitor at the same two nets, by whatever lugs of them it is described."""
    ways: list[dict[str, object]] = [
        {"across": "R11"},
        {"between": ["R11.1", "R11.2"]},
        {"between": ["V2A.cathode", "ground"]},
        {"pins": {"1": "R11.1", "2": "ground"}},
        {"between": ["ground", "V2A.cathode"]},
    ]
    asked = []
    for way in ways:
        found = line(listed(modded([{"fit": "C162", **way}], parts={"C162": "22u"})), "C162")
        plus = "C162.1" if "C162.1" in found.rating.make else "C162.2"
        asked.append(
            (found.wanted, found.rating.volts, found.rating.tolerance, found.rating.make.replace(plus, "plus"))
        )
    assert len(set(asked)) == 1
