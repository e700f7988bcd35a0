"""The trapezoidal rule, or next to it: from state equations to the matrices that the compiled loop multiplies with.

The state kept is s = x - Q w, so that a new sample needs the new input and the new currents only once (K-method:
G. Borin, G. De Poli, D. Rocchesso, Elimination of delay-free loops in discrete-time models of nonlinear acoustic
systems, IEEE Trans. Speech and Audio Processing 8(5), 2000).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..nets import INPUT
from .compiled import aligned
from .equations import Equations
from .parts import Parts

Array = NDArray[np.float64]
# Share of the new sample in each step. The trapezoidal rule has a half; a little more, and what is quicker than the
# steps dies away instead of turning its sign from step to step, which hard clipping would hear. Chosen by trial.
NEW = 0.51


@dataclass(frozen=True, eq=False)
class Discrete:
    """One step of a circuit: see `kernel.march` for the arrays.

    `coupling` K, transposed. `keep` Q, shape (states, held + ports): x = s + Q w in scaled states; `scale` turns states
    into scaled ones.
    """

    columns: Array
    by_input: Array
    constant: Array
    by_current: Array
    coupling: Array
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
    left = energy - NEW * step * slope
    drive = equations.drive / scale[:, None]
    held = drive.shape[1] - equations.ports
    solved = np.linalg.solve(left, np.hstack([energy, NEW * step * drive]))
    states = len(scale)
    once, keep = solved[:, :states], solved[:, states:]
    forward = once if smooth else (once - (1.0 - NEW) * np.eye(states)) / NEW
    pushed = (once if smooth else once / NEW) @ keep
    read = equations.read / scale
    through = read @ keep + equations.through
    volts = np.array([parts.held[net] for net in equations.held])
    driven = equations.held.index(INPUT)
    volts[driven] = 0.0
    # Columns: states, currents, the input, and one for everything that stays. Rows: states, ports, what is heard.
    count = equations.ports
    matrix = np.hstack([forward, pushed[:, held:], pushed[:, [driven]], pushed[:, :held] @ volts[:, None]])
    whole = np.vstack([matrix, read @ matrix])
    columns = np.zeros((-(-whole.shape[1] // 8) * 8, -(-whole.shape[0] // 8) * 8))
    columns[: whole.shape[1], : whole.shape[0]] = whole.T
    by_current = np.ascontiguousarray(through[count, held:])
    by_input, constant = np.ascontiguousarray(through[:, driven]), through[:, :held] @ volts
    return Discrete(
        aligned(columns), by_input, constant, by_current, through[:count, held:].T, keep, scale, volts, driven
    )
