"""What the oscillators of an amp do to it: their speed, and its gain with them still and at both ends of a swing."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from ..base.quantities import OHM, with_unit
from ..circuit.amp import Amp
from ..circuit.build import SPEAKER
from ..circuit.positions import Position
from ..measures.sweep import gain_at
from ..simulation.analyses import FrequencySweep
from ..simulation.response import simulate
from ..simulation.timestep.oscillation import at_both_ends, oscillations

STILL, LOWEST, HIGHEST = "still", "at its lowest", "at its highest"
_MID = 1000.0  # Hz


def swing_response(amp: Amp, position: Position | None = None) -> xr.Dataset | None:
    """Gain over frequency with the oscillators still, and held where what they move is lowest and highest.

    Parameters
    ----------
    amp : Amp
    position : mapping, optional
        Where the controls stand (rotations 0 to 1 [ratio]); those not named stand as drawn.

    Returns
    -------
    xarray.Dataset or None
        `voltage` at the loudspeaker, the three states along `position`; None for an amp without an oscillator that
        goes.
    """
    here = dict(position or {})
    ends = at_both_ends(amp, here)
    if not ends:
        return None
    found = simulate([amp, *ends], FrequencySweep(), [here], [SPEAKER])
    states = found["voltage"].isel(position=0, drop=True).rename(variant="position")
    voltage = states.assign_coords(position=[STILL, LOWEST, HIGHEST]).expand_dims(variant=[amp.variant])
    whole = voltage.transpose("variant", "position", "node", "frequency").to_dataset(name="voltage")
    return whole.assign_attrs(found.attrs)


def tremolo_table(amp: Amp, position: Position | None = None, response: xr.Dataset | None = None) -> pd.DataFrame:
    """A row for each oscillator that the amp is meant to have; empty without one.

    Parameters
    ----------
    amp : Amp
    position : mapping, optional
        Where the controls stand (rotations 0 to 1 [ratio]).
    response : xarray.Dataset, optional
        What `swing_response` gave.

    Returns
    -------
    pandas.DataFrame
        Oscillator, speed [Hz] (NaN: it does not go), what it moves, the lowest and highest volts or ohms there, and by
        how much the gain at 1 kHz is changed there against its standing still [dB].
    """
    levels = [float("nan")] * 3
    if response is not None:
        levels = [float(each) for each in np.ravel(gain_at(response, (_MID,), SPEAKER).isel(variant=0).values)]
    return pd.DataFrame(
        [
            {
                "oscillator": each.stage,
                "speed [Hz]": round(each.hertz, 2),
                "moves": each.moves,
                "lowest": _with_unit(each.least, each.unit),
                "highest": _with_unit(each.most, each.unit),
                "gain at lowest [dB]": round(levels[1] - levels[0], 1),
                "gain at highest [dB]": round(levels[2] - levels[0], 1),
            }
            for each in oscillations(amp, position)
        ]
    )


def _with_unit(value: float, unit: str) -> str:
    return f"{value:.1f} V" if unit == "V" else with_unit(float(f"{value:.3g}"), OHM)
