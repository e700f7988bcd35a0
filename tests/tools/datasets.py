"""Responses made from closed forms, in the shape `ampsim.simulate` gives; truth for measures and pictures."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ampsim.circuit.positions import coord_name
from ampsim.simulation.facts import STIMULUS, VALVES, StimulusFacts, ValveFacts, put

Curve = Callable[[NDArray[Any]], NDArray[Any]]
GRID = 20.0 * 10.0 ** (np.arange(151) / 50.0)


def high_pass(corner: float, gain: float = 1.0) -> Curve:
    """RC high-pass: gain * jf/fc / (1 + jf/fc)."""
    return lambda f: gain * (1j * f / corner) / (1.0 + 1j * f / corner)


def low_pass(corner: float, gain: float = 1.0) -> Curve:
    """RC low-pass: gain / (1 + jf/fc)."""
    return lambda f: gain / (1.0 + 1j * f / corner)


def shelf(zero: float, pole: float, gain: float = 1.0) -> Curve:
    """First-order shelf: `gain` at low frequency, `gain * pole / zero` at high."""
    return lambda f: gain * (1.0 + 1j * f / zero) / (1.0 + 1j * f / pole)


def band_pass(centre: float, q: float, gain: float = 1.0) -> Curve:
    """Second-order band-pass with `gain` at its centre."""
    return lambda f: gain / (1.0 + 1j * q * (f / centre - centre / f))


def band_stop(centre: float, q: float, depth: float) -> Curve:
    """Second-order notch: 1 far away, `depth` at its centre."""

    def curve(f: NDArray[Any]) -> NDArray[Any]:
        reactance = 1j * q * (f / centre - centre / f)
        return (depth + reactance) / (1.0 + reactance)

    return curve


def product(*curves: Curve) -> Curve:
    """One after the other."""
    return lambda f: np.prod([curve(f) for curve in curves], axis=0)


def sweep(
    table: Mapping[str, Mapping[str, Mapping[str, Curve]]],
    controls: Mapping[str, list[Any]] | None = None,
    grid: NDArray[Any] = GRID,
) -> xr.Dataset:
    """A frequency sweep of {variant: {position: {node: curve}}}."""
    first = next(iter(table.values()))
    nodes = list(next(iter(first.values())))
    voltage = np.array(
        [[[places[node](grid) for node in nodes] for places in positions.values()] for positions in table.values()]
    )
    coords: dict[str, Any] = {
        "variant": list(table),
        "position": list(first),
        "node": nodes,
        "frequency": ("frequency", grid, {"units": "Hz"}),
    }
    coords |= {coord_name(name): ("position", values) for name, values in (controls or {}).items()}
    dims = ("variant", "position", "node", "frequency")
    return xr.Dataset({"voltage": (dims, voltage + 0j, {"units": "V"})}, coords, attributes("frequency sweep", nodes))


def attributes(analysis: str, nodes: list[str]) -> dict[str, Any]:
    """What every response says of itself."""
    output = "speaker" if "speaker" in nodes else nodes[-1]
    return {"analysis": analysis, "amp": "test amp", "input": "input", "output": output, "valves": "{}"}


def transient(
    table: Mapping[str, Mapping[str, Curve]],
    frequency: float = 1000.0,
    level: float = 0.1,
    cycles: int = 4,
    settle: int = 2,
    step: float = 20e-6,
    position: str = "as drawn",
) -> xr.Dataset:
    """A transient of {variant: {node: waveform of time}} for a sine at the source."""
    per_cycle = int(np.ceil(1.0 / (frequency * step) - 1e-9))
    time = np.linspace(0.0, (settle + cycles) / frequency, (settle + cycles) * per_cycle + 1)
    nodes = list(next(iter(table.values())))
    voltage = np.array([[[waves[node](time) for node in nodes]] for waves in table.values()])
    coords = {
        "variant": list(table),
        "position": [position],
        "node": nodes,
        "time": ("time", time, {"units": "s"}),
    }
    facts = StimulusFacts("sine", time[-1], frequency, level, settle=settle / frequency, cycles=cycles)
    attrs = {**attributes("transient", nodes), **put(STIMULUS, facts)}
    dims = ("variant", "position", "node", "time")
    return xr.Dataset({"voltage": (dims, voltage, {"units": "V"})}, coords, attrs)


def sines(frequency: float, *amplitudes: float, offset: float = 0.0) -> Curve:
    """Sum of harmonics: amplitudes of orders 1, 2, ... around an offset."""

    def curve(t: NDArray[Any]) -> NDArray[Any]:
        orders = enumerate(amplitudes, 1)
        return sum((a * np.sin(2.0 * np.pi * n * frequency * t + 0.3 * n) for n, a in orders), np.full_like(t, offset))

    return curve


def clipped(frequency: float, level: float, low: float, high: float) -> Curve:
    """A sine cut off at two voltages."""
    return lambda t: np.clip(level * np.sin(2.0 * np.pi * frequency * t), low, high)


TRIODE = {"plate_volts": 300.0, "plate_watts": 1.0}
PENTODE = {
    "plate_volts": 300.0,
    "plate_watts": 12.0,
    "screen_volts": 300.0,
    "screen_watts": 2.0,
    "cathode_milliamps": 65.0,
}


def operating_point(
    readings: Mapping[str, Mapping[str, Mapping[str, float]]], position: str = "as drawn"
) -> xr.Dataset:
    """An operating point of {variant: {valve: {"plate", "cathode", "grid", "screen" [V], "ia", "ig2" [A]}}}.

    A valve with a screen gets the limits of a 12 W pentode, another those of a 1 W triode.
    """
    first = next(iter(readings.values()))
    pins = ("plate", "cathode", "grid", "screen")
    nodes = [f"{valve}.{pin}" for valve, each in first.items() for pin in pins if pin in each]
    branches = [
        f"{v}.{end}" for v, each in first.items() for end in ("plate", "screen") if end == "plate" or "ig2" in each
    ]
    volts = [[[valves[n.split(".")[0]][n.split(".")[1]] for n in nodes]] for valves in readings.values()]
    amps = [
        [[valves[b.split(".")[0]]["ia" if b.endswith("plate") else "ig2"] for b in branches]]
        for valves in readings.values()
    ]
    facts = {
        valve: ValveFacts("EL84", "pentode", "koren", "test", "design centre", "test", PENTODE)
        if "screen" in each
        else ValveFacts("12AX7", "triode", "koren", "test", "design centre", "test", TRIODE)
        for valve, each in first.items()
    }
    attrs = {**attributes("operating point", nodes), **put(VALVES, dict.fromkeys(readings, facts))}
    data = {
        "voltage": (("variant", "position", "node"), np.array(volts), {"units": "V"}),
        "current": (("variant", "position", "branch"), np.array(amps), {"units": "A"}),
    }
    coords = {"variant": list(readings), "position": [position], "node": nodes, "branch": branches}
    return xr.Dataset(data, coords, attrs)
