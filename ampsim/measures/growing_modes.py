"""Whether an amp stays at rest: its growing modes, counted on the return difference of all its valves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..base.wording import in_hertz

# A step of the phase from one frequency to the next that is no smaller could as well go the other way round [rad].
_UNCLEAR = 2.5


@dataclass(frozen=True)
class Growth:
    """What grows in an amp that is left alone.

    `modes` is the number of growing modes, two to each oscillation; `hertz` about where [Hz], 0 for what moves off
    without a period, nan where nothing grows; `clear` says that the sweep was fine enough to count them.
    """

    modes: int
    hertz: float
    clear: bool

    @property
    def words(self) -> str:
        """What the amp does, after its name."""
        if not self.modes:
            return "stays at rest"
        return f"oscillates by itself near {self.near}" if self.hertz else "does not stay where it is drawn"

    @property
    def near(self) -> str:
        """About where it oscillates, with its unit, to two figures."""
        return in_hertz(float(f"{self.hertz:.2g}"))


def growing_modes(frequency: NDArray[np.float64], difference: NDArray[np.complex128]) -> Growth:
    """Count the growing modes of one amp at one position.

    Parameters
    ----------
    frequency : array, shape (n,)
        Rising [Hz], from below to above all that the amp does.
    difference : complex array, shape (n,)
        Of `ampsim.simulation.return_difference.return_differences` [ratio].

    Notes
    -----
    The number of times it goes clockwise around 0 over all frequencies, negative ones included (the principle of the
    argument, as in Nyquist's criterion). At both ends it is real.
    """
    steps = np.angle(difference[1:] / difference[:-1])
    first, last = float(np.angle(difference[0])), float(np.angle(difference[-1]))
    turned = float(steps.sum()) + (first - np.pi * round(first / np.pi)) - (last - np.pi * round(last / np.pi))
    modes = max(-round(turned / np.pi), 0)
    clear = bool(np.abs(steps).max(initial=0.0) < _UNCLEAR)
    if not modes:
        return Growth(0, np.nan, clear)
    if modes % 2:
        return Growth(modes, 0.0, clear)
    place = int(np.argmin(steps))
    return Growth(modes, float(np.sqrt(frequency[place] * frequency[place + 1])), clear)
