"""Published figures of operational amplifiers, each measured in a circuit."""

from __future__ import annotations

import numpy as np

from ampsim import FrequencySweep, Transient, simulate
from ampsim.circuit.amp import Amp
from ampsim.circuit.semiconductors.description import DevicePoint, Semiconductor
from ampsim.simulation.analyses import NoiseSweep
from ampsim.simulation.stimuli import Sine
from ampsim.studies.noise.simulate import noise_spectrum
from tests.truth.bench import Rest, amp, rail, wired


def follower(name: str, supply: float, load: float = 10e6, at: float = 0.0) -> Amp:
    """A follower whose input stands at a rail of `at` volts, beside the signal."""
    parts = {"U1": name, "R1": load, "R2": "1k", "C1": "1000u"}
    pins = ["p", "out", "out", "BP", "BM"]
    wires = wired("follower", U1=pins, R1=["out", "ground"], R2=["BI", "p"], C1=["in", "p"])
    return amp(parts, [wires], rail("BP", supply), rail("BM", -supply), rail("BI", at))


def amplifier(name: str, supply: float, gain: float, load: float = 1e6) -> Amp:
    """A non-inverting stage of small resistances, driven straight at its input."""
    parts = {"U1": name, "R1": 100.0, "R2": 100.0 * (gain - 1.0), "R3": load, "R4": "100"}
    wires = wired("stage", U1=["in", "m", "out", "BP", "BM"], R1=["m", "ground"], R2=["out", "m"],
                  R3=["out", "ground"], R4=["in", "ground"])  # fmt: skip
    return amp(parts, [wires], rail("BP", supply), rail("BM", -supply))


def figure(device: Semiconductor, point: DevicePoint) -> dict[str, float]:
    """One figure, as it would be measured."""
    given = dict(point.conditions)
    supply, name = given["supply_volts"], device.type
    if point.quantity == "swing volts":
        rest = [Rest(follower(name, supply, given["load_ohms"], side * supply)).volts("U1.out") for side in (1.0, -1.0)]
        return {point.quantity: min(rest[0], -rest[1])}
    if point.quantity == "short amps":
        return {point.quantity: -Rest(follower(name, supply, 1e-3, supply)).amps("U1", "out")}
    if point.quantity == "supply amps":
        return {point.quantity: Rest(follower(name, supply)).amps("U1", "vplus")}
    if point.quantity == "unity gain hertz":
        # An open loop at signals: a gain of a thousand falls by 3 dB where gain-bandwidth says.
        sweep = simulate(amplifier(name, supply, 1e3), FrequencySweep(100.0, 1e6, 100), nodes=["speaker"])["voltage"]
        size = np.abs(sweep.values.ravel())
        at = float(np.interp(-size[0] / np.sqrt(2.0), -size, sweep["frequency"].values))
        return {point.quantity: 1e3 * at}
    if point.quantity == "slew":
        # Far overdriven it goes from end to end as fast as it can.
        run = Transient(Sine(50e3, 10.0, 0.0, 2), 1e-8)
        wave = simulate(amplifier(name, supply, 100.0), run, nodes=["speaker"])["voltage"]
        steps = np.abs(np.gradient(wave.values.ravel(), wave["time"].values))
        return {point.quantity: float(steps.max())}
    found = noise_spectrum(amplifier(name, supply, 1001.0), sweep=NoiseSweep(1e2, 1e3, 1))
    return {point.quantity: float(found["contribution"].sel(contributor="U1").values.ravel()[0]) / 1001.0}
