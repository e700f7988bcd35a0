"""Small circuits as an owner would write them, and readings from them: all through the public functions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import xarray as xr

from ampsim import FrequencySweep, OperatingPoint, Sine, Transient, parse_amp, simulate
from ampsim.circuit.amp import Amp

Parts = dict[str, Any]
TONE_HZ = 1000.0


def stage(template: str, name: str = "", **roles: object) -> dict[str, object]:
    """The table of one stage."""
    return {"name": name or template, "template": template} | roles


def wired(name: str, **wires: object) -> dict[str, object]:
    """The table of a stage without a template: designator = pins on nets."""
    return {"name": name, "template": "free wiring", "wires": wires}


def rail(name: str, volts: float, **more: object) -> dict[str, object]:
    """The table of one supply rail."""
    return {"name": name, "volts": volts} | more


def amp(parts: Parts, stages: Sequence[Mapping[str, object]], *rails: Mapping[str, object]) -> Amp:
    """An amp of these tables."""
    ideal = {"sure": list(parts)}  # closed forms take parts that no amp has
    tables = {"name": "check", "parts": parts, "rails": list(rails), "stages": list(stages)} | ideal
    return parse_amp(tables, "check.toml")


def divider(resistance: float = 10e3) -> Amp:
    """R1 over R2 from the source: gain R2 / (R1 + R2)."""
    parts = {"R1": 3.0 * resistance, "R2": resistance}
    return amp(parts, [wired("divider", R1=["in", "out"], R2=["out", "ground"])])


def corner() -> Amp:
    """10 kohm and 10 nF: a low pass with its corner at 1592 Hz."""
    return amp({"R1": 10e3, "C1": 10e-9, "R2": 10e9}, [
        wired("low pass", R1=["in", "out"], C1=["out", "ground"], R2=["out", "ground"])
    ])  # fmt: skip


def near_ideal(primary: float, inductance: float, *taps: float) -> dict[str, object]:
    """A transformer with next to no losses: data sheets state the load and the watts without them."""
    return {
        "primary": primary,
        "taps": list(taps or (8.0,)),
        "inductance": inductance,
        "leakage": 1e-6,
        "primary_resistance": 1e-3,
        "secondary_resistance": 1e-3,
        "capacitance": 1e-12,
        "damping": 1e4,
        "core_loss": 1e9,
    }


class Rest:
    """Voltages [V] and currents [A] at rest."""

    def __init__(self, circuit: Amp) -> None:
        self._found = simulate(circuit, OperatingPoint()).squeeze(["variant", "position"])

    def volts(self, place: str, against: str = "") -> float:
        """Voltage of a place against ground or another place."""
        volts = float(self._found["voltage"].sel(node=place))
        return volts - (self.volts(against) if against else 0.0)

    def amps(self, designator: str, *electrodes: str) -> float:
        """Current into a valve's electrodes."""
        return sum(float(self._found["current"].sel(branch=f"{designator}.{each}")) for each in electrodes)


def gains(circuit: Amp, *places: str, hertz: float = TONE_HZ) -> list[complex]:
    """Small-signal voltage at places for 1 V at the source."""
    sweep = simulate(circuit, FrequencySweep(hertz, 10.0 * hertz, 1), nodes=places)
    return [complex(sweep["voltage"].sel(node=place).values[0, 0, 0]) for place in places]


def tone(circuit: Amp, level: float, places: Sequence[str], settle: float = 0.06) -> xr.Dataset:
    """A steady 1 kHz tone of `level` [V peak]; 60 ms outlast every time constant of these circuits."""
    return simulate(circuit, Transient(Sine(TONE_HZ, level, settle, 4)), nodes=list(places))
