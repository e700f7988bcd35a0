"""Resistance-coupled stages of the printed tables, through the stage templates."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial

from scipy.optimize import brentq

from ampsim.circuit.amp import Amp
from ampsim.circuit.valves.description import Valve
from ampsim.circuit.valves.evaluation import currents
from ampsim.measures.waveforms import harmonics, rms_v, steady_voltage
from tests.truth.bench import Parts, Rest, amp, gains, rail, stage, tone, wired
from tests.truth.claims import PREDICTED, Case, Limit
from tests.truth.valves_alone import POINT, by_row, claim_of, static

LIMITS = POINT | {
    "output volts": Limit(0.15, "output 15 %"),
    "output volts at 5 % distortion": Limit(0.20, "output at a distortion that is reached gradually: 20 %"),
    "distortion": Limit(0.30, "distortion 30 % of itself"),
}
GRID_START = 3e-7  # A: the printed output volts are those at which the grid begins to draw 0.3 uA
CLOSE = 0.01  # V: how near the grid must come to the start of its current
ROOT_TWO = 2.0**0.5
_AT_5, _SHARE = "output volts at 5 % distortion", 5.0


def _resistance_coupled(valve: Valve, at: dict[str, float], bypass: str) -> Amp:
    parts: Parts = {"V1": valve.type, "C1": "10n", "R1": "1M", "R2": at["plate_ohms"], "R3": at["cathode_ohms"]}
    parts |= {"C2": bypass, "C3": "10n", "R4": at.get("next_grid_ohms", 1e7)}
    triode = stage(
        "triode stage", valve="V1", supply="B1", coupling="C1", grid_leak="R1", plate_load="R2",
        cathode_resistor="R3", cathode_bypass="C2",
    )  # fmt: skip
    after = stage("coupling", capacitor="C3", shunt_resistor="R4")
    return amp(parts, [triode, after], rail("B1", at["supply_volts"]))


def _resistance_coupled_pentode(valve: Valve, at: dict[str, float], bypass: str) -> Amp:
    parts: Parts = {"V1": valve.type, "C1": "10n", "R1": "1M", "R2": at["plate_ohms"], "R3": at["cathode_ohms"]}
    parts |= {"C2": bypass, "C3": "100n", "R4": at["next_grid_ohms"], "R5": at["screen_ohms"], "C4": "1u"}
    pentode = stage(
        "pentode stage", valve="V1", supply="B1", coupling="C1", grid_leak="R1", plate_load="R2",
        cathode_resistor="R3", cathode_bypass="C2", screen_resistor="R5", screen_bypass="C4",
    )  # fmt: skip
    after = stage("coupling", capacitor="C3", shunt_resistor="R4")
    return amp(parts, [pentode, after], rail("B1", at["supply_volts"]))


def _grid_leak(valve: Valve, at: dict[str, float], _bypass: str) -> Amp:
    parts: Parts = {"V1": valve.type, "C1": "10n", "R1": at["grid_ohms"], "R2": at["plate_ohms"]}
    parts |= {"C3": "100n", "R4": at["next_grid_ohms"]}
    triode = stage("grid-leak stage", valve="V1", supply="B1", coupling="C1", grid_leak="R1", plate_load="R2")
    return amp(parts, [triode, stage("coupling", capacitor="C3", shunt_resistor="R4")], rail("B1", at["supply_volts"]))


def _cascade(valve: Valve, at: dict[str, float], bypass: str) -> Amp:
    # Both sections share one cathode resistor, which no template has.
    parts: Parts = {"V1": valve.type, "V2": valve.type, "C1": "10n", "R1": at["next_grid_ohms"], "C2": bypass}
    parts |= {"R2": at["plate_ohms"], "R3": at["cathode_ohms"], "C3": "10n", "R4": at["next_grid_ohms"]}
    parts |= {"R5": at["plate_ohms"], "C4": "10n", "R6": at["next_grid_ohms"]}
    both = wired(
        "cascade",
        C1=["in", "grid"], R1=["grid", "ground"], V1={"plate": "middle", "grid": "grid", "cathode": "foot"},
        R2=["B1", "middle"], R3=["foot", "ground"], C2=["foot", "ground"], C3=["middle", "second"],
        R4=["second", "ground"], V2={"plate": "last", "grid": "second", "cathode": "foot"}, R5=["B1", "last"],
        C4=["last", "out"], R6=["out", "ground"],
    )  # fmt: skip
    return amp(parts, [both], rail("B1", at["supply_volts"]))


def _with_inverter(valve: Valve, at: dict[str, float], bypass: str) -> Amp:
    parts: Parts = {"V1": valve.type, "C1": "10n", "R1": "1M", "R2": at["plate_ohms"], "R3": at["cathode_ohms"]}
    parts |= {"C2": bypass, "V2": valve.type, "C3": "10n", "R4": at["next_grid_ohms"], "R5": "15k", "R6": "1k"}
    parts |= {"R7": "14k", "C4": "10n", "C5": "10n", "R8": at["next_grid_ohms"], "R9": at["next_grid_ohms"]}
    first = stage(
        "triode stage", valve="V1", supply="B1", coupling="C1", grid_leak="R1", plate_load="R2",
        cathode_resistor="R3", cathode_bypass="C2",
    )  # fmt: skip
    inverter = stage(
        "split-load inverter", valve="V2", supply="B1", coupling="C3", grid_leak="R4", plate_load="R5",
        bias_resistor="R6", cathode_load="R7",
    )  # fmt: skip
    loads = wired("loads", C4=["in", "out"], R8=["out", "ground"], C5=["in_b", "out_b"], R9=["out_b", "ground"])
    return amp(parts, [first, inverter, loads], rail("B1", at["supply_volts"]))


BUILDERS = {
    "resistance-coupled stage": (_resistance_coupled, "R4.1", ("V1",)),
    "resistance-coupled pentode stage": (_resistance_coupled_pentode, "R4.1", ("V1",)),
    "grid-leak stage": (_grid_leak, "R4.1", ("V1",)),
    "two-stage cascade": (_cascade, "R6.1", ("V1", "V2")),
    "stage and split-load inverter": (_with_inverter, "R8.1", ("V1", "V2")),
}


def _measure(circuit: str, valve: Valve, at: dict[str, float], wanted: dict[str, float]) -> dict[str, float]:
    build, output, sockets = BUILDERS[circuit]
    # 50 uF as printed for rest and gain; 10 uF for tones at 1 kHz, where it settles sooner and bypasses as well.
    rest = Rest(build(valve, at, "50u"))
    found = {f"plate current of {name}": rest.amps(name, "plate") for name in sockets}
    found["plate current"] = rest.amps("V2" if circuit.endswith("inverter") else "V1", "plate")
    if circuit == "two-stage cascade":
        found["plate current"] += rest.amps("V2", "plate")
    if "cathode current" in wanted:
        found["cathode current"] = rest.volts("V1.cathode") / at["cathode_ohms"]
    found["gain"] = abs(gains(build(valve, at, "50u"), output)[0])
    plate, grid = rest.volts("V1.plate", "V1.cathode"), rest.volts("V1.grid", "V1.cathode")
    found |= {"plate volts": plate, "grid volts": grid}
    if "gm" in wanted:
        found |= {key: value for key, value in static(valve, plate, grid, None).items() if key in ("gm", "rp", "mu")}
    if _AT_5 in wanted:
        found[_AT_5] = _volts_at_distortion(build(valve, at, "10u"), output, wanted[_AT_5], found["gain"])
    if "output volts" in wanted:
        found |= _driven(build(valve, at, "10u"), valve, output, sockets, wanted["output volts"], found["gain"])
    return found


def _volts_at_distortion(circuit: Amp, output: str, volts: float, gain: float) -> float:
    """Output [V r.m.s.] at which distortion reaches 5 %, near the printed one: by secants on the logarithms."""

    def at(level: float) -> tuple[float, float]:
        told = tone(circuit, level, [output])
        return float(rms_v(told, output).squeeze()), math.log(float(harmonics(told, output)["thd"].squeeze()) / _SHARE)

    level = volts * ROOT_TWO / gain
    reached, beyond = at(level)
    below, under = level, beyond
    level *= math.exp(-beyond / 2.0)
    for _ in range(8):
        reached, beyond = at(level)
        if abs(beyond) < 0.01:
            return reached
        slope = math.log(level / below) / (beyond - under)
        below, under, level = level, beyond, level * math.exp(max(-0.5, min(0.5, -beyond * slope)))
    return math.nan


def _driven(
    circuit: Amp, valve: Valve, output: str, sockets: tuple[str, ...], volts: float, gain: float
) -> dict[str, float]:
    """Distortion at the printed output, and the output at which the first grid begins to draw current."""
    start = brentq(lambda grid: float(currents(valve, 100.0, grid).grid) - GRID_START, -2.0, 1.0)
    pins = [(f"{name}.grid", f"{name}.cathode") for name in sockets]
    places = [output, *dict.fromkeys(place for pair in pins for place in pair)]

    def drive(level: float) -> tuple[float, float, float]:
        told = tone(circuit, level, places)
        window = {node: steady_voltage(told, node).values for node in places}
        beyond = max(float((window[grid] - window[cathode]).max()) for grid, cathode in pins) - start
        return beyond, float(rms_v(told, output).squeeze()), float(harmonics(told, output)["thd"].squeeze())

    level = volts * ROOT_TWO / gain
    level *= volts / drive(level)[1]
    beyond, reached, percent = drive(level)
    rest = Rest(circuit)
    below, under = 0.0, max(rest.volts(*pair) for pair in pins) - start
    for _ in range(8):
        if abs(beyond) <= CLOSE:
            break
        below, under, level = level, beyond, level - beyond * (level - below) / (beyond - under)
        beyond, reached, _ = drive(level)
    # Not a number fails its row: no answer is better than a wrong one.
    return {"distortion": percent / 100.0, "output volts": reached if abs(beyond) <= CLOSE else math.nan}


def cases() -> list[Case]:
    """Every row of the printed tables of resistance-coupled stages."""
    found = []
    for valve, points in by_row(*BUILDERS):
        wanted = {point.quantity: point.value for point in points}
        at = dict(points[0].conditions)
        claims = [claim_of(point, valve, LIMITS) for point in points]
        if points[0].id == "R14":
            same = claims[0]
            claims.append(replace(same, quantity="plate current of V1", published=0.82e-3, kind=PREDICTED))
        found.append(Case(tuple(claims), partial(_measure, points[0].circuit, valve, at, wanted)))
    return found
