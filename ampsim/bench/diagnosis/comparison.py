"""Readings beside the drawing and the simulation, which differences matter, and what speaks for a fault."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .fault_model import FaultModel
from .ranking import Ranked
from .standing import reading_words, verdict_words

_EVIDENCE = 3


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
            "verdict": [verdict_words(float(z)) for z in apart / ranked.deviations],
        }
    )


def evidence(names: tuple[str, ...], volts: np.ndarray, ranked: Ranked, number: int) -> tuple[str, ...]:
    """The readings that a fault moves most, healthy, read and foretold, in words.

    Parameters
    ----------
    names : tuple of str
        Where was read.
    volts : ndarray
        What was read [V], shape (n,).
    ranked : Ranked
    number : int
        Of the fault, among those ranked.
    """
    fit = ranked.fits[number]
    moved = np.abs(fit - ranked.healthy) / ranked.deviations
    order = [place for place in np.argsort(-moved)[:_EVIDENCE] if moved[place] > 1.0]
    return tuple(
        f"{names[place]} reads {reading_words(volts[place])} V; healthy {reading_words(ranked.healthy[place])} V, "
        f"usual +/- {ranked.deviations[place]:.2g} V; so it would be {reading_words(fit[place])} V"
        for place in order
    )
