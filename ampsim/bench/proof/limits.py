"""What the volts of a finished amp may be, and whether those measured are."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import xarray as xr

from ...measures.labels import expect
from ...measures.percentiles import PERCENTS, percentiles

METER_SHARE = 0.01
"""Error of a meter, as a share of its reading: our choice, no source."""
METER_VOLTS = 0.02
"""... and besides [V]: a healthy grid at ground reads some millivolts."""
MAINS_SHARE = 0.10
"""How far the mains may be off where nobody measured them: EN 50160."""
MAINS_KNOWN_SHARE = 0.06
"""How far a supply may be off what the mains say of it: our choice, no source."""
SIGMAS = 3.0
_SIGMA_OF_5_PERCENT = 1.6449


class Verdict(StrEnum):
    """Whether what was measured passes: a reading passes or fails, a sweep may also be near its limit."""

    PASS = "pass"
    FAIL = "fail"
    LOOK_AGAIN = "look again"
    NOT_MEASURED = "not measured"


@dataclass(frozen=True)
class ProofRow:
    """One place: volts expected, lowest and highest that pass, and what was measured (None: not yet) [V].

    `position` says where the controls stood, `read` in which round it was read.
    """

    place: str
    expected: float
    low: float
    high: float
    measured: float | None = None
    position: str = ""
    read: str = ""

    @property
    def verdict(self) -> Verdict:
        """Whether the reading lies within the limits."""
        if self.measured is None:
            return Verdict.NOT_MEASURED
        return Verdict.PASS if self.low <= self.measured <= self.high else Verdict.FAIL

    @property
    def margin(self) -> float | None:
        """From the reading to the nearer limit [V]; negative outside, None where not measured."""
        return None if self.measured is None else min(self.measured - self.low, self.high - self.measured)


def proof_rows(
    run: xr.Dataset,
    measured: Mapping[str, float],
    loaded: Mapping[str, float],
    off: float,
    share: float | None,
    law: Mapping[str, tuple[float, float]] | None = None,
) -> tuple[ProofRow, ...]:
    """Limits of each place, and what was measured there.

    Parameters
    ----------
    run : xarray.Dataset
        A run of amps at rest (`simulation.monte_carlo.spread` with an operating point), one variant at one position.
    measured : mapping
        Place to volts [V].
    loaded : mapping
        Place to what the meter leaves of the volts there, 1 for all; missing places count as 1.
    off : float
        How far the bench's supply may be off that of `run`, as a share: 0 when it is the very same.
    share : float
        Limits at so much either side of what is expected instead, 0.1 for 10 %.
    law : mapping
        Place to how far below and above the error of valve laws alone may bring the volts [V].

    Notes
    -----
    Limits lie where the readings 5 and 95 % of the run lie, three standard deviations out instead of 1.64, each side
    for itself (of a normal spread about 3 healthy readings in 1000 fail), and the meter's own error further.
    """
    expect(run, "operating point")
    edges = percentiles(run["voltage"].isel(variant=0, position=0), PERCENTS)["percentile"]
    found = []
    for node in map(str, run["node"].values):
        low, middle, high = (loaded.get(node, 1.0) * float(each) for each in edges.sel(node=node).values)
        expected = loaded.get(node, 1.0) * float(run["nominal"].sel(node=node).isel(variant=0, position=0))
        if share is not None:
            room = (share * abs(expected), share * abs(expected))
        else:
            more = METER_SHARE + off
            wider = SIGMAS / _SIGMA_OF_5_PERCENT
            below, above = (law or {}).get(node, (0.0, 0.0))
            room = (
                expected - middle + math.hypot(wider * (middle - low), below) + more * abs(expected),
                middle - expected + math.hypot(wider * (high - middle), above) + more * abs(expected),
            )
        below, above = (max(each, METER_SHARE * abs(expected)) + METER_VOLTS for each in room)
        reading = measured.get(node)
        found.append(
            ProofRow(node, expected, expected - below, expected + above, None if reading is None else float(reading))
        )
    return tuple(found)


def supply_factor(measured: float, simulated: float) -> float:
    """What to multiply the supply with so that a rail stands where it was measured; 1 for a rail at ground.

    Parameters
    ----------
    measured, simulated : float
        Volts of the rail [V]; a measured one that is not a number is none.
    """
    return 1.0 if not simulated or not np.isfinite(measured) else measured / simulated
