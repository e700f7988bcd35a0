"""The stage of the lessons, its closed form, and both beside one another."""

from __future__ import annotations

import random
from typing import Any

import xarray as xr

from ...circuit.amp import Amp, Part
from ...circuit.valves.evaluation import slopes
from ...library.loader import parse_amp
from ...measures.closed_forms import BypassedStage
from ...simulation.analyses import FrequencySweep, OperatingPoint
from ...simulation.response import simulate
from .own_amp import stage_values


def lesson_stage(seed: int | None = None, amp: Amp | None = None) -> Amp:
    """A single bypassed triode stage; with a seed, values drawn from what such stages carry, or those of an amp's."""
    draw = random.Random(seed)
    known = [each for each in stage_values(amp) if "C1" in each.values] if amp else []
    if known:
        chosen = known[0] if seed is None else draw.choice(known)
        return stage_of(dict(chosen.values), about=chosen.name)
    plate, cathode, bypass = (
        ("100k", "1k5", "820n")
        if seed is None
        else (
            draw.choice(("82k", "100k", "150k", "180k")),
            draw.choice(("820", "1k", "1k5", "2k2", "2k7", "3k3")),
            draw.choice(("330n", "470n", "820n", "1u", "2u2", "4u7")),
        )
    )
    return stage_of({"R3": plate, "R4": cathode, "C1": bypass})


def stage_of(values: dict[str, str], then: dict[str, str] | None = None, about: str = "") -> Amp:
    """A 12AX7 stage on 300 V with a plate load R3, a cathode resistor R4 and across it C1 where it is given.

    Parameters
    ----------
    values : dict
        By designator, as a schematic writes them: R3 and R4, perhaps C1.
    then : dict
        A coupling capacitor C2 and the resistor to ground R6 behind it.
    about : str
        Whose values these are.
    """
    parts = {"V1A": "12AX7", "R1": "1M", **values, **(then or {})}
    roles = {"grid_leak": "R1", "plate_load": "R3", "cathode_resistor": "R4"}
    roles |= {"cathode_bypass": "C1"} if "C1" in values else {}
    stages = [{"name": "stage", "template": "triode stage", "valve": "V1A", "supply": "B1", **roles}]
    if then:
        stages.append({"name": "coupling", "template": "coupling", "capacitor": "C2", "shunt_resistor": "R6"})
    rails = [{"name": "B1", "volts": 300}]
    tables = {"name": "lesson stage", "parts": parts, "rails": rails, "stages": stages}
    return parse_amp(tables | ({"about": about} if about else {}), "lesson")


def textbook_stage(amp: Amp, position: dict[str, Any] | None = None) -> BypassedStage:
    """The closed form of a `lesson_stage`: its parts, and the valve's slopes where ngspice finds it at rest."""
    rest = simulate(amp, OperatingPoint(), [position or {}]).squeeze()
    volts = {pin: float(rest["voltage"].sel(node=f"V1A.{pin}")) for pin in ("plate", "grid", "cathode")}
    valve = amp.valve_by_type["12AX7"]
    at = slopes(valve, volts["plate"] - volts["cathode"], volts["grid"] - volts["cathode"])
    value = {part.designator: part.value for part in amp.parts if isinstance(part, Part)}
    return BypassedStage(float(at.mu), float(at.rp), value["R3"], value["R4"], value.get("C1", 0.0))


def formula_beside(amp: Amp, sweep: FrequencySweep | None = None) -> xr.Dataset:
    """Gain of a `lesson_stage` to its plate: variants "formula" and "ngspice" of one response, to be overlaid."""
    sweep = sweep or FrequencySweep(5.0, 20e3)
    computed = simulate(amp, sweep, nodes=["V1A.plate"]).assign_coords(variant=["ngspice"])
    by_hand = computed.copy(deep=True).assign_coords(variant=["formula"])
    by_hand["voltage"].values[0, 0, 0] = textbook_stage(amp).gain(sweep.grid())
    both = xr.concat([by_hand, computed], "variant", join="exact", combine_attrs="override")
    return both.assign_attrs(output="V1A.plate")
