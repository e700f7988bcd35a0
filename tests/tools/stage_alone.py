"""One stage template on its own: an amp of a few parts, its gain at one frequency, its valves at rest."""

from __future__ import annotations

from typing import Any

from ampsim.circuit.amp import Amp
from ampsim.circuit.valves.description import Valve
from ampsim.circuit.valves.evaluation import Slopes, slopes
from ampsim.library.loader import load_valve, parse_amp
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.response import simulate

RAIL = {"name": "B1", "volts": 300}


def alone(parts: dict[str, Any], *stages: dict[str, Any], rails: Any = (RAIL,), **tables: Any) -> Amp:
    data = {"name": "one stage", "parts": parts, "rails": list(rails), "stages": list(stages)}
    return parse_amp(data | tables, "alone.toml")


def stage(template: str, **roles: Any) -> dict[str, Any]:
    return {"name": template, "template": template} | roles


def gain(amp: Amp, node: str, frequency: float = 1000.0, position: Any = None) -> complex:
    """Voltage gain from the source at one frequency."""
    sweep = FrequencySweep(frequency, frequency * 10, 1)
    return complex(simulate(amp, sweep, [position or {}], [node])["voltage"].values[0, 0, 0, 0])


def resting_volts(amp: Amp, designator: str, *pins: str) -> tuple[float, ...]:
    """Volts of a part's pins at rest."""
    rest = simulate(amp, OperatingPoint()).squeeze()
    return tuple(float(rest["voltage"].sel(node=f"{designator}.{pin}")) for pin in pins)


def resting(amp: Amp, designator: str) -> Slopes:
    """A valve's slopes where it rests."""
    valve = valve_of(amp, designator)
    pins = ("plate", "grid", "cathode", *(["screen"] if valve.family == "pentode" else []))
    plate, grid, cathode, *screen = resting_volts(amp, designator, *pins)
    return slopes(valve, plate - cathode, grid - cathode, *(each - cathode for each in screen))


def valve_of(amp: Amp, designator: str) -> Valve:
    return load_valve(amp.part_by_designator[designator].type)  # type: ignore[union-attr]
