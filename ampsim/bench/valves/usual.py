"""What is usual among the valves of one law: where a fit begins, and what holds it where the points say nothing."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ...circuit.valves.description import Valve
from ...circuit.valves.laws import LAWS, Parameter

Array = NDArray[np.float64]
_WIDER = 2.0  # times the spread of the types: a fit may leave what is usual
_LEAST_SPREAD = 0.25  # of a parameter that is alike in all types: a quarter of itself


@dataclass(frozen=True, eq=False)
class Usual:
    """Parameters of a law on the scale of a fit: logarithms of what cannot be 0, the others as they are.

    Attributes
    ----------
    low, high
        What the law allows.
    middle, spread
        Median of the valves that come along, and how far from it is still usual (one standard deviation).
    starts
        The valves themselves, a row each.
    """

    low: Array
    high: Array
    middle: Array
    spread: Array
    starts: Array


def scaled(known: tuple[Parameter, ...], values: Array) -> Array:
    """Parameters [SI] as a fit turns them: the logarithm of those that are never negative."""
    logs = np.array([one.lowest > 0.0 for one in known])
    return np.asarray(np.where(logs, np.log(np.where(logs, np.maximum(values, 1e-300), 1.0)), values))


def unscaled(known: tuple[Parameter, ...], turned: Array) -> Array:
    """Parameters as the law takes them [SI]."""
    logs = np.array([one.lowest > 0.0 for one in known])
    return np.asarray(np.where(logs, np.exp(np.where(logs, turned, 0.0)), turned))


def usual(law: str, others: tuple[Valve, ...]) -> Usual:
    """What is usual for a law, from valves of it."""
    known = LAWS[law].parameters
    low, high = (scaled(known, np.array([getattr(one, end) for one in known])) for end in ("lowest", "highest"))
    if not others:
        middle = np.array([0.5 * (a + b) if one.lowest > 0.0 else max(a, min(b, 0.0))
                           for one, a, b in zip(known, low, high, strict=True)])  # fmt: skip
        return Usual(low, high, middle, 0.25 * (high - low), middle[np.newaxis])
    rows = scaled(known, np.array([[value for _, value in valve.parameters] for valve in others]))
    middle = np.median(rows, axis=0)
    logs = np.array([one.lowest > 0.0 for one in known])
    least = np.where(logs, _LEAST_SPREAD, np.maximum(_LEAST_SPREAD * np.abs(middle), 1e-3 * (high - low)))
    spread = _WIDER * np.maximum(rows.std(axis=0), least)
    return Usual(low, high, middle, spread, rows)


@lru_cache(maxsize=8)
def valves_of_law(law: str) -> tuple[Valve, ...]:
    """The valves that come along whose file names this law."""
    from ...library.kinds import listing
    from ...library.loader import load_valve

    found = (load_valve(name) for name in listing()["valves"])
    return tuple(valve for valve in found if valve.law == law)
