"""Valves alone: electrodes on ideal rails; slopes from a small-signal sweep of three more of the same valve."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from itertools import groupby

from scipy.optimize import brentq

from ampsim import load_valve
from ampsim.circuit.amp import Amp
from ampsim.circuit.valves.description import Point, Valve
from ampsim.circuit.valves.evaluation import currents
from ampsim.library.kinds import listing
from tests.truth.bench import Rest, amp, gains, rail, wired
from tests.truth.claims import CLOSED, FITTED, PREDICTED, Case, Claim, Limit

PLATE_FOOT = 0.1  # ohm under a plate, to read its alternating current
PLATE_FEED = 1e5  # ohm through which a plate is driven, to read its resistance

_MODEL = Limit(0.005, "published formula with published parameters: 0.5 %")
_CURVE = Limit(0.15, "read from a printed or measured curve: 15 %")
POINT = {
    "plate current": Limit(0.10, "typical point: current 10 %"),
    "plate volts": Limit(0.10, "typical point: 10 %, as the current that sets it"),
    "grid volts": Limit(0.10, "typical point: 10 %, as the current that sets it"),
    "gm": Limit(0.15, "typical point: gm 15 %"),
    "rp": Limit(0.20, "typical point: rp 20 %"),
    "mu": Limit(0.15, "typical point: mu 15 %, as gm"),
    "screen mu": Limit(0.15, "typical point: mu 15 %, as gm"),
    "screen current": Limit(0.20, "screen current 20 %"),
    "grid current": Limit(0.15, "read from a printed or measured curve: 15 %"),
    "cathode current": Limit(0.08, "tabulated average: current 8 %"),
    "gain": Limit(0.07, "standard stage: gain 7 %"),
    "grid current start": Limit(0.0, "the sheet prints the most negative value a sample may have", "at least"),
}
_CURVES = ("P1", "P2", "P3", "P5", "G6", "G7", "D5a", "D5b", "D5c")


def kind_of(point: Point, valve: Valve) -> str:
    """Whether a number was fitted; one that other fitted numbers of the same circuit fix counts as fitted too."""
    if not valve.law.startswith("space-charge"):
        return CLOSED
    same = {
        other.quantity
        for other in valve.points
        if other.used_in_fit and (other.circuit, other.conditions) == (point.circuit, point.conditions)
    }
    fixed_by = {"mu": {"gm", "rp"}, "grid volts": {"plate current"}}.get(point.quantity, {point.quantity})
    return FITTED if point.used_in_fit or fixed_by <= same else PREDICTED


def claim_of(point: Point, valve: Valve, limits: Mapping[str, Limit] = POINT) -> Claim:
    """The claim that a point of a valve file makes."""
    limit = limits[point.quantity]
    if not valve.law.startswith("space-charge"):
        limit = _MODEL
    elif point.id.startswith(_CURVES) and point.quantity in ("plate current", "grid current"):
        limit = _CURVE
    source = f"{point.source} ({valve.type})"
    return Claim(point.id, point.quantity, point.value, point.unit, source, point.flag, kind_of(point, valve), limit)


def by_row(*circuits: str) -> list[tuple[Valve, list[Point]]]:
    """The points of all valve files that were taken in these circuits, those of one row together."""
    found = []
    for name in listing()["valves"]:
        valve = load_valve(name)
        points = [point for point in valve.points if point.circuit in circuits]
        found += [(valve, list(group)) for _, group in groupby(points, key=lambda point: point.id)]
    return found


def static(valve: Valve, plate: float, grid: float, screen: float | None) -> dict[str, float]:
    """Currents and slopes at electrode voltages against the cathode; without a screen, a pentode is a triode."""
    circuit = _four_valves(valve, plate, grid, screen)
    rest = Rest(circuit)
    places = ["V2.plate", "V3.plate", *(["V4.plate"] if screen is not None else [])]
    by_grid, by_plate, *by_screen = gains(circuit, *places)
    gm = -by_grid.real / PLATE_FOOT
    rp = 1.0 / ((1.0 - by_plate) / (by_plate * PLATE_FEED)).real
    found = {"gm": gm, "rp": rp, "mu": gm * rp, "grid current": rest.amps("V1", "grid")}
    joined = valve.family == "pentode" and screen is None
    found["plate current"] = rest.amps("V1", "plate", *(["screen"] if joined else []))
    if screen is not None:
        found["screen current"] = rest.amps("V1", "screen")
        found["screen mu"] = by_grid.real / by_screen[0].real
    return found


def _four_valves(valve: Valve, plate: float, grid: float, screen: float | None) -> Amp:
    joined = valve.family == "pentode" and screen is None
    parts: dict[str, object] = {f"V{n}": valve.type for n in (1, 2, 3)}
    parts |= {"R2": PLATE_FOOT, "R3": PLATE_FEED, "C2": "1m", "C3": "1m", "L2": 1e4, "L3": 1e4}
    rails = [rail("BP", plate), rail("BG", grid)]
    wires: dict[str, object] = {
        "R2": ["BP", "out"], "C2": ["in", "grid_two"], "L2": ["grid_two", "BG"],
        "R3": ["in", "feed"], "C3": ["feed", "plate_three"], "L3": ["BP", "plate_three"],
    }  # fmt: skip
    plates, grids = {1: "BP", 2: "out", 3: "plate_three"}, {1: "BG", 2: "grid_two", 3: "BG"}
    screens = plates if joined else dict.fromkeys(plates, "BS")
    if screen is not None:
        rails.append(rail("BS", screen))
        parts |= {"V4": valve.type, "R4": PLATE_FOOT, "C4": "1m", "L4": 1e4}
        wires |= {"R4": ["BP", "plate_four"], "C4": ["in", "screen_four"], "L4": ["screen_four", "BS"]}
        plates[4], grids[4], screens[4] = "plate_four", "BG", "screen_four"
    for n in plates:
        pins = {"plate": plates[n], "grid": grids[n], "cathode": "ground"}
        wires[f"V{n}"] = pins | ({"screen": screens[n]} if valve.family == "pentode" else {})
    return amp(parts, [wired("valves", **wires)], *rails)


def _at_current(valve: Valve, plate: float, amps: float, screen: float | None) -> dict[str, float]:
    grid = brentq(lambda volts: float(currents(valve, plate, volts, screen).plate) - amps, -150.0, 0.0)
    found = static(valve, plate, grid, screen)
    assert abs(found["plate current"] / amps - 1.0) < 1e-3
    return found | {"grid volts": grid}


def _grid_start(valve: Valve, amps: float) -> dict[str, float]:
    # 300 V through 1 gigohm drives 0.3 uA into the grid.
    ohms = 300.0 / amps
    pins = {"plate": "BP", "grid": "out", "cathode": "ground"}
    pins |= {"screen": "BP"} if valve.family == "pentode" else {}
    circuit = amp(
        {"V1": valve.type, "R1": ohms}, [wired("grid", V1=pins, R1=["BG", "out"])], rail("BP", 100.0), rail("BG", 300.0)
    )
    return {"grid current start": Rest(circuit).volts("V1.grid")}


def _across_supply(valve: Valve, supply: float, ohms: float) -> dict[str, float]:
    pins = {"plate": "B1", "grid": "ground", "cathode": "out"}
    rest = Rest(
        amp({"V1": valve.type, "R1": ohms}, [wired("valve", V1=pins, R1=["out", "ground"])], rail("B1", supply))
    )
    grid = -rest.volts("V1.cathode")
    return static(valve, supply + grid, grid, None) | {"grid volts": grid, "plate current": rest.amps("V1", "plate")}


def cases() -> list[Case]:
    """Every published point of a valve alone, triode connected, or with nothing but a cathode resistor."""
    found = []
    for valve, points in by_row("valve alone", "triode connected", "valve and cathode resistor across the supply"):
        at = dict(points[0].conditions)
        if "grid_amps" in at:
            measure = partial(_grid_start, valve, at["grid_amps"])
        elif "plate_amps" in at:
            measure = partial(_at_current, valve, at["plate_volts"], at["plate_amps"], at.get("screen_volts"))
        elif "supply_volts" in at:
            measure = partial(_across_supply, valve, at["supply_volts"], at["cathode_ohms"])
        else:
            measure = partial(static, valve, at["plate_volts"], at["grid_volts"], at.get("screen_volts"))
        found.append(Case(tuple(claim_of(point, valve) for point in points), measure))
    return found
