"""Volts at the ports of a circuit's laws that their currents agree with: Newton's method for many circuits at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .port_currents import Numbers, PortCurrents

Array = NDArray[np.float64]
_MOST_STEPS = 100
# A point is found where the next step of Newton's method is less than this share of the largest volts, or volt.
_TOLERANCE = 1e-9
# Steps are at most so long [V]; where they grow they are shortened, down to this share: laws bend.
_LONGEST, _SHORTEST = 30.0, 0.1
_RAMP = (0.05, 0.1, 0.2, 0.4, 0.7, 1.0)


def raised(
    currents: PortCurrents, still: Array, ohms: Array, numbers: Sequence[Numbers]
) -> tuple[Array, NDArray[np.bool_]]:
    """As `settled`, the sources raised from nothing.

    Parameters
    ----------
    currents, still, ohms, numbers
        As those of `settled` [V], [ohm].
    """
    volts = np.zeros(still.shape)
    good = np.ones(len(still), dtype=bool)
    for share in _RAMP:
        volts, good = settled(currents, share * still, ohms, numbers, volts)
    return volts, good


def settled(
    currents: PortCurrents, still: Array, ohms: Array, numbers: Sequence[Numbers], volts: Array
) -> tuple[Array, NDArray[np.bool_]]:
    """Volts at the ports that the laws' currents agree with, and of which circuits they were found.

    Parameters
    ----------
    currents : PortCurrents
        The laws.
    still : ndarray
        Volts [V] while no law lets anything through, shape (circuits, ports).
    ohms : ndarray
        What a current through each port does at all of them [ohm], shape (circuits, ports, ports).
    numbers : sequence of Numbers
        What the laws take, of as many circuits.
    volts : ndarray
        Where to begin [V], shape (circuits, ports).
    """
    volts, unit = volts.copy(), np.eye(volts.shape[1])
    left, rate, last = np.arange(len(volts)), np.ones(len(volts)), np.full(len(volts), np.inf)
    for _ in range(_MOST_STEPS):
        at = volts[left]
        flow, slope = currents.at(at, currents.some(numbers, left))
        away = at - still[left] - (ohms[left] @ flow[:, :, None])[:, :, 0]
        step = np.linalg.solve(unit - ohms[left] @ slope, away[:, :, None])[:, :, 0]
        size = np.abs(step).max(axis=1, initial=0.0)
        # Where a law bends, whole steps may go to and fro for ever: shorter ones then.
        rate = np.where(size > last, np.maximum(0.5 * rate, _SHORTEST), np.minimum(1.2 * rate, 1.0))
        rate, last = np.minimum(rate, _LONGEST / np.maximum(size, _LONGEST)), size
        volts[left] = at - step * rate[:, None]
        on = ~(size <= _TOLERANCE * (1.0 + np.abs(at).max(axis=1, initial=0.0)))
        left, rate, last = left[on], rate[on], last[on]
        if not left.size:
            break
    good = np.ones(len(volts), dtype=bool)
    good[left] = False
    return volts, good
