"""What the compiled loop finds of one valve or semiconductor, in the very code that plays."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ampsim.simulation.timestep.kernel_arguments import COUNTS, CURRENT, ROWS, TOLERANCE, Solver, V
from ampsim.simulation.timestep.newton import newton
from ampsim.simulation.timestep.newton_matrix import PATH, slope_of
from ampsim.simulation.timestep.sockets import Seats

Array = NDArray[np.float64]


def at_volts(laid: Seats, volts: Sequence[float] | Array) -> tuple[Array, Array]:
    """Currents [A] and slopes [S] of what sits there alone, at volts across its ports.

    Behind a circuit that couples nothing the solution of v = p + K i(v) is p itself: Newton's method has the law worked
    out there once. So nothing is compiled but what every amp needs.
    """
    ports = len(laid.ports)
    work, nothing = np.zeros((ROWS, laid.width)), np.zeros((laid.width, laid.width))
    work[V, :ports] = volts
    state = np.zeros(COUNTS, np.int64)
    assert newton(work[V].copy(), Solver(laid.valves, nothing, laid.unit, TOLERANCE, work, nothing.copy(), state))
    slopes = [[slope_of(laid.valves.blocks[0], 0, i, j) for j in range(ports)] for i in range(ports)]
    return work[CURRENT, :ports] + PATH * work[V, :ports], np.array(slopes) + PATH * np.eye(ports)
