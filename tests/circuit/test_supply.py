"""Supplies from mains to rails: what is found of them, and how the mean law stands to the rectifiers themselves."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim import OperatingPoint, load_amp, load_rectifier, load_semiconductor, parse_amp, simulate
from ampsim.base.errors import DescriptionError, EngineError
from ampsim.circuit.build import build_circuit
from ampsim.circuit.supply.averaged import mean_numbers, short_circuit_amps, supplied
from ampsim.circuit.supply.mean_law import fitted_numbers, mean_current
from ampsim.circuit.supply.paths import Rectified, Way, mains_side
from ampsim.circuit.supply.steady import Filter, Supply
from ampsim.circuit.supply.vacuum_diode import drop_volts, vacuum_diode
from ampsim.circuit.switches.moving import moving
from ampsim.library.files import models, read_toml
from ampsim.simulation.supplies import supplies_at_rest

TYPES = ("EZ80", "EZ81", "GZ34", "5Y3GT", "5U4GB")


@pytest.mark.parametrize("name", TYPES)
def test_the_drop_is_the_current_turned_round(name):
    p = dict(load_rectifier(name).parameters)
    amps = np.geomspace(1e-7, 1.0, 40)
    assert vacuum_diode(p, drop_volts(p, amps))[0] == pytest.approx(amps, rel=1e-9)


def full_wave(device, volts=300.0, ohms=120.0, hertz=50.0, net="b"):
    ways = tuple(Way(sign * np.sqrt(2.0) * volts, ohms, (device,), ("V1",)) for sign in (1.0, -1.0))
    return Rectified(net, "b", 1.0, hertz, ways, "PT1")


RIPPLE = Filter((), (("b", "0", 40e-6),), ())
CHOKE = Filter((("middle", "b", 150.0),), (("b", "0", 40e-6),), (("in", "middle", 10.0),))


@settings(max_examples=12, deadline=None)
@given(
    kind=st.sampled_from([*TYPES, "1N4007"]),
    volts=st.floats(60.0, 500.0),
    ohms=st.floats(10.0, 400.0),
    choke=st.booleans(),
    share=st.floats(0.02, 0.6),
)
def test_the_mean_law_keeps_to_the_rectifier(kind, volts, ohms, choke, share):
    device = load_semiconductor(kind) if kind == "1N4007" else load_rectifier(kind)
    source = full_wave(device, volts, ohms, net="in" if choke else "b")
    behind = CHOKE if choke else RIPPLE
    law = dict(mean_numbers(source, behind))
    supply, amps = Supply(behind, source), share * short_circuit_amps(source)
    loads = np.where(np.array(supply.nets) == "b", amps, 0.0)[:, None]
    period = supply.settled(loads)
    below = source.peak - float(period.mean(source.net)[0])
    # The volts at which the law has the same current.
    tried = np.linspace(0.0, 1.2 * source.peak, 20001)
    ours = float(np.interp(amps, mean_current(law, tried)[0], tried))
    assert ours == pytest.approx(below, abs=0.006 * source.peak)
    assert float(period.total[0]) == pytest.approx(amps, rel=1e-4)


def test_a_period_is_the_same_when_it_is_gone_through_again():
    supply = Supply(RIPPLE, full_wave(load_rectifier("GZ34")))
    loads = np.array([[0.01, 0.1, 0.3]])
    period = supply.settled(loads)
    states = np.array([period.volts["b"][0]])
    for _ in range(3):
        states = supply.through(states, loads)
    assert states[0] == pytest.approx(period.volts["b"][0], abs=1e-4)


def test_where_it_does_not_come_to_rest_it_is_said_which_supply(monkeypatch):
    monkeypatch.setattr("ampsim.circuit.supply.steady._PASSES", 1)
    with pytest.raises(EngineError, match="supply from PT1 through V1 does not come to rest"):
        Supply(RIPPLE, full_wave(load_rectifier("GZ34"))).settled(np.array([[0.1]]))


def test_a_mean_law_never_falls():
    volts = np.cumsum(np.geomspace(0.1, 40.0, 30))
    law = fitted_numbers(volts, 1e-5 * volts**1.7)
    far = np.geomspace(1e3, 1e15, 100)  # where a solver may try it
    tried = np.concatenate([-far[::-1], np.linspace(-50.0, 900.0, 500), far])
    assert (np.diff(mean_current(law, tried)[0]) > 0.0).all()


@pytest.mark.parametrize("name", ["power-supply", "bias-supply"])
def test_the_operating_point_has_the_mean_volts_of_the_period(name):
    amp = load_amp(models() / "stages" / f"{name}.toml")
    rest = simulate(amp, OperatingPoint())["voltage"].squeeze()
    for found in supplies_at_rest(amp):
        for rail in found.net_by_rail:
            if rail in rest.node:
                assert found.volts(rail) == pytest.approx(float(rest.sel(node=rail)), rel=1e-3)
        # The mean of what all ways carry is what the amp draws.
        assert sum(each.mean_amps for each in found.duties) * len(found.source.ways) / len(found.duties) == (
            pytest.approx(found.drawn, rel=5e-3)
        )


HALVES = "250-0-250"


def supply_amp(wires, parts, rails=()):
    tables = {
        "name": "supply",
        "parts": {"R8": "1M", "R9": "1M", "PT1": {"mains": 230, "primary_resistance": 20, "windings": {
            "ht": {"volts": HALVES, "resistance": 100, "tap": 60}}}} | parts,
        "rails": list(rails),
        "stages": [{"name": "all", "template": "free wiring", "wires": {
            "R8": ["in", "out"], "R9": ["out", "ground"]} | wires}],
    }  # fmt: skip
    return parse_amp(tables, "supply.toml")


GROUNDED = {"ht_a": "a", "ht_tap": "t", "ht_centre": "ground", "ht_b": "b"}


def test_every_way_of_current_is_found_with_its_resistance():
    amp = supply_amp(
        {"PT1": GROUNDED, "V1": ["a", "b", "k"], "R1": ["k", "plus"], "C1": ["plus", "ground"],
         "R2": ["plus", "ground"], "D1": ["minus", "d"], "R3": ["t", "d"], "C2": ["minus", "ground"],
         "R4": ["minus", "ground"]},
        {"V1": "EZ81", "R1": "47", "C1": "47u", "R2": "10k", "D1": "1N4007", "R3": "1k", "C2": "47u", "R4": "47k"},
    )  # fmt: skip
    plus, minus = sorted(mains_side(build_circuit(amp)).rectified, key=lambda each: -each.sign)
    reflected = 20.0 * (250.0 / 230.0) ** 2
    assert [each.ohms for each in plus.ways] == pytest.approx([50.0 + 47.0 + reflected] * 2)
    assert sorted(each.peak for each in plus.ways) == pytest.approx([-250.0 * 2**0.5, 250.0 * 2**0.5])
    assert (plus.sign, minus.sign, minus.smooth) == (1.0, -1.0, "n1_all_minus")
    assert minus.ways[0].ohms == pytest.approx(100.0 * 60.0 / 500.0 + 1e3 + 20.0 * (60.0 / 230.0) ** 2)


def test_equal_circuits_have_equal_volts():
    """A resistor between two places of the mains side is the same as two in parallel of twice its value."""
    wires = {"PT1": GROUNDED, "V1": ["a", "b", "k"], "R1": ["k", "plus"], "C1": ["plus", "ground"],
             "R2": ["plus", "ground"]}  # fmt: skip
    parts = {"V1": "5Y3GT", "R1": "100", "C1": "22u", "R2": "5k"}
    one = supply_amp(wires, parts)
    two = supply_amp(wires | {"R5": ["k", "plus"]}, parts | {"R1": "200", "R5": "200"})
    volts = [float(simulate(amp, OperatingPoint(), nodes=["C1.1"])["voltage"].squeeze()) for amp in (one, two)]
    assert volts[0] == pytest.approx(volts[1], rel=1e-9)


def test_a_supply_that_is_switched_off_at_its_middle_gives_nothing():
    wires = {"PT1": GROUNDED | {"ht_centre": "c"}, "V1": ["a", "b", "k"], "C1": ["k", "ground"], "R2": ["k", "ground"],
             "R6": ["c", "ground"]}  # fmt: skip
    parts = {"V1": "EZ81", "C1": "47u", "R2": "10k", "R6": "1G"}
    volts = float(simulate(supply_amp(wires, parts), OperatingPoint(), nodes=["C1.1"])["voltage"].squeeze())
    assert abs(volts) < 0.1


def test_given_rails_stay_as_they_are():
    wired = build_circuit(load_amp("workshop-a"))
    assert supplied(wired) is wired


@pytest.mark.parametrize("cut", [["PT1.ht_centre", "ground"], ["V2.cathode", ["C2.1", "T1.primary_b", "CH1.1"]]])
def test_a_standby_switch_on_its_way_breaks_what_it_breaks_at_rest(cut):
    tables = read_toml(models() / "stages" / "power-supply.toml")
    tables["switches"] = [
        {"designator": "S1", "control": "standby", "positions": {"play": [], "standby": [{"cut": cut}]}}
    ]
    amp = parse_amp(tables, "standby.toml")
    on, off = ({"standby": each} for each in ("play", "standby"))
    volts = simulate(amp, OperatingPoint(), positions=[on, off], nodes=["B1"])["voltage"].values.ravel()
    assert volts[0] == pytest.approx(275.4, abs=0.5)
    assert abs(volts[1]) < 0.1
    wired = supplied(moving(amp, (("standby", "play"),), "standby", "standby"))
    (law,) = [each for each in wired.elements if each.kind == "mean rectifier"]
    contacts = [each for each in wired.elements if each.kind == "contact" and law.net("2") in dict(each.pins).values()]
    # Behind the rectifier lies the contact alone, and on its other side the reservoir.
    assert [wired.contacts[each.designator].closed for each in contacts] == ["before"]
    assert wired.net("C2.1") in dict(contacts[0].pins).values()


def doubler_amp(middle_ohms):
    """A voltage doubler with a load at its rail and one at its middle."""
    wires = {"PT1": {"ht_a": "a", "ht_b": "mid"}, "D1": ["a", "plus"], "D2": ["ground", "a"], "C1": ["plus", "mid"],
             "C2": ["mid", "ground"], "R2": ["plus", "ground"], "R3": ["mid", "ground"]}  # fmt: skip
    return supply_amp(wires, {"D1": "1N4007", "D2": "1N4007", "C1": "47u", "C2": "68u", "R2": "15k", "R3": middle_ohms})


def doubler_in_time(amp, ohms, middle_ohms, steps=8000, periods=40):
    """The same circuit apart from ampsim, in small steps: mean volts of rail and middle, swing of the rail [V]."""
    diode = dict(amp.semiconductor_by_type["1N4007"].parameters)
    amps = np.concatenate([[0.0], np.geomspace(1e-9, 300.0, 4000)])
    drop = diode["emission"] * 0.025865 * np.log1p(amps / diode["saturation_amps"]) + amps * (
        diode["series_ohms"] + ohms
    )
    force, step = 500.0 * 2**0.5 * np.cos(2.0 * np.pi * np.arange(steps) / steps), 0.02 / steps
    upper, lower, kept = 600.0, 600.0, []
    for number in range(steps * periods):
        e = force[number % steps]
        up, down = np.interp([e - upper, -e - lower], drop, amps)
        drawn, middle = (upper + lower) / 15e3, lower / middle_ohms
        upper += step * (up - drawn) / 47e-6
        lower += step * (down - drawn - middle) / 68e-6
        if number >= steps * (periods - 1):
            kept.append((upper + lower, lower))
    rail, mid = np.array(kept).T
    return rail.mean(), mid.mean(), np.ptp(rail)


def test_a_voltage_doubler_is_that_of_an_integration_apart():
    amp = doubler_amp("22k")
    (found,) = supplies_at_rest(amp)
    rail, middle, swing = doubler_in_time(amp, 100.0 + 20.0 * (500.0 / 230.0) ** 2, 22e3)
    nets = found.source.ways[1].net, found.source.ways[0].net
    period = {net: (float(found.period.mean(net)[0]), float(found.period.swing(net)[0])) for net in nets}
    assert period[nets[0]] == (pytest.approx(rail, rel=2e-3), pytest.approx(swing, rel=0.02))
    assert period[nets[1]][0] == pytest.approx(middle, rel=2e-3)
    rest = simulate(amp, OperatingPoint(), nodes=["R2.1", "R3.1"])["voltage"].squeeze()
    assert [float(each) for each in rest] == pytest.approx([rail, middle], rel=4e-3)


def test_heaters_lower_what_every_winding_gives():
    wires = {"PT1": GROUNDED, "V1": ["a", "b", "k"], "C1": ["k", "ground"], "R2": ["k", "ground"]}
    parts = {"V1": "EZ81", "C1": "47u", "R2": "10k"}
    amp = supply_amp(wires, parts)
    windings = {"ht": {"volts": HALVES, "resistance": 100, "tap": 60}, "heater": {"volts": 6.3, "resistance": 0.1,
                "load": 6}}  # fmt: skip
    with_heaters = supply_amp(wires, parts | {"PT1": {"mains": 230, "primary_resistance": 20, "windings": windings}})
    peaks = [supplies_at_rest(each)[0].source.peak for each in (amp, with_heaters)]
    assert peaks[1] / peaks[0] == pytest.approx(1.0 - 20.0 * 6.0 * 6.3 / 230.0 / 230.0)


@pytest.mark.parametrize("capacitor", ["47u", "100n"])
def test_a_rectifier_behind_a_capacitor_is_refused_with_its_reason(capacitor):
    """A half-wave doubler, and the bias by a capacitor that some amps have."""
    wires = {"PT1": GROUNDED, "V1": ["a", "b", "k"], "C1": ["k", "ground"], "R2": ["k", "ground"], "C3": ["a", "x"],
             "D1": ["x", "ground"], "R3": ["x", "minus"], "C4": ["minus", "ground"],
             "R4": ["minus", "ground"]}  # fmt: skip
    parts = {"V1": "EZ81", "C1": "47u", "R2": "10k", "C3": capacitor, "D1": "1N4007", "R3": "47k", "C4": "22u",
             "R4": "100k"}  # fmt: skip
    with pytest.raises(DescriptionError, match="D1 gets its current through C3"):
        supplied(build_circuit(supply_amp(wires, parts)))


def test_a_supply_settles_where_the_current_through_its_choke_just_ceases():
    """Two chokes in a row round the critical load: whole steps of Newton's method went back and forth for ever."""
    source = full_wave(load_semiconductor("1N4007"), 366.0, 78.7, net="in")
    resistors = (("coil_1", "b", 147.0), ("coil_2", "b2", 122.2), ("b2", "b3", 10129.9))
    capacitors = (("b", "0", 28.22e-6), ("b2", "0", 21.87e-6), ("b3", "0", 39.0e-6))
    given = Supply(Filter(resistors, capacitors, (("in", "coil_1", 7.7085), ("b", "coil_2", 6.5898))), source)
    amps = np.geomspace(4e-4, 4.0, 40)
    loads = np.zeros((len(given.nets), len(amps)))
    loads[given.nets.index("b")] = amps
    assert given.settled(loads).total == pytest.approx(amps, rel=1e-3, abs=1e-6)
