"""Semiconductors against closed forms and ngspice: at rest, small signals, in time, noise; and the compiled laws."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from ampsim import FrequencySweep, OperatingPoint, load_rectifier, load_semiconductor, parse_amp, simulate
from ampsim.circuit.amp import Amp
from ampsim.circuit.semiconductors.description import Semiconductor
from ampsim.circuit.semiconductors.laws import pieces_of
from ampsim.circuit.semiconductors.measuring import channel_current, channel_slope, diode_current, diode_volts
from ampsim.circuit.semiconductors.pieces import Piece
from ampsim.circuit.semiconductors.port_laws import PORT_LAWS
from ampsim.circuit.supply.mean_law import fitted_numbers
from ampsim.circuit.valves.grid import THERMAL_VOLTS
from ampsim.library.kinds import listing
from ampsim.simulation.analyses import NoiseSweep
from ampsim.simulation.timestep.branches import Seat
from ampsim.simulation.timestep.sockets import seats_of
from ampsim.simulation.timestep.solver import play
from ampsim.studies.noise.simulate import BOLTZMANN, CHARGE, KELVIN, noise_spectrum
from tests.figures.in_time import Case, errors
from tests.tools.loop_laws import at_volts

RECTIFIERS = listing()["rectifiers"]
DIODES = [name for name in listing()["semiconductors"] if load_semiconductor(name).family == "diode"]


def wired(parts: dict[str, Any], wires: dict[str, Any], *rails: dict[str, Any], name: str = "small") -> Amp:
    stage = {"name": "network", "template": "free wiring", "wires": wires}
    return parse_amp({"name": name, "parts": parts, "rails": list(rails), "stages": [stage], "sure": list(parts)})


def with_type(amp: Amp, device: Semiconductor) -> Amp:
    """The amp with another law in all its semiconductors of that type."""
    return replace(
        amp, semiconductors=tuple(device if each.type == device.type else each for each in amp.semiconductors)
    )


@st.composite
def diodes(draw: st.DrawFn) -> Semiconductor:
    """A diode by lot within the law's sense."""
    log = lambda low, high: 10.0 ** draw(st.floats(math.log10(low), math.log10(high)))  # noqa: E731
    numbers = {
        "saturation_amps": log(1e-15, 1e-5), "emission": draw(st.floats(1.0, 4.0)), "series_ohms": log(1e-2, 50.0),
        "breakdown_volts": log(3.0, 300.0), "breakdown_amps": 1e-3, "breakdown_emission": draw(st.floats(0.5, 5.0)),
        "breakdown_ohms": log(0.1, 50.0),
    }  # fmt: skip
    return replace(load_semiconductor("1N4148"), parameters=tuple(numbers.items()))


def on_supply(volts: float, ohms: float) -> Amp:
    """A diode forward and one backward from a supply, each behind a resistor."""
    wires = {"R1": ["B1", "out"], "D1": ["out", "ground"], "R2": ["B1", "back"], "D2": ["ground", "back"],
             "R3": ["in", "ground"]}  # fmt: skip
    parts = {"R1": ohms, "R2": ohms, "R3": "1k", "D1": "1N4148", "D2": "1N4148"}
    return wired(parts, wires, {"name": "B1", "volts": volts})


# Leaks so much that its back current is seen beside the conductance across every junction.
LEAKY = {
    "saturation_amps": 1e-5, "emission": 1.0, "series_ohms": 1.0, "breakdown_volts": 10.0, "breakdown_amps": 1e-3,
    "breakdown_emission": 1.0, "breakdown_ohms": 1.0,
}  # fmt: skip


@settings(max_examples=6)
@example(replace(load_semiconductor("1N4148"), parameters=tuple(LEAKY.items())), 1.0, 1.0)
@example(replace(load_semiconductor("1N4148"), parameters=tuple(LEAKY.items())), 0.2, 3.0)
@given(diodes(), st.floats(0.01, 400.0), st.floats(1.0, 6.0))
def test_any_diode_at_rest_has_the_current_of_its_law(device: Semiconductor, volts: float, decade: float) -> None:
    ohms = 10.0**decade
    found = simulate(with_type(on_supply(volts, ohms), device), OperatingPoint(), nodes=["D1.anode", "D2.cathode"])
    forward, back = found["voltage"].values.ravel()
    for across, through in ((forward, volts - forward), (-back, back - volts)):
        wanted = float(diode_current(device, across)) * ohms
        assert through == pytest.approx(wanted, rel=1e-4, abs=2e-6 * volts + 1e-11 * ohms)


@pytest.mark.parametrize("name", DIODES)
def test_a_decade_of_current_is_sixty_millivolts_times_its_emission(name: str) -> None:
    device = load_semiconductor(name)
    numbers = dict(device.parameters)
    least = max(1e3 * numbers["saturation_amps"], 1e-9)
    low, high = (diode_volts(device, amps) - amps * numbers["series_ohms"] for amps in (least, 10.0 * least))
    assert high - low == pytest.approx(numbers["emission"] * THERMAL_VOLTS * math.log(10.0), rel=1e-3)
    at = dict(device.parameters)["breakdown_volts"]
    assert float(diode_current(device, -at)) == pytest.approx(-numbers["breakdown_amps"], rel=1e-3)
    assert float(diode_current(device, 0.0)) == pytest.approx(0.0, abs=1.1e-12)


@pytest.mark.parametrize("name", DIODES)
def test_small_signals_see_the_slope_of_the_law(name: str) -> None:
    """A divider with 1 mA through the diode: RS + N Vt / I against the resistor that feeds it."""
    device, amps, ohms = load_semiconductor(name), 1e-3, 10e3
    amp = wired({"R1": ohms, "C1": "1m", "D1": name, "R2": "1k"},
                {"R1": ["B1", "out"], "D1": ["out", "ground"], "C1": ["in", "foot"], "R2": ["foot", "out"]},
                {"name": "B1", "volts": diode_volts(device, amps) + amps * ohms})  # fmt: skip
    numbers = dict(device.parameters)
    slope = numbers["series_ohms"] + numbers["emission"] * THERMAL_VOLTS / (amps + numbers["saturation_amps"])
    below = 1.0 / (1.0 / slope + 1.0 / ohms)
    gain = simulate(amp, FrequencySweep(1e3, 1e4, 1), nodes=["speaker"])["voltage"].values.ravel()[0]
    assert abs(gain) == pytest.approx(below / (below + 1e3), rel=1e-4)


def test_noise_of_a_diode_is_that_of_its_current() -> None:
    """Shot noise 2 q (I + IS) across the diode's own slope beside its resistor's 4 k T R, summed in power."""
    device, amps, ohms = load_semiconductor("1N4148"), 1e-4, 10e3
    volts = diode_volts(device, amps) + amps * ohms
    amp = wired({"R1": ohms, "D1": "1N4148", "R2": "1M"},
                {"R1": ["B1", "out"], "D1": ["out", "ground"], "R2": ["in", "ground"]},
                {"name": "B1", "volts": volts})  # fmt: skip
    found = noise_spectrum(amp, sweep=NoiseSweep(1e3, 1e4, 1))
    numbers = dict(device.parameters)
    junction = numbers["emission"] * THERMAL_VOLTS / amps
    share = ohms / (ohms + junction + numbers["series_ohms"])
    shot = 2.0 * CHARGE * amps * (junction * share) ** 2
    series = 4.0 * BOLTZMANN * KELVIN * numbers["series_ohms"] * share**2
    ours = found["contribution"].sel(contributor="D1").values.ravel()[0]
    assert ours == pytest.approx(math.sqrt(shot + series), rel=1e-3)
    assert found["kind"].sel(contributor="D1").item() == "diode"


@pytest.mark.parametrize("name", PORT_LAWS)
def test_compiled_port_law_and_slopes_are_those_of_the_law(name: str) -> None:
    law, rng = PORT_LAWS[name], np.random.default_rng(3)
    every = (pieces_of(load_semiconductor(kind)) for kind in listing()["semiconductors"])
    pieces = [piece for found in every for piece in found.laws if piece.law == name]
    pieces += [piece for kind in RECTIFIERS for piece in pieces_of(load_rectifier(kind)).laws if piece.law == name]
    if name == "mean rectifier":
        pieces = [Piece(name, "mean", fitted_numbers(np.linspace(0.5, 40.0, 30), np.linspace(0.1, 6.0, 30) ** 1.6), ())]
    # What no semiconductor has, a transformer's core does.
    pieces = pieces or [Piece(name, "any", dict.fromkeys(law.parameters, 0.03), ())]
    ports = len(law.units)
    for piece in pieces[:4]:
        seat = Seat(
            name, tuple(piece.numbers[each] for each in law.parameters), (("a", "b"), ("c", "b"), ("d", "b"))[:ports]
        )
        laid = seats_of([seat])
        for volts in rng.uniform(-30.0, 30.0, (60, ports)) * rng.choice([0.02, 0.1, 1.0], (60, 1)):
            amps, slopes = at_volts(laid, volts)
            rows = [0, 2][: len(law.currents(piece.numbers, *map(np.array, volts)))]
            for row, wanted in zip(rows, law.currents(piece.numbers, *map(np.array, volts)), strict=True):
                assert amps[row] == pytest.approx(float(wanted), rel=1e-9, abs=1e-14)
                for column in range(ports):
                    step = 1e-5 * (np.arange(ports) == column)
                    ends = [law.currents(piece.numbers, *map(np.array, volts + s * step)) for s in (1.0, -1.0)]
                    slope = float(ends[0][rows.index(row)] - ends[1][rows.index(row)]) / 2e-5
                    assert slopes[row, column] == pytest.approx(slope, rel=1e-4, abs=1e-9)


def test_many_rectifiers_on_one_supply_come_to_rest() -> None:
    """Junctions behind offsets of a thousand volts, a floating bridge and a zener: what ngspice once gave up on."""
    wires = {"R1": ["in", "a"], "C1": ["out", "low"], "R2": ["out", "low"], "R3": ["low", "ground"],
             "BR1": {"ac1": "a", "ac2": "ground", "plus": "out", "minus": "low"}, "R7": ["B1", "z"],
             "D7": ["ground", "z"], "D5": ["B1", "c"], "R5": ["c", "ground"]}  # fmt: skip
    parts = {"R1": "100", "BR1": "1N4007", "C1": "10u", "R2": "10k", "R3": "100k", "R7": "10k", "D7": "1N5242B",
             "D5": "1N4007", "R5": "100k"}  # fmt: skip
    amp = wired(parts, wires, {"name": "B1", "volts": 30.0})
    rest = simulate(amp, OperatingPoint(), nodes=["R2.1", "D7.cathode", "D5.cathode"])["voltage"].values.ravel()
    zener, diode = load_semiconductor("1N5242B"), load_semiconductor("1N4007")
    assert rest[0] == pytest.approx(0.0, abs=1e-6)
    assert rest[1] == pytest.approx(-diode_volts(zener, -(30.0 - rest[1]) / 10e3), rel=1e-4)
    assert rest[2] == pytest.approx(30.0 - diode_volts(diode, rest[2] / 100e3), rel=1e-4)


def pair(first: str, other: str, ohms: str) -> Amp:
    """Two diodes back to back behind a capacitor and a resistor."""
    wires = {"C1": ["in", "a"], "R1": ["a", "out"], "R2": ["out", "ground"], "C2": ["out", "ground"],
             "D1": ["out", "ground"], "D2": ["ground", "out"]}  # fmt: skip
    return wired({"R1": ohms, "R2": "1M", "C1": "100n", "C2": "1n", "D1": first, "D2": other}, wires,
                 name=f"{first} and {other} behind {ohms}")  # fmt: skip


def follower(name: str, volts: float) -> Amp:
    """A source follower with its gate at half the supply."""
    wires = {"C1": ["in", "g"], "R1": ["B1", "g"], "R2": ["g", "ground"], "R4": ["g", "gate"], "R3": ["out", "ground"],
             "Q1": {"drain": "B1", "gate": "gate", "source": "out"}}  # fmt: skip
    return wired({"C1": "100n", "R1": "1M", "R2": "1M", "R3": "10k", "R4": "1k", "Q1": name}, wires,
                 {"name": "B1", "volts": volts}, name=f"follower {name}")  # fmt: skip


def input_stage(name: str, sign: float = 1.0) -> Amp:
    """A common-source stage that biases itself."""
    wires = {"C1": ["in", "g"], "R1": ["g", "ground"], "R2": ["B1", "out"], "R3": ["s", "ground"],
             "C2": ["s", "ground"],
             "Q1": {"drain": "out", "gate": "g", "source": "s"}}  # fmt: skip
    return wired({"C1": "100n", "R1": "1M", "R2": "22k", "R3": "2k2", "C2": "22u", "Q1": name}, wires,
                 {"name": "B1", "volts": 18.0 * sign}, name=f"input stage {name}")  # fmt: skip


def turned(name: str) -> Semiconductor:
    """The p-channel type that is an n-channel type turned round."""
    device = load_semiconductor(name)
    numbers = dict(device.parameters) | {"threshold_volts": -dict(device.parameters)["threshold_volts"]}
    return replace(device, law=device.law.replace("n-channel", "p-channel"), parameters=tuple(numbers.items()))


def test_a_source_follower_and_a_stage_against_their_closed_forms() -> None:
    """Gain gm R / (1 + gm R) of one, -gm R of the other, gm from the law at the point where it stands."""
    for amp, place in ((follower("LND150", 100.0), "follower"), (input_stage("J201"), "stage")):
        rest = simulate(amp, OperatingPoint(), nodes=["Q1.drain", "Q1.gate", "Q1.source"])["voltage"].values.ravel()
        drain, gate = rest[0] - rest[2], rest[1] - rest[2]
        device = amp.semiconductors[0]
        gm = channel_slope(device, drain, gate)
        out = (channel_current(device, drain + 1e-3, gate) - channel_current(device, drain - 1e-3, gate)) / 2e-3
        wanted = gm * 10e3 / (1.0 + (gm + out) * 10e3) if place == "follower" else gm / (out + 1.0 / 22e3)
        gain = simulate(amp, FrequencySweep(1e3, 1e4, 1), nodes=["speaker"])["voltage"].values.ravel()[0]
        assert abs(gain) == pytest.approx(wanted, rel=5e-3)
        ohms, at = (10e3, rest[2]) if place == "follower" else (2.2e3, rest[2])
        assert channel_current(device, drain, gate) == pytest.approx(at / ohms, rel=1e-4)


def test_a_p_channel_type_turned_round_is_the_n_channel_type() -> None:
    amp = input_stage("J201")
    mirrored = replace(input_stage("J201", -1.0), semiconductors=(turned("J201"),))
    for first, other in ((amp, mirrored),):
        volts = [simulate(each, OperatingPoint(), nodes=["Q1.drain", "Q1.source"])["voltage"].values.ravel()
                 for each in (first, other)]  # fmt: skip
        np.testing.assert_allclose(volts[0], -volts[1], rtol=1e-6)
        gains = [simulate(each, FrequencySweep(1e3, 1e4, 1), nodes=["speaker"])["voltage"].values.ravel()[0]
                 for each in (first, other)]  # fmt: skip
        assert gains[0] == pytest.approx(gains[1], rel=1e-6)


def test_noise_of_a_channel_is_that_of_two_thirds_gm() -> None:
    amp = input_stage("J201")
    rest = simulate(amp, OperatingPoint(), nodes=["Q1.drain", "Q1.gate", "Q1.source"])["voltage"].values.ravel()
    gm = channel_slope(amp.semiconductors[0], rest[0] - rest[2], rest[1] - rest[2])
    found = noise_spectrum(amp, sweep=NoiseSweep(1e3, 1e4, 1))
    ours = found["contribution"].sel(contributor="Q1 channel").values.ravel()[0]
    assert ours == pytest.approx(22e3 * math.sqrt(4.0 * BOLTZMANN * KELVIN * gm * 2.0 / 3.0), rel=1e-2)


def halves(name: str) -> Amp:
    """A half-wave rectifier with a reservoir."""
    return wired({"R1": "100", "D1": name, "C1": "10u", "R2": "10k"},
                 {"R1": ["in", "a"], "D1": ["a", "out"], "C1": ["out", "ground"], "R2": ["out", "ground"]},
                 name=f"half-wave {name}")  # fmt: skip


def floating_bridge() -> Amp:
    """A bridge whose load hangs on ground by one resistor alone: a microampere too much is a tenth of a volt there."""
    wires = {"R1": ["in", "a"], "C1": ["out", "low"], "R2": ["out", "low"], "R3": ["low", "ground"],
             "BR1": {"ac1": "a", "ac2": "ground", "plus": "out", "minus": "low"}}  # fmt: skip
    return wired({"R1": "100", "BR1": "1N4007", "C1": "10u", "R2": "10k", "R3": "100k"}, wires, name="floating bridge")


@pytest.mark.parametrize("name", DIODES)
def test_a_net_between_two_diodes_that_block_is_where_ngspice_has_it(name: str) -> None:
    """Nothing but leakage and the conductance across every junction says where it is."""
    parts = {"R1": "10k", "R2": "47k", "R3": "22k", "R4": "1M", "C1": "100n", "D1": name, "D2": DIODES[0]}
    wires = {"C1": ["in", "top"], "R1": ["B1", "top"], "R2": ["top", "low"], "R3": ["low", "ground"],
             "R4": ["in", "ground"]}  # fmt: skip
    for diodes in ({"D1": ["top", "out"], "D2": ["low", "out"]}, {"D1": ["out", "top"], "D2": ["out", "low"]}):
        amp = wired(parts, wires | diodes, {"name": "B1", "volts": 12.0})
        rest = simulate(amp, OperatingPoint(), nodes=["speaker"])["voltage"].values.item()
        assert play(amp, np.zeros(2), 48e3).volts[0] == pytest.approx(rest, abs=3e-7)


def test_circuits_with_semiconductors_in_time_as_ngspice() -> None:
    circuits = [pair("1N4148", "1N4148", "10k"), pair("1N34A", "1N34A", "47k"), pair("LED-red", "1N4001", "1k"),
                pair("1N5231B", "1N5242B", "4k7"), halves("1N4007"), follower("LND150", 100.0),
                follower("DN2540", 200.0), follower("2N7000", 30.0), input_stage("J201"),
                floating_bridge(), replace(input_stage("J201", -1.0), semiconductors=(turned("J201"),))]  # fmt: skip
    given = [Case(amp, {}, level, 0.03) for amp in circuits for level in (0.05, 1.0, 20.0)]
    found = {case.label: error for case, error in errors(given)}
    assert float(np.median(list(found.values()))) <= 1e-4, found
    assert max(found.values()) <= 1e-3, found
