"""The trapezoidal rule: from state equations to the matrices that the compiled loop multiplies with.

The state kept is s = x - Q w, so that a new sample needs the new input and the new currents only once (K-method:
G. Borin, G. De Poli, D. Rocchesso, Elimination of delay-free loops in discrete-time models of nonlinear acoustic
systems, IEEE Trans. Speech and Audio Processing 8(5), 2000).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..nets import INPUT
from .equations import Equations
from .parts import Parts

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Discrete:
    """One step of a circuit: see `kernel.march` for the arrays.

    `keep` Q, shape (states, held + ports): x = s + Q w in scaled states; `scale` turns states into scaled ones.
    """

    columns: Array
    by_input: Array
    constant: Array
    by_current: Array
    coupling: Array
    places: NDArray[np.int64]
    keep: Array
    scale: Array
    volts: Array
    driven: int

    @property
    def known_size(self) -> int:
        """Length of the vector that `columns` multiplies."""
        return len(self.columns)


def discrete(equations: Equations, parts: Parts, step: float, smooth: bool = False) -> Discrete:
    """Make time discrete.

    Parameters
    ----------
    equations : Equations
        With one net listened at.
    parts : Parts
    step : float
        Seconds.
    smooth : bool
        A step of half that length by the backward rule instead, which the same factors serve: after a switch has
        moved it damps what the trapezoidal rule would let ring.
    """
    scale = np.sqrt(np.diag(equations.energy))
    energy = equations.energy / np.outer(scale, scale)
    slope = equations.slope / np.outer(scale, scale)
    left = energy - 0.5 * step * slope
    drive = equations.drive / scale[:, None]
    held = drive.shape[1] - equations.ports
    solved = np.linalg.solve(left, np.hstack([energy, 0.5 * step * drive]))
    states = len(scale)
    once, keep = solved[:, :states], solved[:, states:]
    forward = once if smooth else 2.0 * once - np.eye(states)
    pushed = (once if smooth else 2.0 * once) @ keep
    read = equations.read / scale
    through = read @ keep + equations.through
    volts = np.array([parts.held[net] for net in equations.held])
    driven = equations.held.index(INPUT)
    volts[driven] = 0.0
    # Columns: states, currents, the input, and one for everything that stays.
    matrix = np.hstack([forward, pushed[:, held:], pushed[:, [driven]], pushed[:, :held] @ volts[:, None]])
    whole = np.vstack([matrix, read @ matrix])
    rows, columns = whole.shape
    padded = np.zeros((-(-columns // 4) * 4, -(-rows // 8) * 8))
    padded[:columns, :rows] = whole.T
    count = equations.ports
    return Discrete(
        columns=padded,
        by_input=np.ascontiguousarray(through[:, driven]),
        constant=through[:, :held] @ volts,
        by_current=np.ascontiguousarray(through[count, held:]),
        coupling=np.ascontiguousarray(through[:count, held:].T),
        places=np.array([states, count], dtype=np.int64),
        keep=keep,
        scale=scale,
        volts=volts,
        driven=driven,
    )
