"""Where a part stands in the circuit, as far as that asks for a kind of part."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from ...circuit.amp import Amp, Part, Pot
from ...circuit.build import Circuit
from ...circuit.neighbours import feeds_from_supply, input_valves
from ...circuit.output_stage import output_valves
from ...circuit.positions import Position
from ...circuit.stages.template import GROUND, Element, rail_net
from ...simulation.analyses import OperatingPoint
from ...simulation.netlist import node_vector, write
from ...simulation.ngspice import engine
from ...simulation.ngspice.engine import Arrays
from ...simulation.operating_points import at_rest
from .ratings_needed import Surroundings, electrolytic_leak

MOVED_BIAS = 0.05
"""Volts of bias that a leak must move to be worth a better capacitor: own choice."""
LEAST_DC = 1.0
"""Direct volts [V] from which on a part is said to have any across it: own choice."""


def surroundings(amp: Amp, part: Part | Pot, seen: Sequence[tuple[Position, Circuit]]) -> Surroundings:
    """Where a part stands, at the positions that have it; the first of them decides on what hangs beside it.

    Parameters
    ----------
    amp : Amp
    part : Part or Pot
    seen : sequence of (position, Circuit)
        The amp at positions.
    """
    name = part.designator
    fitted = [(position, wired) for position, wired in seen if any(e.designator == name for e in wired.elements)]
    if not fitted or part.kind not in ("resistor", "capacitor", "pot"):
        return Surroundings()
    position, wired = fitted[0]
    if part.kind == "pot":
        return Surroundings(sets_supply=all(feeds_from_supply(each, name) for _, each in fitted))
    rests = at_rest([(amp, each) for each, _ in fitted], [name])
    volts = [rest.across[name] for rest in rests]
    if part.kind == "resistor":
        return _beside_resistor(wired, part, volts[0], max(map(abs, rests[0].plate_volts.values()), default=0.0))
    dc = max(volts, key=abs)
    turned = any(each * dc < 0.0 and abs(each) > LEAST_DC for each in volts)
    high = "1" if dc > 0.0 else "2"
    return Surroundings(
        plus="" if turned else f"{name}.{high}",
        dc_volts=abs(dc),
        grids=_moved_by_leak(wired, amp.setting(position), part, dc) if abs(dc) > LEAST_DC else (),
        shunts=bool({wired.net(f"{name}.{end}") for end in "12"} & {GROUND, *(rail_net(r.name) for r in amp.rails)}),
    )


def _moved_by_leak(
    wired: Circuit, setting: Mapping[str, float | str], part: Part | Pot, volts: float
) -> tuple[str, ...]:
    """The valves whose bias moves at rest when a capacitor with so many volts [V] leaks as an electrolytic may."""
    name = f"RL_{part.designator}"
    leak = Part(name, "resistor", abs(volts) / electrolytic_leak(part.value, abs(volts)))
    ends = tuple((end, wired.net(f"{part.designator}.{end}")) for end in "12")
    leaky = replace(wired, elements=(*wired.elements, Element(name, "resistor", ends, "leak")),
                    parts={**wired.parts, name: leak})  # fmt: skip
    valves = [each.designator for each in wired.elements if each.kind == "valve"]
    places = tuple(f"{valve}.{pin}" for valve in valves for pin in ("grid", "cathode"))
    runs = [write(each, setting, OperatingPoint(), places) for each in (wired, leaky)]
    good, bad = (
        [outcome.vectors[vector][0] if (vector := node_vector(wired, place)) else 0.0 for place in places]
        if isinstance(outcome, Arrays)
        else [0.0] * len(places)
        for outcome in engine.run_distinct(runs)
    )
    shifts = [abs((bad[k] - good[k]) - (bad[k + 1] - good[k + 1])) for k in range(0, len(places), 2)]
    return tuple(valve for valve, shift in zip(valves, shifts, strict=True) if shift > MOVED_BIAS)


def _beside_resistor(wired: Circuit, part: Part | Pot, volts: float, highest: float) -> Surroundings:
    """`volts` across it at rest, `highest` of any plate [V]."""
    element = next(each for each in wired.elements if each.designator == part.designator)
    nets = {net for _, net in element.pins} - {GROUND}
    valves = {each.designator: each for each in wired.elements if each.kind == "valve"}
    first = tuple(
        name for name in input_valves(wired) if abs(volts) > LEAST_DC and nets & {net for _, net in valves[name].pins}
    )
    own = {net for name in output_valves(wired) for pin, net in valves[name].pins if pin in ("screen", "cathode")}
    return Surroundings(first, highest**2 / part.value if nets & own else 0.0)
