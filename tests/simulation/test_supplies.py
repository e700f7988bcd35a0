"""Supplies from mains to rails in the simulations of an amp: in time, at the meter, against ratings, in hum."""

import numpy as np
import pytest

from ampsim import OperatingPoint, Sine, Transient, apply_mods, load_amp, parse_amp, parse_mod, simulate
from ampsim.circuit.build import build_circuit
from ampsim.circuit.values import at_supply
from ampsim.library.files import models, read_toml
from ampsim.library.supply_overview import describe_supplies
from ampsim.simulation.monte_carlo import spread
from ampsim.simulation.supplies import supplies_at_rest
from ampsim.simulation.timestep.solver import play
from ampsim.simulation.unpowered import dead_amp
from ampsim.studies.noise.hum import hum_spectrum
from ampsim.studies.ratings.devices import device_ratings
from ampsim.studies.ratings.simulate import stress
from ampsim.work.cautions.sheet import caution_sheet


@pytest.fixture(scope="module")
def amp():
    return load_amp(models() / "stages" / "power-supply.toml")


def changed(amp, **parts):
    edits = [{"replace": name, "with": value} for name, value in parts.items()]
    return apply_mods(amp, parse_mod({"name": "other parts", "reason": "a test", "edits": edits}))


def test_a_sagging_supply_plays_as_ngspice_has_it(amp):
    tone = Sine(1000.0, 6.0, 0.02, 4)
    told = simulate(amp, Transient(tone, 20e-6, 1e-5), nodes=["speaker", "B1"])["voltage"].squeeze()
    rate = 48000.0
    times = np.arange(int(0.02 * rate)) / rate
    for node in ("speaker", "B1"):
        heard = play(amp, tone.volts(times) if hasattr(tone, "volts") else 6.0 * np.sin(2e3 * np.pi * times), rate,
                     node=node).volts  # fmt: skip
        wanted = np.interp(times, told["time"].values, told.sel(node=node).values)
        late = times > 0.004
        assert np.sqrt(np.mean((heard - wanted)[late] ** 2)) < 0.005 * np.abs(wanted).max()


def test_another_rectifier_choke_or_winding_moves_the_rails_the_right_way(amp):
    def rail(some):
        return float(simulate(some, OperatingPoint(), nodes=["B1"])["voltage"].squeeze())

    assert rail(changed(amp, V2="5Y3GT")) < rail(amp) < rail(changed(amp, V2="EZ81")) < rail(changed(amp, V2="GZ34"))
    less = {"mains": 207, "primary": 230, "primary_resistance": 22,
            "windings": {"ht": {"volts": "250-0-250", "resistance": 310}}}  # fmt: skip
    lower = rail(changed(amp, PT1=less))
    assert lower == pytest.approx(0.9 * rail(amp), rel=0.02)


def test_ripple_behind_the_choke_is_what_the_choke_leaves(amp):
    """w^2 L C - 1 of the filter at twice the mains (textbook formula), for the ripple's first harmonic."""
    found = supplies_at_rest(amp)[0]
    first = [np.abs(np.fft.rfft(found.period.volts[f"rail_{rail}"][:-1, 0])[1]) for rail in ("b1", "b2")]
    assert first[0] / first[1] == pytest.approx((2.0 * np.pi * 100.0) ** 2 * 10.0 * 47e-6 - 1.0, rel=0.01)


def test_a_meter_reads_the_windings(amp):
    dead = dead_amp(amp)
    assert dead.ohms("PT1.ht_a", "PT1.ht_b") == pytest.approx(310.0)
    assert dead.ohms("CH1.1", "CH1.2") == pytest.approx(270.0, rel=1e-3)


def test_a_rectifier_beyond_its_ratings_is_found(amp):
    harsh = changed(amp, C2="150u", PT1={"mains": 230, "windings": {"ht": {"volts": "330-0-330", "resistance": 60}}})
    table = device_ratings(stress([harsh], tones=[Sine(1000.0, 0.1, 0.004, 2)]))
    table = table[table["device"] == "V2"].set_index("quantity")
    share = table["value"] / table["limit"]
    assert share["peak current of each plate"] > 1.0
    assert share["reservoir"] == pytest.approx(3.0)
    assert share["resistance asked for before each plate"] > 1.0
    assert share["volts (rms) at each plate"] < 1.0
    assert table["value"]["reverse volts"] == pytest.approx(2.0 * 330.0 * 2**0.5, rel=0.15)


def test_places_of_the_mains_side_are_there_although_nothing_is_simulated_at_them(amp):
    wired = build_circuit(amp)
    assert wired.net("V2.plate_a") == wired.net("PT1.ht_a")
    rest = simulate(amp, OperatingPoint(), nodes=["V2.plate_a", "V2.cathode"])["voltage"].squeeze()
    assert float(rest[0]) == 0.0 < float(rest[1])


def test_a_choke_loses_inductance_to_its_direct_current(amp):
    choke = {"inductance": 10, "resistance": 270}
    plain, full = (supplies_at_rest(changed(amp, CH1=choke | more))[0]
                   for more in ({}, {"saturation_current": "53m"}))  # fmt: skip
    assert full.swing("B2") == pytest.approx(2.0 * plain.swing("B2"), rel=0.02)


def test_check_says_what_the_rectifier_carries_and_when(amp):
    text = describe_supplies(amp)
    duty = supplies_at_rest(amp)[0].duties[0]
    assert f"{1e3 * duty.peak_amps:.3g}" in text
    assert "V2 is indirectly heated and conducts after about 11 s" in text
    assert describe_supplies(load_amp("workshop-a")) == ""


def test_cautions_name_the_live_winding_and_the_peak_on_the_reservoir(amp):
    sheet = caution_sheet(amp)
    text = " ".join(sheet.sentences)
    assert "PT1, winding ht: 500 V alternating (707 V peak)" in text
    assert max(each.volts for each in sheet.charges) == pytest.approx(250.0 * 2**0.5, rel=0.01)


def test_more_mains_is_more_of_everything(amp):
    higher = at_supply(amp, 1.1)
    volts = [float(simulate(each, OperatingPoint(), nodes=["B1"])["voltage"].squeeze()) for each in (amp, higher)]
    assert volts[1] == pytest.approx(1.1 * volts[0], rel=0.02)


@pytest.mark.parametrize("name", ["ballroom", "kitchen"])
def test_every_healthy_amp_rests_where_its_mains_put_it(name):
    """Within a seventh of the amp as drawn, not far off, where a law's current is all rounding."""
    drawn = load_amp(name)
    run = spread(drawn, 120, 1, nodes=["B1"], analysis=OperatingPoint())
    share = run["voltage"].squeeze() / float(run["nominal"].squeeze())
    assert ((share > 0.86) & (share < 1.14)).all()


def test_hum_has_the_ripple_of_the_period_at_every_supply_node(amp):
    found = hum_spectrum(amp)
    volts = supplies_at_rest(amp)[0].period.volts
    for rail in ("B1", "B2"):
        wave = volts[f"rail_{rail.lower()}"][:-1, 0]
        first = abs(np.fft.rfft(wave)[1]) * np.sqrt(2.0) / len(wave)
        ripple = abs(found["ripple"].sel(rail=rail).values.ravel()[0])
        assert ripple == pytest.approx(first, rel=0.03)


def test_resistors_and_windings_before_the_rectifier_are_held_against_their_ratings():
    """A plate resistor of 100 ohm has the watts of the rms current; half a winding is held against its rating."""
    tables = read_toml(models() / "stages" / "power-supply.toml")
    tables["parts"] |= {"R60": "100", "R61": "100", "PT1": {"mains": "230", "primary_resistance": "22", "windings": {
        "ht": {"volts": "250-0-250", "resistance": "310", "current": "50m"}}}}  # fmt: skip
    tables["stages"][-1] |= {"plate_resistor_a": "R60", "plate_resistor_b": "R61"}
    amp = parse_amp(tables, "supply.toml")
    rms = supplies_at_rest(amp)[0].duties[0].rms_amps
    response = stress(amp, tones=[Sine(1000.0, 0.1, 0.004, 2)])
    watts = float(response["part_watts"].sel(part="R60", state="rest").squeeze())
    assert watts == pytest.approx(100.0 * rms**2)
    table = device_ratings(response).set_index("device")
    row = table.loc["PT1 ht a to centre"]
    assert (row["value"], row["limit"]) == (pytest.approx(rms), 0.05)
    assert row["value"] > row["limit"]


def test_the_ripple_current_of_a_reservoir_is_what_the_rectifier_gives_beyond_the_load(amp):
    """The alternating part of the pulses, less what the choke lets through: sqrt(rms^2 - mean^2)."""
    found = supplies_at_rest(amp)[0]
    assert found.reservoir_amps == pytest.approx(np.sqrt(found.rms_amps**2 - found.drawn**2), rel=0.03)
    assert found.reservoirs == ("C2",)
