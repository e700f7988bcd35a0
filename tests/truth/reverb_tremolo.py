"""Reverb tanks, phase-shift oscillators and opto-couplers against published figures."""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from ampsim import FrequencySweep, simulate
from ampsim.circuit.amp import Amp
from ampsim.circuit.reverb_tank import coil
from ampsim.circuit.semiconductors.description import DevicePoint, Semiconductor
from ampsim.circuit.semiconductors.laws import pieces_of
from ampsim.simulation.timestep.solver import play
from tests.truth.bench import amp, rail, wired
from tests.truth.claims import CLOSED, Case, Claim, Limit

_TANKS = "reverb tank numbering tables of a service supplier; R. Elliott, 2009, agrees for one tank"
_CODES = {"RV1": (8.0, 150.0, 200.0, 250.0, 600.0, 1475.0), "RV3": (500.0, 2250.0, 10000.0)}
_OHMS = Limit(0.10, "printed for the type: 10 %")
_HENRY = Limit(0.20, "an upper bound, the coil's resistance neglected: 20 %")
_LADDER = "three equal sections of R and C driven from a low impedance: f = 1 / (2 pi R C sqrt 6), a gain of 29"
_SHIFT = Limit(0.01, "closed form: 1 %")
_LIT_OHMS = 10e3


def _impedance(ohms: float, end: str) -> dict[str, float]:
    """What a coil shows a small signal of 1 kHz behind a resistor, in the circuit."""
    tank = {"input": "8", "output": "2k25"} | {end: ohms}
    pins = {"in": "a", "in_ground": "ground", "out": "b", "out_ground": "ground"}
    node = "a" if end == "input" else "b"
    circuit = amp({"TANK1": tank, "R1": "1k", "R2": "1M"},
                  [wired("t", TANK1=pins, R1=["in", node], R2=["b" if node == "a" else "a", "out"])])  # fmt: skip
    place = "TANK1.in" if end == "input" else "TANK1.out"
    ratio = complex(simulate(circuit, FrequencySweep(1e3, 1e4, 1), nodes=[place])["voltage"].values.ravel()[0])
    return {f"{end} impedance {ohms:g}": abs(1e3 * ratio / (1.0 - ratio))}


def _inductance(ohms: float) -> dict[str, float]:
    return {f"inductance of {ohms:g} ohm": coil(ohms, 0.13 * ohms)[0]}


def _decay(seconds: float) -> dict[str, float]:
    """How long a burst takes to fall by 60 dB, from how its echoes fall between two half seconds."""
    circuit = amp({"TANK1": {"input": "150", "output": "2k25", "decay": seconds}, "R1": "1k"},
                  [wired("t", TANK1=["in", "ground", "out", "ground"], R1=["out", "ground"])])  # fmt: skip
    time = np.arange(round(2.6 * 16e3)) / 16e3
    burst = np.sin(2.0 * np.pi * 700.0 * time) * (time < 0.1) * np.sin(np.pi * np.minimum(time, 0.1) / 0.1) ** 2
    volts = play(circuit, burst, 16e3, node="TANK1.out", oversampling=8).volts
    early, late = (float(np.sum(volts[round(at * 16e3) : round((at + 0.9) * 16e3)] ** 2)) for at in (0.4, 1.6))
    return {f"decay of {seconds:g} s": 60.0 * 1.2 / (10.0 * math.log10(early / late))}


def _ladder(ohms: float, farads: float) -> dict[str, float]:
    """Where a bare ladder turns the signal by half a turn, and what it leaves of it."""
    parts = {f"C{n}": farads for n in (1, 2, 3)} | {f"R{n}": ohms for n in (1, 2, 3)}
    wires = {"C1": ["in", "a"], "C2": ["a", "b"], "C3": ["b", "out"], "R1": ["a", "ground"], "R2": ["b", "ground"],
             "R3": ["out", "ground"]}  # fmt: skip
    found = simulate(amp(parts, [wired("ladder", **wires)]), FrequencySweep(1.0, 50.0, 400), nodes=["R3.1"])
    gain, hertz = found["voltage"].values.ravel(), found["frequency"].values
    turn = int(np.flatnonzero(np.diff(np.sign(gain.imag)))[0])
    share = gain.imag[turn] / (gain.imag[turn] - gain.imag[turn + 1])
    at = float(hertz[turn] + share * (hertz[turn + 1] - hertz[turn]))
    return {f"speed with {ohms:g} ohm, {farads:g} F": at, "gain needed": float(1.0 / abs(gain[turn]))}


def _lit(device: Semiconductor, load: float) -> Amp:
    wires = {"R1": ["in", "a"], "OC1": ["a", "ground", "out", "ground"], "R2": ["B1", "out"]}
    parts = {"R1": _LIT_OHMS, "OC1": device.type, "R2": load}
    return amp(parts, [wired("lit", **wires)], rail("B1", 10.0))


def coupler(device: Semiconductor, point: DevicePoint) -> dict[str, float]:
    """A coupler in time: lit for half a second by the current of a point, then dark."""
    given, rate = dict(point.conditions), 8e3
    dark = given.get("seconds", 0.0)
    load = 100e3 if dark else dict(device.parameters)["lit_ohms"]
    circuit = _lit(device, load)
    led = pieces_of(device).laws[0].numbers
    amps = given["forward_amps"]
    lit = (_LIT_OHMS + led["series_ohms"]) * amps + led["slope_volts"] * math.log1p(amps / led["saturation_amps"])
    time = np.arange(round((0.7 + dark) * rate)) / rate
    volts = play(circuit, lit * ((time > 0.1) & (time < 0.6)), rate, node="OC1.cell1", oversampling=1).volts
    siemens = (10.0 - volts) / (volts * load)
    full = siemens[round(0.59 * rate)]
    rise = float(time[np.argmax(siemens > 0.632 * full)]) - 0.1
    return {"cell ohms": 1.0 / full, "cell ohms after": 1.0 / siemens[round((0.6 + dark) * rate)], "cell rise": rise}


def cases() -> list[Case]:
    """Coils, their inductance, decay, and the ladder of an oscillator."""
    found = []
    for row, end in (("RV1", "input"), ("RV3", "output")):
        for ohms in _CODES[row]:
            claim = Claim(row, f"{end} impedance {ohms:g}", ohms, "ohm", _TANKS, "verified", CLOSED, _OHMS)
            found.append(Case((claim,), partial(_impedance, ohms, end)))
    for ohms, henries in ((8.0, 1.27e-3), (1475.0, 0.235)):
        claim = Claim("RV6", f"inductance of {ohms:g} ohm", henries, "H", _TANKS, "computed", CLOSED, _HENRY)
        found.append(Case((claim,), partial(_inductance, ohms)))
    for seconds, low, high in ((1.6, 1.2, 2.0), (2.4, 1.75, 3.0), (3.4, 2.75, 4.0)):
        limit = Limit((high - low) / (high + low), f"inside the code's range, {low:g} to {high:g} s")
        claim = Claim("RV4", f"decay of {seconds:g} s", 0.5 * (low + high), "s", _TANKS, "verified", CLOSED, limit)
        found.append(Case((claim,), partial(_decay, seconds)))
    for ohms, farads, hertz in ((1e6, 10e-9, 6.50), (1e6, 20e-9, 3.25), (220e3, 20e-9, 14.8)):
        speed = Claim("TM1", f"speed with {ohms:g} ohm, {farads:g} F", hertz, "Hz", _LADDER, "computed", CLOSED, _SHIFT)
        need = Claim("TM1", "gain needed", 29.0, "1", _LADDER, "computed", CLOSED, _SHIFT)
        found.append(Case((speed, need) if farads == 10e-9 else (speed,), partial(_ladder, ohms, farads)))
    return found
