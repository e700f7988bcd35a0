"""Where several controls meet and a mod does least: there it may be less than a change of valves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...circuit.build import SPEAKER
from ...simulation.monte_carlo import SWEEP
from ...simulation.response import simulate
from ..section import Examination
from .findings import NOTHING_DB
from .measures import band_levels


def with_least_change(examined: Examination) -> Examination:
    """What is examined, of the combinations only the one at which the mod does less than anywhere else; none without.

    That is of the amp as drawn, in the part of the band where it does most; doing nothing is not counted.
    """
    alone = replace(examined, combined=())
    if not examined.combined or len(examined.variants) < 2:
        return alone
    swept = simulate(examined.variants, SWEEP, examined.every, [SPEAKER])["voltage"].isel(node=0)
    gain = swept.copy(data=20.0 * np.log10(np.maximum(np.abs(swept.values), 1e-12)))
    level = band_levels(gain).transpose("variant", "position", "band")
    change = np.abs(level.values[-1] - level.values[0]).max(axis=-1)
    change[~(change >= NOTHING_DB)] = np.inf
    least = int(np.argmin(change))
    if least < len(examined.positions) or not np.isfinite(change[least]):
        return alone
    return replace(examined, combined=(examined.every[least],))
