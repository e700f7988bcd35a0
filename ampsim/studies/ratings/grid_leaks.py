"""What the circuit of each grid has [ohm], as far as sheets limit it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from ...circuit.build import Circuit
from ...circuit.dc_paths import grid_ohms
from ...circuit.supply.averaged import supplied
from ...measures.loads import Array


def grid_leaks(
    wired: Circuit,
    values: Mapping[str, float],
    volts: Callable[[str, str], Array],
    amps: Callable[[str], Mapping[str, Array]],
) -> dict[tuple[str, str, str], float]:
    """The DC resistance of each grid's circuit; NaN where the grid's own current makes most of the bias in it.

    Sheets limit it for bias by a cathode resistor or a supply; a leak that makes the bias has megohms by design.

    Parameters
    ----------
    wired, values
        As for `grid_ohms`.
    volts, amps : callable
        At rest: of a valve and its pin [V], of a valve by pin [A].
    """
    found = {}
    for valve, ohms in grid_ohms(supplied(wired), values).items():
        bias = float(volts(valve, "cathode")[0] - volts(valve, "grid")[0])
        own = abs(float(amps(valve)["grid"][0])) * ohms > bias / 2.0 > 0.0
        found["grid_ohms", valve, ""] = math.nan if own else ohms
    return found
