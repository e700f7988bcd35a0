"""The amps that come along against hand calculation: bias on the load line, gain from mu and plate resistance."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from ampsim.base.quantities import OHM, parse_value
from ampsim.circuit.amp import Amp
from ampsim.circuit.valves.evaluation import currents, slopes
from ampsim.library.loader import load_amp, load_valve
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.response import simulate


def ohms(text: str) -> float:
    return parse_value(text, OHM)


def triode_at_rest(kind: str, supply: float, load: float, cathode: float) -> tuple[float, float]:
    """Plate and cathode volts where the load line meets the valve's own bias, both against ground."""
    valve = load_valve(kind)

    def too_much(milliamps: float) -> float:
        foot = milliamps * cathode / 1e3
        plate = supply - milliamps * load / 1e3 - foot
        return milliamps - 1e3 * float(currents(valve, max(plate, 0.0), -foot).plate)

    amps = brentq(too_much, 0.0, 1e3 * supply / (load + cathode))
    return supply - amps * load / 1e3, amps * cathode / 1e3


def rest(amp: Amp) -> dict[str, float]:
    found = simulate(amp, OperatingPoint())
    volts = dict(zip(found.node.values, found.voltage.values.ravel(), strict=True))
    return volts | {
        f"I {name}": value for name, value in zip(found.branch.values, found.current.values.ravel(), strict=True)
    }


TRIODES = [  # amp, valve, type, rail, plate load, cathode resistor
    ("kitchen", "V1A", "12AX7", "B3", "100k", "1k8"),
    ("ballroom", "V1A", "12AX7", "B4", "100k", "1k5"),
    ("ballroom", "V3B", "12AX7", "B4", "100k", "820"),
    ("brickworks", "V1A", "12AX7", "B4", "120k", "2k2"),
    ("brickworks", "V3B", "12AX7", "B3", "100k", "1k5"),
    ("boathouse", "V1A", "12AX7", "B3", "150k", "2k7"),
    ("boathouse", "V1B", "12AX7", "B3", "100k", "2k2"),
    ("switchyard", "V1A", "12AX7", "B3", "100k", "1k5"),
]


@pytest.mark.parametrize(("name", "valve", "kind", "rail", "load", "cathode"), TRIODES)
def test_triodes_rest_where_the_load_line_says(
    name: str, valve: str, kind: str, rail: str, load: str, cathode: str
) -> None:
    volts = rest(load_amp(name))
    plate, foot = triode_at_rest(kind, volts[rail], ohms(load), ohms(cathode))
    assert volts[f"{valve}.plate"] == pytest.approx(plate, rel=0.005)
    assert volts[f"{valve}.cathode"] == pytest.approx(foot, rel=0.005)


def gain_of(kind: str, plate: float, foot: float, load: float, degeneration: float = 0.0) -> float:
    """mu RL / (RL + rp + (mu + 1) Rk), mu and rp at rest; RL is all that hangs on the plate."""
    at = slopes(load_valve(kind), plate - foot, -foot)
    mu, rp = float(at.mu), float(at.rp)
    return mu * load / (load + rp + (mu + 1.0) * degeneration)


def beside(*several: str) -> float:
    return 1.0 / sum(1.0 / ohms(each) for each in several)


GAINS = [  # amp, valve, type, what hangs on the plate, unbypassed resistor; 1 kHz, where couplings are short circuits
    ("kitchen", "V1B", "12AX7", ("100k", "220k"), "1k8"),
    ("ballroom", "V3B", "12AX7", ("100k", "2M"), "0.001"),  # the leak of a long-tailed pair ends on half the signal
    ("brickworks", "V3B", "12AX7", ("100k", "1M"), "0.001"),
    ("boathouse", "V1A", "12AX7", ("150k", "500k"), "0.001"),
    ("boathouse", "V1B", "12AX7", ("100k",), "2k2"),
    ("switchyard", "V1B", "12AX7", ("100k", "1M"), "0.001"),
]


@pytest.mark.parametrize(("name", "valve", "kind", "loads", "degeneration"), GAINS)
def test_triodes_amplify_as_mu_and_plate_resistance_say(
    name: str, valve: str, kind: str, loads: tuple[str, ...], degeneration: str
) -> None:
    amp = load_amp(name)
    volts = rest(amp)
    swept = simulate(amp, FrequencySweep(1000.0, 2000.0, 10), nodes=[f"{valve}.grid", f"{valve}.plate"]).voltage
    found = float(np.abs(swept.isel(node=1, frequency=0) / swept.isel(node=0, frequency=0)).squeeze())
    expected = gain_of(kind, volts[f"{valve}.plate"], volts[f"{valve}.cathode"], beside(*loads), ohms(degeneration))
    assert found == pytest.approx(expected, rel=0.02)


def test_the_rails_drop_what_their_resistors_carry() -> None:
    """From the amp's own currents, in milliamperes, and the resistors of the drawing."""
    kitchen = rest(load_amp("kitchen"))
    preamp = 1e3 * (kitchen["I V1A.plate"] + kitchen["I V1B.plate"])
    screen, plate = 1e3 * kitchen["I V2.screen"], 1e3 * kitchen["I V2.plate"]
    assert kitchen["B2"] - kitchen["B3"] == pytest.approx(22.0 * preamp, rel=1e-3)
    assert kitchen["B1"] - kitchen["B2"] == pytest.approx(4.7 * (preamp + screen), rel=1e-3)
    assert kitchen["V2.cathode"] == pytest.approx(0.47 * (plate + screen), rel=1e-3)
    glass = rest(load_amp("glasshouse"))
    quad = sum(1e3 * glass[f"I {valve}.{pin}"] for valve in ("V3", "V4", "V5", "V6") for pin in ("plate", "screen"))
    assert glass["V3.cathode"] == pytest.approx(0.062 * quad, rel=1e-3)
    assert glass["V1.cathode"] == pytest.approx(2.2e3 * (glass["I V1.plate"] + glass["I V1.screen"]), rel=1e-3)
    assert glass["V1.screen"] == pytest.approx(glass["B4"] - 1e6 * glass["I V1.screen"], rel=1e-3)


def test_the_pentode_amplifies_as_its_slope_says() -> None:
    """gm (rp beside all that hangs on the plate); its data sheet gives about 180 for these resistors on 250 V."""
    amp = load_amp("glasshouse")
    volts = rest(amp)
    foot = volts["V1.cathode"]
    at = slopes(load_valve("EF86"), volts["V1.plate"] - foot, -foot, volts["V1.screen"] - foot)
    swept = simulate(amp, FrequencySweep(400.0, 800.0, 10), nodes=["V1.grid", "V1.plate"]).voltage.isel(frequency=0)
    found = float(np.abs(swept.isel(node=1) / swept.isel(node=0)).squeeze())
    load = 1.0 / (1.0 / ohms("220k") + 1.0 / ohms("1M") + 1.0 / float(at.rp))
    assert found == pytest.approx(float(at.gm) * load, rel=0.03)
    assert found == pytest.approx(180.0, rel=0.15)


def test_fixed_bias_and_ultra_linear_screens() -> None:
    """No current into the grids, so they sit at the rail; a tap of a winding is at rest where its centre is."""
    for name, bias in (("brickworks", -38.0), ("boathouse", -36.0)):
        volts = rest(load_amp(name))
        grid = {"brickworks": "V5", "boathouse": "V4"}[name]
        assert volts[f"{grid}.grid"] == pytest.approx(bias, abs=0.05)
    screen, plate = 1e3 * volts["I V4.screen"], 1e3 * volts["I V4.plate"]
    assert volts["V4.screen"] == pytest.approx(volts["B1"] - 0.47 * screen - 0.075 * 0.43 * (plate + screen), abs=0.6)


def test_a_zener_holds_the_rail_of_the_jfet() -> None:
    volts = rest(load_amp("switchyard"))
    assert volts["B12"] == pytest.approx(12.0, rel=0.06)
    drain = (volts["B12"] - volts["Q1.drain"]) / ohms("15k")
    assert volts["Q1.source"] == pytest.approx(drain * ohms("560"), rel=1e-3)


def test_the_bias_supply_divides_what_its_diode_leaves() -> None:
    """4.7k, half of 25k above the wiper, half of it and 27k below; nothing flows on, so it is the same behind 100k."""
    places = ["D1.anode", "C", "bias", "V5.grid"]
    found = simulate(load_amp("ballroom"), OperatingPoint(), nodes=places).voltage.values.ravel()
    volts = dict(zip(places, found, strict=True))
    expected = volts["D1.anode"] * (12.5 + 27.0) / (4.7 + 25.0 + 27.0)
    for place in ("C", "bias", "V5.grid"):
        assert volts[place] == pytest.approx(expected, abs=0.05)
    assert -50.0 * 2.0**0.5 < volts["D1.anode"] < -0.8 * 50.0 * 2.0**0.5


@pytest.mark.parametrize(("name", "winding"), [("kitchen", 290.0), ("ballroom", 345.0)])
def test_a_rectifier_valve_leaves_less_than_the_peak_and_more_than_the_mean(name: str, winding: float) -> None:
    """Behind a reservoir between the peak of half a winding and its mean over a period, 0.9 of the volts written."""
    assert 0.9 * winding < rest(load_amp(name))["B1"] < 2.0**0.5 * winding
