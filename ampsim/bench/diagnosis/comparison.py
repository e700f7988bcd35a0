"""Readings beside the drawing and the simulation, which differences matter, and what speaks for a fault."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ...base.wording import minus
from .fault_model import FaultModel
from .ranking import Ranked

# Standard deviations from which a reading is at the edge, and from which it matters (own choice).
EDGE, _MATTERS = 2.0, 3.0
_EVIDENCE = 3
_NOTHING = 0.005  # V, half of what a usual meter shows


def voltage_table(model: FaultModel, volts: np.ndarray, ranked: Ranked) -> pd.DataFrame:
    """Drawing, simulated and measured side by side.

    Parameters
    ----------
    model : FaultModel
        Of the places that were read.
    volts : ndarray
        What was read [V], shape (n,).
    ranked : Ranked

    Returns
    -------
    pandas.DataFrame
        place; what the drawing says, what the healthy amp would show on this meter at the drawing's supply and at
        this one, its usual spread (a standard deviation, meter included), the reading, the difference [V], a verdict.
    """
    drawn = dict(model.drawn)
    apart = volts - ranked.healthy
    return pd.DataFrame(
        {
            "place": list(model.names),
            "drawing [V]": [drawn.get(name, np.nan) for name in model.names],
            "simulated [V]": model.healthy,
            "at this supply [V]": ranked.healthy,
            "usual +/- [V]": ranked.deviations,
            "measured [V]": volts,
            "difference [V]": apart,
            "verdict": [_word(float(z)) for z in apart / ranked.deviations],
        }
    )


def _word(deviations: float) -> str:
    size, way = abs(deviations), "high" if deviations > 0.0 else "low"
    if size <= EDGE:
        return "within tolerance"
    if size <= _MATTERS:
        return f"at the edge, {way}"
    return f"matters: {way}, {size:.0f} times the spread" if size < 99.5 else f"matters: {way}, far out"


def evidence(names: tuple[str, ...], volts: np.ndarray, ranked: Ranked, number: int) -> tuple[str, ...]:
    """The readings that this fault moves most, healthy, read and foretold."""
    fit = ranked.fits[number]
    moved = np.abs(fit - ranked.healthy) / ranked.deviations
    order = [place for place in np.argsort(-moved)[:_EVIDENCE] if moved[place] > 1.0]
    return tuple(
        f"{names[place]} reads {_volts(volts[place])}; healthy {_volts(ranked.healthy[place])}, "
        f"usual +/- {ranked.deviations[place]:.2g} V; so it would be {_volts(fit[place])}"
        for place in order
    )


def _volts(value: float) -> str:
    return minus(f"{value:.4g} V") if abs(value) >= _NOTHING else "0 V"
