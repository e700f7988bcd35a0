"""The same answers by other ways: nodal equations written by hand, load lines, time against frequency, polarity."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq, root

from ampsim import FrequencySweep, OperatingPoint, Sine, Transient, apply_mods, load_amp, load_valve, simulate
from ampsim.circuit.amp import Amp
from ampsim.circuit.valves.description import Valve
from ampsim.circuit.valves.evaluation import currents
from ampsim.library.files import models, read_toml
from ampsim.library.loader import parse_amp, parse_mod
from ampsim.measures.waveforms import harmonics
from ampsim.simulation.stimuli import Waveform
from tests.truth.bench import amp, gains, rail, stage

# The preamp of workshop amp A as its drawing shows it, net by net: designator, then the nets of its ends. A pot's
# track is two resistors, "P1+" above the wiper and "P1-" below it. Values are those of the amp's file.
PREAMP = """
R901 in coil        L901 coil hot       C901 hot 0          P902- hot tone      C903 tone 0
P901+ hot jack      P901- jack 0        C902 jack 0
R1 jack 0           R2 jack g1          R3 b4 p1            R4 k1 0             C1 k1 0
C2 p1 gain          P1+ gain wiper      P1- wiper 0         R5 wiper g2         R6 b4 p2            R7 k2 0
C3 p2 far           R8 far g3           C4 far g3           R9 g3 0             R10 b3 p3           R11 k3 0
R12 k4 0            R13 k4 slope        C5 k4 top           C6 slope low        C7 slope mid
P2+ top out         P2- out low         P3- low foot        P4+ foot mid        P4- mid 0
P5+ out master      P5- master 0
R50 supply b1       C50 b1 0            R51 b1 b2           C51 b2 0            R52 b2 b3           C52 b3 0
R53 b3 b4           C53 b4 0
"""
# Plate, grid, cathode; the follower's grid sits on the plate before, its plate on the rail.
VALVES = (("p1", "g1", "k1"), ("p2", "g2", "k2"), ("p3", "g3", "k3"), ("b3", "p3", "k4"))
PLACES = {
    "first stage": "p1",
    "cold stage": "p2",
    "attenuator": "g3",
    "follower": "k4",
    "tone stack": "out",
    "master": "master",
}
SUPPLY = 318.0
END_OHMS = 1.0  # a wiper at the end of its travel still has an ohm before it


@lru_cache
def preamp() -> Amp:
    """Workshop amp A cut off behind its master volume."""
    tables = read_toml(models() / "amps" / "workshop-a.toml")
    names = [each["name"] for each in tables["stages"]]
    stages = tables["stages"][: names.index("master") + 1]
    wanted = {word.rstrip("+-") for word in PREAMP.split()} | {"V1A", "V1B", "V2A", "V2B"}
    parts = {name: part for name, part in tables["parts"].items() if name in wanted}
    return parse_amp({"name": "preamp", "parts": parts, "rails": tables["rails"], "stages": stages})


def elements(at: dict[str, float]) -> list[tuple[str, str, str, float]]:
    """Kind, nets and value of every two-ended part, tracks divided as the knobs stand."""
    parts, words = preamp().part_by_designator, PREAMP.split()
    found = []
    for name, first, second in zip(words[::3], words[1::3], words[2::3], strict=True):
        value = parts[name.rstrip("+-")].value  # type: ignore[union-attr]
        if name[0] == "P":
            below = fraction(parts[name.rstrip("+-")], at)
            value = max(value * (1.0 - below if name.endswith("+") else below), END_OHMS)
        found.append((name[0], first, second, value))
    return found


def fraction(pot: Any, at: dict[str, float]) -> float:
    """Share of the track below the wiper; an "audio 15 %" track is an exponential with 15 % at half rotation."""
    rotation = at.get(pot.control, pot.rotation)
    if pot.taper == "linear":
        return rotation
    base = (1.0 / (float(pot.taper.split()[1]) / 100.0) - 1.0) ** 2
    return (base**rotation - 1.0) / (base - 1.0)


def matrix(parts: list[tuple[str, str, str, float]], omega: float) -> tuple[dict[str, int], NDArray[Any]]:
    """Nodal admittances [S]; ground is the last row. At rest coils conduct (1 milliohm) and capacitors do not."""
    nets = list(dict.fromkeys(net for _, first, second, _ in parts for net in (first, second) if net != "0"))
    nets += [net for valve in VALVES for net in valve if net not in nets]
    place = {net: number for number, net in enumerate(dict.fromkeys(nets))} | {"0": -1}
    whole = np.zeros((len(place), len(place)), complex)
    for kind, first, second, value in parts:
        if kind == "C":
            siemens = 1j * omega * value
        elif kind == "L":
            siemens = 1.0 / (1j * omega * value) if omega else 1e3
        else:
            siemens = 1.0 / value
        stamp(whole, place[first], place[second], siemens)
    return place, whole


def stamp(whole: NDArray[Any], first: int, second: int, siemens: complex) -> None:
    whole[[first, second], [first, second]] += siemens
    whole[[first, second], [second, first]] -= siemens


def at_rest(parts: list[tuple[str, str, str, float]], valve: Valve) -> dict[str, float]:
    """Voltages at rest: Kirchhoff's current law at every net, solved with the law of the valve."""
    place, whole = matrix(parts, 0.0)
    whole, held = whole.real, {"in": 0.0, "supply": SUPPLY, "0": 0.0}
    free = [net for net in place if net not in held]
    rows = [place[net] for net in free]

    def volts(found: NDArray[Any]) -> NDArray[Any]:
        every = np.zeros(len(place))
        every[rows] = found
        every[place["supply"]] = SUPPLY
        return every

    def left_over(found: NDArray[Any]) -> Any:
        every = volts(found)
        sums = whole @ every
        for plate, grid, cathode in VALVES:
            flow = currents(
                valve, every[place[plate]] - every[place[cathode]], every[place[grid]] - every[place[cathode]]
            )
            sums[place[plate]] += float(flow.plate)
            sums[place[grid]] += float(flow.grid)
            sums[place[cathode]] -= float(flow.plate) + float(flow.grid)
        return sums[rows] * 1e6

    guess = {"b": 300.0, "p": 180.0, "k": 1.5}
    start = [170.0 if net == "k4" else guess.get(net[0], 0.0) if net[1:].isdigit() else 0.0 for net in free]
    solved = root(left_over, start, method="hybr", options={"xtol": 1e-13, "maxfev": 20000})
    assert np.abs(left_over(solved.x)).max() < 1e-5, "the hand-written equations were not solved"
    every = volts(solved.x)
    return {net: float(every[row]) for net, row in place.items()}


def small_signal(
    parts: list[tuple[str, str, str, float]], rest: dict[str, float], valve: Valve, hertz: float
) -> dict[str, complex]:
    """Every voltage for 1 V at the input: valves are differences of their law around rest, and their capacitances."""
    omega, held = 2.0 * math.pi * hertz, valve.capacitances
    place, whole = matrix(parts, omega)
    for pins in VALVES:
        plate, grid, cathode = (place[net] for net in pins)
        at = (rest[pins[0]] - rest[pins[2]], rest[pins[1]] - rest[pins[2]])
        for column, step in ((plate, (1e-3, 0.0)), (grid, (0.0, 1e-4))):
            width = 2.0 * sum(step)
            above = currents(valve, at[0] + step[0], at[1] + step[1])
            below = currents(valve, at[0] - step[0], at[1] - step[1])
            for row, slope in ((plate, (above.plate - below.plate) / width), (grid, (above.grid - below.grid) / width)):
                whole[row, column] += slope
                whole[row, cathode] -= slope
                whole[cathode, column] -= slope
                whole[cathode, cathode] += slope
        for first, second, farads in (
            (grid, plate, held.grid_plate), (grid, cathode, held.grid_cathode), (plate, cathode, held.plate_cathode),
        ):  # fmt: skip
            stamp(whole, first, second, 1j * omega * farads)
    known = [place["in"], place["supply"], place["0"] % len(place)]
    free = [row for row in range(len(place)) if row not in known]
    found = np.zeros(len(place), complex)
    found[place["in"]] = 1.0
    found[free] = np.linalg.solve(whole[np.ix_(free, free)], -whole[np.ix_(free, [place["in"]])][:, 0])
    return {net: complex(found[row]) for net, row in place.items()}


SETTINGS: list[dict[str, float]] = [
    {},
    {"gain": 1.0, "treble": 1.0, "bass": 0.0, "middle": 1.0, "master": 0.3},
    {"gain": 0.2, "treble": 0.1, "bass": 0.9, "middle": 0.0, "master": 1.0, "guitar volume": 0.7},
]


@pytest.mark.parametrize("at", SETTINGS)
def test_a_whole_preamp_equals_nodal_equations_written_by_hand(at: dict[str, float]) -> None:
    """Limit 0.001 dB: both sides solve the same equations; differences of the law and ngspice's 1e-6 stay below it."""
    valve, parts = load_valve("12AX7"), elements(at)
    rest = at_rest(parts, valve)
    settled = simulate(preamp(), OperatingPoint(), [at], nodes=list(PLACES)).squeeze()
    for name, net in PLACES.items():
        # ngspice solves to a millionth of a voltage of some hundred volts.
        assert float(settled["voltage"].sel(node=name)) == pytest.approx(rest[net], abs=2e-3)
    sweep = simulate(preamp(), FrequencySweep(20.0, 20e3, 4), [at], nodes=list(PLACES)).squeeze(["variant", "position"])
    for hertz in sweep["frequency"].values:
        ours = small_signal(parts, rest, valve, float(hertz))
        for name, net in PLACES.items():
            theirs = complex(sweep["voltage"].sel(node=name, frequency=hertz))
            assert 20.0 * math.log10(abs(theirs / ours[net])) == pytest.approx(0.0, abs=0.001), (name, hertz)
            assert abs(np.angle(theirs / ours[net])) < 1e-4, (name, hertz)


@pytest.mark.parametrize("name", ["R3", "R6", "C4", "R13", "C5"])
def test_a_part_one_per_cent_off_shows_in_the_preamp(name: str) -> None:
    """The comparison above can fail: a part moved by 1 % shifts the gain by more than ten times its limit."""
    valve, parts = load_valve("12AX7"), elements({})
    number = PREAMP.split()[::3].index(name)
    kind, first, second, value = parts[number]
    moved = [*parts[:number], (kind, first, second, 1.01 * value), *parts[number + 1 :]]
    whole = [small_signal(each, at_rest(each, valve), valve, 1000.0)["master"] for each in (parts, moved)]
    assert abs(20.0 * math.log10(abs(whole[0] / whole[1]))) > 0.01


@pytest.mark.parametrize("bypassed", [True, False])
@pytest.mark.parametrize(
    ("kind", "plate", "cathode"), [("12AX7", 100e3, 1500.0), ("12AU7", 47e3, 1200.0), ("12AT7", 47e3, 470.0)]
)
def test_gain_of_a_stage_equals_differences_along_its_load_line(
    kind: str, plate: float, cathode: float, bypassed: bool
) -> None:
    """Limit 0.1 %: the steps of 1 mV leave some parts in a million, the bypass at 1 kHz less than one in 10,000."""
    valve, supply = load_valve(kind), 300.0

    def through(grid: float, foot: float | None) -> float:
        """Plate current [A] for a grid voltage; with a fixed cathode voltage, or one set by the current."""

        def wrong(amps: float) -> float:
            lifted = amps * cathode if foot is None else foot
            return float(currents(valve, supply - amps * plate - lifted, grid - lifted).plate) - amps

        return brentq(wrong, 0.0, supply / plate, xtol=1e-16, rtol=1e-14)

    foot = through(0.0, None) * cathode if bypassed else None
    by_hand = -plate * (through(1e-3, foot) - through(-1e-3, foot)) / 2e-3
    parts = {"V1": kind, "R2": plate, "R3": cathode} | ({"C2": "1m"} if bypassed else {})
    roles = {"valve": "V1", "supply": "B1", "plate_load": "R2", "cathode_resistor": "R3"}
    roles |= {"cathode_bypass": "C2"} if bypassed else {}
    circuit = amp(parts, [stage("triode stage", **roles)], rail("B1", supply))
    assert gains(circuit, "V1.plate")[0].real == pytest.approx(by_hand, rel=1e-3)


@pytest.mark.parametrize("name", ["workshop-a", "workshop-b"])
@pytest.mark.parametrize("hertz", [250.0, 1000.0])
def test_a_millivolt_in_time_equals_the_sweep(name: str, hertz: float) -> None:
    """Limit 0.1 dB: at 20 us steps and the transient's tolerance of 1e-4 a step, ten stages add up to less."""
    circuit = load_amp(name)
    told = simulate(circuit, Transient(Sine(hertz, 1e-3, 0.2, 8)), nodes=["speaker"])
    swept = simulate(circuit, FrequencySweep(hertz, 10.0 * hertz, 1), nodes=["speaker"])
    heard = float(harmonics(told)["amplitude"].squeeze()[0])
    expected = 1e-3 * abs(complex(swept["voltage"].values.ravel()[0]))
    assert 20.0 * math.log10(heard / expected) == pytest.approx(0.0, abs=0.1)


def test_small_signals_add_up() -> None:
    """What two tones give together is the sum of what each gives alone, to 0.2 % of the largest voltage.

    Bending grows as the square of the level: at 0.1 mV each it stays below that, and the steps' rounding too.
    """
    time = np.arange(2400) / 48e3
    tones = [1e-4 * np.sin(2.0 * np.pi * hertz * time) for hertz in (440.0, 1310.0)]
    rest, first, second, both = (_played(wave) for wave in (0.0 * time, *tones, sum(tones)))
    alone = (first - rest) + (second - rest)
    assert np.abs(both - rest - alone).max() < 0.002 * np.abs(both - rest).max()


def _played(samples: NDArray[Any]) -> NDArray[Any]:
    found = simulate(load_amp("workshop-b"), Transient(Waveform(tuple(samples))), nodes=["speaker"])
    voltage: NDArray[Any] = found["voltage"].values.ravel()
    return voltage


def test_each_stage_turns_the_signal_over_or_does_not() -> None:
    """A plate swings against its grid, a cathode with it; both outputs of an inverter swing against each other."""
    places = ["V1A.plate", "V2A.grid", "V2A.plate", "V2B.cathode", "V3A.grid", "V3A.plate", "V3B.plate"]
    (one,) = [complex(each) for each in gains(load_amp("workshop-a"), "V1A.grid")]
    found = dict(zip(places, gains(load_amp("workshop-a"), *places), strict=True))

    def turn(first: str, second: complex) -> float:
        return math.cos(float(np.angle(found[first] / second)))

    assert turn("V1A.plate", one) < -0.95
    assert turn("V2A.plate", found["V2A.grid"]) < -0.95
    assert turn("V2B.cathode", found["V2A.plate"]) > 0.99
    assert turn("V3A.plate", found["V3A.grid"]) < -0.9
    assert turn("V3B.plate", found["V3A.plate"]) < -0.9


def test_feedback_lowers_gain_as_one_plus_loop_gain() -> None:
    """A / (1 + A B), any handbook: what 68 k does foretells what 270 k does.

    Limit 3 %: the resistor also loads the foot of the inverter, which the formula leaves out.
    """
    stock = load_amp("workshop-a")
    more = parse_mod({"name": "four times", "reason": "less feedback", "edits": [{"replace": "R20", "with": "270k"}]})
    none = parse_mod({"name": "none", "reason": "no feedback", "edits": [{"lift": "R20"}]})
    sweep = FrequencySweep(400.0, 4000.0, 1)
    found = simulate([stock, apply_mods(stock, more), apply_mods(stock, none)], sweep, nodes=["speaker"])
    with_it, with_less, without = abs(found["voltage"].values[:, 0, 0, 0])
    loop = without / with_it - 1.0
    assert loop > 0.5
    # R20 and R21 divide the output: the share that comes back falls from 4.7/72.7 to 4.7/274.7.
    assert with_less == pytest.approx(without / (1.0 + loop * 72.7 / 274.7), rel=0.03)
