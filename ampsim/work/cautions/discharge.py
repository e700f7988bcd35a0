"""How long charged capacitors take to fall to a safe voltage through the resistors of their circuit."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...circuit.conductances import Branch, nodal_matrix, voltage_row
from ...circuit.dc_paths import ohms_between
from ...circuit.stages.template import GROUND

_LEAD_OHMS = 1.0  # in series with each capacitor, so that capacitors side by side are no loop without resistance
_LOOSE = 1e-13  # siemens from every net to ground, so that the equations have one answer
_LONGEST = 1e7  # s; what takes longer is said never to fall
_TIMES = np.geomspace(1e-4, _LONGEST, 1200)


@dataclass(frozen=True)
class ChargedCapacitor:
    """A charged capacitor: the nets of its ends, capacitance [F], and the voltage [V] of the first against the second.

    Examples
    --------
    >>> fall_times([("b", "0", 220e3)], [Charged("b", "0", 50e-6, 450.0)], 60.0)[0].__round__(1)
    22.2
    """

    first: str
    second: str
    farads: float
    volts: float


def fall_times(branches: Sequence[Branch], charged: Sequence[ChargedCapacitor], to: float) -> list[float]:
    """Time [s] after which each capacitor stays below `to` [V]; infinite where no resistance discharges it.

    Parameters
    ----------
    branches : sequence of (net, net, ohm)
        The DC paths, such as `dc_paths.unpowered` gives.
    charged : sequence of Charged
        All of them discharge together: one may fill another.
    to : float
        [V], positive.

    Notes
    -----
    The linear network C dv/dt = -M v, with M the conductances seen from the capacitors, solved by the eigenvectors of
    its symmetric form. A capacitor alone across a resistor follows V0 exp(-t / (R C)).
    """
    if not charged:
        return []
    roots = np.sqrt([each.farads for each in charged])
    rates, shapes = np.linalg.eigh(_conductances(branches, charged) / np.outer(roots, roots))
    start = shapes.T @ (roots * np.array([each.volts for each in charged]))

    def volts(time: float | NDArray[np.float64]) -> NDArray[np.float64]:
        decay = np.exp(-np.outer(np.maximum(rates, 0.0), np.atleast_1d(time))) * start[:, None]
        return np.asarray(np.abs((shapes @ decay) / roots[:, None]))

    curves = volts(_TIMES)
    found = []
    for place, each in enumerate(charged):
        bled = math.isfinite(ohms_between(branches, each.first, each.second))
        above = np.flatnonzero(curves[place] > to)
        if above.size and (not bled or above[-1] == _TIMES.size - 1):
            found.append(math.inf)
        elif above.size:
            found.append(_crossing(volts, place, above[-1], to))
        else:
            found.append(0.0)
    return found


def _crossing(volts: Callable[[float], NDArray[np.float64]], place: int, step: int, to: float) -> float:
    """The instant between two steps at which a voltage passes `to`, by halving."""
    low, high = float(_TIMES[step]), float(_TIMES[step + 1])
    for _ in range(50):
        middle = 0.5 * (low + high)
        above = bool(volts(middle)[place, 0] > to)
        low, high = (middle, high) if above else (low, middle)
    return high


def _conductances(branches: Sequence[Branch], charged: Sequence[ChargedCapacitor]) -> NDArray[np.float64]:
    """Current [A] that leaves each capacitor for 1 V on each, by nodal analysis; symmetric."""
    leads = [(each.first, each.second, _LEAD_OHMS) for each in charged]
    every = [*(each for each in branches if each[0] != each[1]), *leads]
    nets = {net for first, second, _ in every for net in (first, second)}
    index = {net: number for number, net in enumerate(sorted(nets - {GROUND}))}
    matrix, lead = nodal_matrix(every, index, _LOOSE), 1.0 / _LEAD_OHMS
    rows = [voltage_row(each.first, each.second, index) for each in charged]
    ports = lead * np.array(rows).T
    found = np.diag(np.full(len(charged), lead)) - ports.T @ np.linalg.solve(matrix, ports)
    return np.asarray(0.5 * (found + found.T))
