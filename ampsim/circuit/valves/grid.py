"""Grid current as a diode with series resistance and an offset, in numpy and for ngspice."""

from __future__ import annotations

import numpy as np

from .description import GridDiode
from .spice_text import number
from .triodes import Array

# k T / q at ngspice's default 27 degrees Celsius [V].
THERMAL_VOLTS = 1.380649e-23 * 300.15 / 1.602176634e-19


def diode_current(diode: GridDiode, grid: Array) -> Array:
    """Return the current [A] that solves Vg + offset = I Rs + n Vt ln(1 + I/Is).

    With w = (I + Is) Rs / (n Vt) this is w + ln(w) = y: the Lambert function of exp(y), without overflow.
    """
    slope = diode.emission * THERMAL_VOLTS
    scale = slope / diode.series_ohms
    seen = grid + diode.offset_volts + diode.saturation_amps * diode.series_ohms
    y: Array = np.maximum(np.log(diode.saturation_amps / scale) + seen / slope, -600.0)
    large: Array = np.maximum(y, 1.0)
    w: Array = np.where(y > 1.0, large - np.log(large), np.exp(np.minimum(y, 1.0)))
    for _ in range(6):
        w = w * (1.0 + y - np.log(w)) / (1.0 + w)
    return scale * w - diode.saturation_amps


def diode_lines(diode: GridDiode) -> tuple[str, ...]:
    """Write the diode; a real ngspice diode, whose junction limiting keeps hard overdrive converging."""
    model = f"IS={number(diode.saturation_amps)} N={number(diode.emission)} RS={number(diode.series_ohms)}"
    return (
        f"VGO grid gi {number(-diode.offset_volts)}",
        "DG gi cathode grid_diode",
        f".model grid_diode D({model})",
    )
