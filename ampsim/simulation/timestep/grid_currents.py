"""Grid currents as tables: worked out once from a valve's own law, read by cubics in the compiled loop."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from ...circuit.valves.description import Valve
from ...circuit.valves.evaluation import currents
from .compiled import inline_late
from .kernel_arguments import Array

# Fine steps up to the first knot where the grid conducts well, wide ones from there.
LOWEST, KNEE, HIGHEST, FINE, WIDE = -3.0, 5.0, 105.0, 0.02, 0.5
FINE_COUNT = round((KNEE - LOWEST) / FINE)
KNOTS = FINE_COUNT + round((HIGHEST - KNEE) / WIDE) + 1


@lru_cache(maxsize=64)
def grid_table(valve: Valve | None) -> Array:
    """Grid current [A] and its slope [S] at the knots, from the valve's own law; without a valve nothing."""
    if valve is None:
        return np.zeros((KNOTS, 2))
    fine = LOWEST + FINE * np.arange(FINE_COUNT)
    knots = np.concatenate([fine, np.linspace(KNEE, HIGHEST, round((HIGHEST - KNEE) / WIDE) + 1)])
    around = 1e-4 * np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    near = currents(valve, 100.0, knots[:, None] + around).grid
    slope = (near[:, 0] - 8.0 * near[:, 1] + 8.0 * near[:, 3] - near[:, 4]) / (12.0 * 1e-4)
    table = np.stack([near[:, 2], slope], axis=1)
    table.setflags(write=False)
    return table


@inline_late
def grid_current(table: Array, volts: float) -> tuple[float, float]:
    """Current [A] and slope [S] at a grid voltage [V] from a table, by cubics; beyond the table straight on."""
    if volts <= LOWEST:
        return table[0, 0], 0.0
    if volts >= HIGHEST:
        return table[KNOTS - 1, 0] + table[KNOTS - 1, 1] * (volts - HIGHEST), table[KNOTS - 1, 1]
    if volts < KNEE:
        step = FINE
        at = (volts - LOWEST) / FINE
        row = int(at)
        x = at - row
    else:
        step = WIDE
        at = (volts - KNEE) / WIDE
        row = int(at)
        x = at - row
        row += FINE_COUNT
    row = min(row, KNOTS - 2)
    low, high = table[row, 0], table[row + 1, 0]
    a, b = table[row, 1] * step, table[row + 1, 1] * step
    rise = high - low
    c, d = 3.0 * rise - 2.0 * a - b, a + b - 2.0 * rise
    return low + x * (a + x * (c + x * d)), (a + x * (2.0 * c + 3.0 * x * d)) / step
