"""The valve in the middle of its type's spread, and those a standard deviation from it."""

from __future__ import annotations

import math

from ...circuit.valves.description import Valve
from ...circuit.valves.deviation import ValveDraw
from ...simulation.valve_spreads import ValveSpread, deviating, spread_of, spreads


def typical_valve(valve: Valve) -> Valve:
    """The valve in the middle of its type's spread."""
    if not spreads(valve) or spread_of(valve).slope_median == 1.0:
        return valve
    return deviating(valve, ValveDraw(slope=spread_of(valve).slope_median))


def valve_draws(spread: ValveSpread, times: float) -> dict[str, tuple[ValveDraw, ValveDraw]]:
    """A standard deviation below and above, `times` the spread [ratio], of each of the ways in which valves differ."""
    middle, bias = spread.slope_median, times * spread.bias_volts
    mu, slope = times * spread.mu_share, times * math.hypot(spread.slope_share, spread.worn_share)
    return {
        "bias": (ValveDraw(-bias, 1.0, middle), ValveDraw(bias, 1.0, middle)),
        "mu": (ValveDraw(0.0, math.exp(-mu), middle), ValveDraw(0.0, math.exp(mu), middle)),
        "slope": (ValveDraw(0.0, 1.0, middle * math.exp(-slope)), ValveDraw(0.0, 1.0, middle * math.exp(slope))),
    }
