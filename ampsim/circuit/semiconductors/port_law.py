"""What a law of current between nodes is: a function of numpy arrays and ngspice lines."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Numbers = Mapping[str, float]
Nodes = tuple[str, str]


@dataclass(frozen=True)
class PortLaw:
    """One law.

    Attributes
    ----------
    parameters
        Names of the numbers it takes, in the order of the compiled loop.
    units
        To each port what one means in the tolerance of a solution [V].
    currents
        (numbers, voltages of the ports) to the currents [A] through the first and third port.
    lines
        (name, numbers, ports) to ngspice elements; `name` keeps those of one part apart.
    """

    parameters: tuple[str, ...]
    units: tuple[float, ...]
    currents: Callable[..., tuple[Array, ...]]
    lines: Callable[[str, Numbers, Sequence[Nodes]], tuple[str, ...]]
