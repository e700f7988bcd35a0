"""What the file of a rectifier valve says beside its law: its heater, and how stiff a supply it may be put behind."""

from __future__ import annotations

from dataclasses import dataclass

from ..semiconductors.description import Semiconductor


@dataclass(frozen=True)
class RectifierHeater:
    """The heater of a rectifier valve.

    Attributes
    ----------
    volts, amps
        [V], [A].
    direct
        Whether the filament is the cathode itself; else a heater warms one.
    warm_up_seconds
        From cold until the valve carries its current [s].
    source
        Where that comes from.
    """

    volts: float
    amps: float
    direct: bool
    warm_up_seconds: float
    source: str


@dataclass(frozen=True)
class RectifierValve(Semiconductor):
    """A type of valve with two plates over one cathode.

    Attributes
    ----------
    heater
        Its heater; None where its file says nothing of it.
    least_ohms
        Pairs of volts [V rms, each plate] and the least resistance [ohm] that is to lie before each plate there.
    """

    heater: RectifierHeater | None = None
    least_ohms: tuple[tuple[float, float], ...] = ()

    def least_source_ohms(self, volts: float) -> float | None:
        """The least resistance [ohm] before each plate at so many volts [V rms], between printed rows by a line.

        None where the file says nothing of it.
        """
        if not self.least_ohms:
            return None
        import numpy as np

        rows = np.array(self.least_ohms)
        return float(np.interp(volts, rows[:, 0], rows[:, 1]))
