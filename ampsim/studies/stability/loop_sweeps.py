"""The sweeps of a loop, and several loop gains at the same frequencies."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import xarray as xr

from ...simulation.analyses import LoopSweep

SEARCH = LoopSweep(per_decade=10, whole=True)
"""To search coarsely."""
CLOSE = LoopSweep(per_decade=50, whole=True)
"""To look closely at what was found."""


def on_one_sweep(
    count: int, simulate: Callable[[int, LoopSweep], xr.Dataset], sweep: LoopSweep = CLOSE
) -> list[xr.Dataset]:
    """So many loop gains at the same frequencies [Hz]: those of the one that goes furthest on.

    Parameters
    ----------
    count : int
    simulate : callable
        Called with a number and a sweep; gives what `loop_gain` gives.
    sweep : LoopSweep
    """
    found = [simulate(n, sweep) for n in range(count)]
    ends = [(float(each["frequency"][0]), float(each["frequency"][-1])) for each in found]
    if len(set(ends)) < 2:
        return found
    wide = replace(sweep, start=min(low for low, _ in ends), stop=max(high for _, high in ends), whole=False)
    return [simulate(n, wide) for n in range(count)]
